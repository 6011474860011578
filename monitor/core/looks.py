"""Which vessels the slow rules look at, and when: all of a home at once, of many a few in each tick."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

A_TICK: Final = 16
"""So many vessels are looked at slowly in one tick, and so many batches get a new forecast; others one tick later each.

So no tick holds up what comes in: a thousand have had their turn after a minute.
"""


class Looks:
    """Turns go round: however rarely there are ticks, no vessel has more of them than another."""

    def __init__(self, vessels: Iterable[str]) -> None:
        self._order = deque(vessels)
        self._wait = 0  # how many, from the front, are still to be looked at

    @property
    def waits(self) -> bool:
        """Whether somebody has a turn in the next tick."""
        return self._wait > 0

    def begin(self) -> None:
        """Each is to have a turn from now on."""
        self._wait = len(self._order)

    def take(self) -> set[str]:
        """Those whose turn it is now."""
        turn = {self._order[k] for k in range(min(A_TICK, self._wait))}
        self._order.rotate(-len(turn))
        self._wait -= len(turn)
        return turn
