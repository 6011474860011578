"""The cheapest choice with which every meal is full often enough, proven where the time is enough, with its gap otherwise.

First a good choice by trying (``greedy``); then a programme that knows too few rows, whose answers are therefore too good to
be true: each is tried by feeding, and what it got wrong becomes a row (``cuts``). When its answer is true, it is the best.
"""

from __future__ import annotations

import time
from math import inf
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.feeding import feed
from monitor.core.food import FULL, Choice, Demand
from monitor.core.light import light
from monitor.planner.cuts import lessons, stretches
from monitor.planner.greedy import build, polish
from monitor.planner.programme import Programme
from monitor.planner.table import CLOSE, Chosen, Table

if TYPE_CHECKING:
    from monitor.core.food import Problem
    from monitor.core.hatch import Array
    from monitor.planner.programme import Answer
    from monitor.planner.table import Flags

RELAXED: Final = 20  # rounds without whole numbers, which are cheap
RELAXING: Final = 0.5  # of the time that is left, at most, for these
MOSTLY: Final = 0.4
ROUNDS: Final = 4000
LESSONS: Final = 12
SAME: Final = 1e-6  # costs that differ by less of themselves are the same
SMALL: Final = 200  # cells, of which all can be looked at together at once
FEW: Final = 150  # options, of which none is left out at first
CLOSE_ROUNDS: Final = 3
TURN: Final = 0.6  # of the time that is left, at most, for one whole answer
LAST_S: Final = 0.3
BUSIEST: Final = 4.0  # times slower than its processor, at most, a machine is taken to be
BY_TRYING: Final = 0.35  # of the time, for the first choice


def solve(problem: Problem) -> Choice:
    """Takes about ``problem.seconds`` of the processor; the same answer each time when these are enough to prove it."""
    looked, begun = time.monotonic(), time.process_time()
    search = _Search(Table.of(problem), begun, begun + problem.seconds, looked)
    search.try_out()
    gap, sure = search.prove()
    chosen = search.best
    excess = search.table.excess_of(search.table.short(chosen))
    return Choice(
        chosen=tuple(sorted(chosen)),
        cost=sum(problem.options[k].cost for k in sorted(chosen)),
        unmet=tuple(int(k) for k in np.flatnonzero(excess)),
        gap=gap,
        seconds=time.monotonic() - looked,
        sure=sure,
    )


@light(frozen=False, eq=False)
class _Search:
    table: Table
    begun: float
    deadline: float
    looked: float  # as ``begun``, by the wall
    best: Chosen = frozenset()

    def try_out(self) -> None:
        """Good choices from nothing, and from the plan before."""
        until = self.begun + BY_TRYING * (self.deadline - self.begun)
        kept = frozenset(self.table.problem.kept)
        begins = [frozenset[int](), *([kept] if kept and self.table.allows(kept) else [])]
        for begin in begins:
            self._offer(begin)
            self._offer(polish(self.table, build(self.table, begin, until), until))

    def _asked(self, programme: Programme, seconds: float, *, whole: bool = True, among: Flags | None = None) -> Answer:
        """``seconds`` of the processor. The optimiser counts by the wall, so on a busy machine it gets as much more."""
        used, passed = time.process_time() - self.begun, time.monotonic() - self.looked
        busy = min(max(passed / max(used, 1e-3), 1.0), BUSIEST)
        return programme.solve(seconds * busy, whole=whole, among=among)

    def _offer(self, chosen: Chosen) -> None:
        if self.table.allows(chosen) and self.table.worth(chosen) < self.table.worth(self.best):
            self.best = chosen

    def prove(self) -> tuple[float, bool]:
        """How much cheaper another choice may be, as a share, and whether none leaves fewer meals short; finds better ones."""
        if not self.table.problem.options or not len(self.table.pool_of):
            return 0.0, True
        hopeless = _hopeless(self.table)
        least = int(self.table.excess_of(hopeless).sum())
        gap = self._cheapest() if self.table.pools.need.size > SMALL else 1.0
        # Nothing may be short now that need not be: where that is settled, no other choice can be better.
        sure = self.table.excess(self.best) == least
        if sure and self.table.allowed == 0:
            return gap if self.table.pools.need.size > SMALL else self._cheapest(), True
        heavy = 1.0 + 2 * (sum(abs(one.cost) for one in self.table.problem.options) + self.table.problem.change)
        programme = Programme(self.table, hopeless, True, heavy)
        bound = self._rounds(programme, self._relax(programme))
        excess, cost = self.table.worth(self.best)
        if bound >= cost + heavy * excess - SAME * max(cost, CLOSE):
            return 0.0, True
        floor = bound - heavy * excess
        proven = float(max(0.0, min(1.0, (cost - floor) / cost))) if cost > 0 else 1.0
        if self.table.allowed == 0:
            return min(gap, proven) if floor > 0 else gap, sure or floor > 0
        return proven, sure or floor > 0

    def _cheapest(self) -> float:
        """Cheaper choices that leave no cell short but those that the best one does; the gap among these."""
        while True:
            given_up = self.table.short(self.best)
            programme = Programme(self.table, given_up, False, 0.0)
            bound = self._rounds(programme, self._relax(programme))
            cost = self.table.cost(self.best)
            # With fewer short than at first the question is another one.
            if time.process_time() >= self.deadline or not (given_up & ~self.table.short(self.best)).any():
                break
        if bound >= cost - SAME * max(cost, CLOSE):
            return 0.0
        return float(max(0.0, min(1.0, (cost - bound) / cost))) if cost > 0 else 1.0

    def _relax(self, programme: Programme) -> float:
        """Rows that also fractions of options violate; gives the bound that these prove. What they come to is tried, rounded."""
        bound, until = -inf, time.process_time() + RELAXING * (self.deadline - time.process_time())
        answer = None
        for _ in range(RELAXED):
            left = until - time.process_time()
            if left <= 0:
                break
            answer = self._asked(programme, left, whole=False)
            if answer.x is None:
                break
            bound = max(bound, answer.bound)
            rows = stretches(self.table, answer.x, answer.z, programme.given_up)
            if not rows:
                break
            programme.rows += rows
        if answer is not None and answer.x is not None:
            self._mend(self._rounded(answer.x))
            self._close_to(programme, answer.x)
        return bound

    def _close_to(self, programme: Programme, x: Array) -> None:
        """Whole answers among the options that fractions or the best choice use, which are few."""
        options = self.table.problem.options
        if len(options) <= FEW:
            return
        spots = {(options[k].vessel, options[k].start) for k in {*np.flatnonzero(x > 0.01).tolist(), *self.best}}
        among = np.array([(one.vessel, one.start) in spots for one in options])
        for _ in range(CLOSE_ROUNDS):
            answer = self._asked(programme, TURN * (self.deadline - time.process_time()), among=among)
            if answer.x is None or time.process_time() > self.deadline:
                return
            chosen = frozenset(int(k) for k in np.flatnonzero(answer.x > 0.5))
            self._mend(chosen)
            rows = stretches(self.table, np.round(answer.x), np.round(answer.z), programme.given_up)
            if not rows:
                return
            programme.rows += rows

    def _rounded(self, x: Array) -> Chosen:
        """What is mostly chosen, as far as vessels and tins are enough."""
        chosen: Chosen = frozenset()
        for k in np.argsort(-x, kind="stable"):
            if x[k] < MOSTLY:
                break
            if self.table.allows(chosen | {int(k)}):
                chosen |= {int(k)}
        return chosen

    def _rounds(self, programme: Programme, bound: float) -> float:
        """The best bound that was proven, in the programme's own terms."""
        for _ in range(ROUNDS):
            left = self.deadline - time.process_time()
            if left <= 0:
                break
            answer = self._asked(programme, left * (1 if left < LAST_S else TURN))
            bound = max(bound, answer.bound)
            excess, cost = self.table.worth(self.best)
            known = cost + (programme.heavy * excess if programme.loose else 0.0)
            if answer.x is None or bound >= known - SAME * max(cost, CLOSE):
                break
            chosen = frozenset(int(k) for k in np.flatnonzero(answer.x > 0.5))
            z = np.round(answer.z)
            rows = stretches(self.table, np.round(answer.x), z, programme.given_up)
            rows += lessons(self.table, chosen, self._wrong(programme, chosen, z))
            if not rows:
                self._offer(chosen)
                break
            programme.rows += rows
            self._mend(chosen)
        return bound

    def _wrong(self, programme: Programme, chosen: Chosen, z: Array) -> list[tuple[int, int]]:
        """Cells that are short though the programme thinks that they are not."""
        wrong = self.table.short(chosen) & ~programme.given_up & (z < 0.5)
        first: dict[int, tuple[int, int]] = {}
        for s, pool in np.argwhere(wrong):
            first.setdefault(int(s), (int(s), int(pool)))
        return list(first.values())[:LESSONS]

    def _mend(self, chosen: Chosen) -> None:
        """An answer that is too good to be true is often nearly so."""
        until = min(self.deadline, time.process_time() + 0.1 * (self.deadline - self.begun))
        self._offer(chosen)
        self._offer(polish(self.table, build(self.table, chosen, until), until))


def _hopeless(table: Table) -> Flags:
    """Cells that are short whatever is chosen: those that are so with all options at once, if nobody else ate.

    More in stock never means less for those with one kind of mouth, and what others eat is never more stock.
    """
    everything = table.sources
    found = np.zeros(table.pools.need.shape, dtype=bool)
    for mouth in range(table.mouths):
        of_it = np.flatnonzero(table.mouth == mouth)
        alone = Demand(tuple(table.pools.meals[k] for k in of_it), table.pools.need[:, of_it])
        got = feed(alone, everything).got
        found[:, of_it] = got < FULL * alone.need * (1 - CLOSE)
    return found
