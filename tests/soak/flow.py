"""What thirty probes tell one after the other, as fast as anybody asks; each thousandth message or so comes twice."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from tests.soak.season import payload, season

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.model import Ms

EPOCH: Final[Ms] = 1_772_323_200_000  # 2026-03-01
SPEED: Final = 240.0
"""Readings' time goes so much faster: hours of roll-ups, alarms and batches pass in minutes."""
TWICE: Final = 997
SILENT_AIR: Final = 400_000  # messages between two stops of a pump
STOPPED: Final = 6_000


class Flow:
    """``message(nth)`` is to be called with 0, 1, 2 and so on."""

    def __init__(self, now: Callable[[], Ms]) -> None:
        plan = season(4)
        self.topics = [probe.topic.encode() for probe in plan.probe]
        self._air = [probe.measures == "air" for probe in plan.probe]
        self._now = now
        self._last = [0] * len(self.topics)
        self._before = (b"", b"")

    def message(self, nth: int) -> tuple[bytes, bytes]:
        """Topic and payload of the ``nth`` message."""
        if again(nth, len(self.topics)):
            return self._before
        probe = nth % len(self.topics)
        self._last[probe] = max(self._now(), self._last[probe] + 1)  # no two with the same time of their own
        self._before = self.topics[probe], payload(probe, self._value(probe, nth), self._last[probe], nth)
        return self._before

    def _value(self, probe: int, nth: int) -> str:
        if self._air[probe]:
            return '"off"' if nth % SILENT_AIR < STOPPED and probe % 4 == 0 else '"on"'
        return f"{26 + 2 * math.sin(nth / 2e5) + probe / 50:.3f}"


def again(nth: int, probes: int) -> bool:
    """Whether the ``nth`` message is the one before once more; only of probes that tell their time or count."""
    return nth % TWICE == TWICE - 1 and (nth - 1) % probes % 3 != 2


def repeats(total: int, probes: int) -> int:
    """How many of so many messages are nothing new."""
    return sum(again(nth, probes) for nth in range(TWICE - 1, total, TWICE))
