"""How often each probe reports, as its messages come."""

from __future__ import annotations

from collections import deque
from statistics import median
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from monitor.core.model import Ms

GAPS: Final = 11
"""Newest ones that are looked at. Odd, so that the middle one is a gap there was."""
LEAST: Final = 3  # fewer say nothing


class Rhythm:
    """Of what came live only: what waited at the broker comes in a heap."""

    def __init__(self) -> None:
        self._last: dict[str, Ms] = {}
        self._gaps: dict[str, deque[Ms]] = {}

    def heard(self, probe: str, arrived: Ms) -> None:
        before = self._last.get(probe)
        self._last[probe] = arrived
        if before is not None and arrived > before:  # a clock that was set back tells no gap
            gaps = self._gaps.get(probe)
            if gaps is None:
                gaps = self._gaps[probe] = deque(maxlen=GAPS)
            gaps.append(arrived - before)

    def gap(self, probe: str) -> Ms | None:
        """The middle one, ms; ``None`` while there are too few."""
        gaps = self._gaps.get(probe, ())
        return round(median(gaps)) if len(gaps) >= LEAST else None
