"""Whose turn it is to be reckoned anew: a batch with news soon, each now and then since time passes too.

A few batches are reckoned as soon as something is heard of them. With hundreds it is rarer, so that reckoning leaves most of the
one thread of decisions to readings and alarms; an alarm rule has estimates of its own and waits for none of these.
"""

from __future__ import annotations

from heapq import heapify, heappop, heappush
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Collection

EVERY_S: Final = 0.5  # a batch with news is reckoned anew at most this often: what is read is seen within a second ...
TOGETHER_S: Final = 0.4  # what moved waits so long for what moves with it: two probes of a vessel cost one reckoning
AT_LEAST_S: Final = 60.0  # ... and each at least this often, which is what time alone changes
EVERY_EACH_S: Final = (
    0.01  # with many batches so much longer for each: 1000 with news all the time have their turn every 10 s ...
)
AT_LEAST_EACH_S: Final = 0.06  # ... and without any once a minute
AT_ONCE: Final = float("-inf")
MOVED_EACH: Final = 4  # so many for each batch, turns that were moved may lie in the queue before it is made anew
GOLDEN: Final = 0.618034  # steps of the golden ratio spread any number of turns evenly


class Turns:
    """Used by the thread of decisions. Seconds are of the steady clock; a step costs the logarithm of the batches on average."""

    def __init__(self) -> None:
        self._made: dict[str, float] = {}
        self._due: dict[str, float] = {}
        self._queue: list[tuple[float, str]] = []  # also turns that were moved since: ``_due`` is what counts
        self._phase = 1.0  # of its time, after which the next new one comes again

    def follow(self, batches: Collection[str]) -> list[str]:
        """These are all there are: a new one has its turn at once. Returns those that are gone."""
        for batch in batches:
            if batch not in self._due:
                self._set(batch, AT_ONCE)
        there = set(batches)
        gone = [batch for batch in self._due if batch not in there]
        for batch in gone:
            self.drop(batch)
        return gone

    def drop(self, batch: str) -> None:
        """It has no turn any more."""
        self._due.pop(batch, None)
        self._made.pop(batch, None)

    def news(self, batch: str, *, at_once: bool = False, not_before: float = AT_ONCE) -> None:
        """Something was heard of it; ``at_once`` when a keeper waits for what that means, ``not_before`` when more may follow."""
        every = max(EVERY_S, EVERY_EACH_S * len(self._due))
        due = AT_ONCE if at_once else max(self._made.get(batch, AT_ONCE) + every, not_before)
        if due < self._due.get(batch, float("inf")):
            self._set(batch, due)

    def made(self, batch: str, now: float) -> None:
        """It was reckoned. The first time it comes again sooner, each after another while: else all would always come at once."""
        every = max(AT_LEAST_S, AT_LEAST_EACH_S * len(self._due))
        if batch not in self._made:
            every *= self._phase
            self._phase = (self._phase + GOLDEN) % 1.0
        self._made[batch] = now
        self._set(batch, now + every)

    def next(self) -> float:
        """When the next turn is; infinite when there is no batch."""
        while self._queue and self._due.get(self._queue[0][1]) != self._queue[0][0]:
            heappop(self._queue)
        return self._queue[0][0] if self._queue else float("inf")

    def take(self, now: float) -> str | None:
        """The batch whose turn has come, the longest awaited first; ``made`` or ``drop`` must follow."""
        return self._queue[0][1] if self.next() <= now else None

    def _set(self, batch: str, due: float) -> None:
        self._due[batch] = due
        heappush(self._queue, (due, batch))
        if len(self._queue) > MOVED_EACH * len(self._due):
            self._queue = [(when, which) for which, when in self._due.items()]
            heapify(self._queue)
