"""The keeper of that room: awake from seven to eleven, starts batches by plan, and does what the phone says."""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import count
from typing import TYPE_CHECKING, Final

from monitor.core.model import HOUR, MINUTE, Ms
from tests.month.scenario import ZONE

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

AWAKE: Final = (7, 23)
REACTS: Final[Ms] = 4 * MINUTE
WAKES: Final[Ms] = 6 * MINUTE  # an urgent push at night
MENDED: Final[Ms] = 5 * MINUTE  # from when a probe tells again to when its alarms count again
WALKS: Final[Ms] = 25 * MINUTE  # from "ready" to the harvest


@dataclass(order=True, slots=True)
class _Plan:
    time: Ms
    nth: int
    act: Callable[[Ms], None] = field(compare=False)


class Keeper:
    """What is planned and when; the acts themselves are given."""

    def __init__(self) -> None:
        self._plans: list[_Plan] = []
        self._count = count()

    def plan(self, time: Ms, act: Callable[[Ms], None]) -> None:
        """Do something at an instant."""
        heapq.heappush(self._plans, _Plan(time, next(self._count), act))

    def when_awake(self, time: Ms) -> Ms:
        """That instant, or seven in the morning where it falls into the night."""
        there = datetime.fromtimestamp(time / 1000, UTC).astimezone(ZONE)
        if AWAKE[0] <= there.hour < AWAKE[1]:
            return time
        morning = there.replace(hour=AWAKE[0], minute=0, second=0, microsecond=0)
        if there.hour >= AWAKE[1]:
            morning = datetime.fromtimestamp((time + 2 * HOUR) / 1000, UTC).astimezone(ZONE)
            morning = morning.replace(hour=AWAKE[0], minute=0, second=0, microsecond=0)
        return round(morning.timestamp() * 1000)

    def due(self, now: Ms) -> Iterator[Callable[[Ms], None]]:
        """What is to be done by now, in order."""
        while self._plans and self._plans[0].time <= now:
            yield heapq.heappop(self._plans).act
