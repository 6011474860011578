"""Time that moves when it is told to."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.core.model import Ms


class SteppedClock:
    """Records' time goes by steps; the steady clock goes ``pace`` times slower, as if the machine were so much faster.

    It says that time is real: backups are made, and nothing is marked as simulated.
    """

    speed = None

    def __init__(self, begin: Ms, pace: float) -> None:
        self._now = self._begin = begin
        self._pace = pace
        self._base = time.monotonic()  # some threads look at that clock themselves

    def go(self, now: Ms) -> None:
        self._now = max(self._now, now)

    def now(self) -> Ms:
        return self._now

    def wall(self) -> Ms:
        return self._now

    def steady(self) -> float:
        return self._base + (self._now - self._begin) / 1000 / self._pace

    def jumped(self) -> Ms | None:
        return None
