"""The one place that reads a clock. Everything else is handed the time."""

from __future__ import annotations

import time
from typing import Final, Protocol

from monitor.core.model import SECOND, Ms

JUMP: Final = 5 * SECOND
"""A system clock that departs this far from the steady one has been set, not drifted."""


class Clock(Protocol):
    """``now`` is the time of records, real or simulated; ``steady`` counts real seconds and never jumps."""

    @property
    def speed(self) -> float | None:
        """How many times faster than real time simulated time runs; ``None`` when time is real."""

    def now(self) -> Ms: ...

    def wall(self) -> Ms:
        """Real time, for what happens outside: back-off, certificates."""

    def steady(self) -> float: ...

    def jumped(self) -> Ms | None:
        """What the clock would have said, once after it was set; else ``None``."""


class SystemClock:
    """Real time that runs steadily between jumps of the system clock, so that ages never go backwards unnoticed."""

    speed = None

    def __init__(self) -> None:
        self._offset = self._measure()

    def _measure(self) -> Ms:
        return time.time_ns() // 1_000_000 - time.monotonic_ns() // 1_000_000

    def now(self) -> Ms:
        return time.monotonic_ns() // 1_000_000 + self._offset

    def wall(self) -> Ms:
        return self.now()

    def steady(self) -> float:
        return time.monotonic()

    def jumped(self) -> Ms | None:
        offset = self._measure()
        if abs(offset - self._offset) > JUMP:
            was = self.now()
            self._offset = offset
            return was
        self._offset += max(-1, min(1, offset - self._offset))  # follow a slow drift, a millisecond a look
        return None


class SimulatedClock:
    """``epoch`` up to the real time ``anchor`` (seconds since 1970), then ``speed`` times faster than real time.

    Time stands still before the anchor, so that a history can be told before the story begins.
    """

    def __init__(self, epoch: Ms, speed: float, anchor: float | None = None) -> None:
        if not 0 < speed <= 3600:
            raise ValueError(f"a simulated speed of {speed:g} can't be run; allowed is more than 0 and at most 3600")
        self._speed = speed
        now = time.time()
        self._zero = time.monotonic() - (0.0 if anchor is None else now - anchor)
        self._epoch = epoch

    @property
    def speed(self) -> float:
        return self._speed

    def now(self) -> Ms:
        return self._epoch + round(max(time.monotonic() - self._zero, 0.0) * 1000 * self._speed)

    def wall(self) -> Ms:
        return time.time_ns() // 1_000_000

    def steady(self) -> float:
        return time.monotonic()

    def jumped(self) -> Ms | None:
        return None
