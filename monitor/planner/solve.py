"""The cheapest choice with which every meal is full often enough, proven where the time is enough, with its gap otherwise.

First a good choice by trying (``greedy``); then a programme that knows too few rows, whose answers are therefore too good to
be true: each is tried by feeding, and what it got wrong becomes a row (``cuts``). When its answer is true, it is the best.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.food import Choice
from monitor.planner.cuts import lessons, stretches
from monitor.planner.greedy import build, polish
from monitor.planner.programme import Programme
from monitor.planner.table import CLOSE, FULL, Chosen, Table

if TYPE_CHECKING:
    from monitor.core.food import Problem
    from monitor.core.hatch import Array
    from monitor.planner.table import Flags

RELAXED: Final = 12  # rounds without whole numbers, which are cheap
ROUNDS: Final = 4000
LESSONS: Final = 12
SAME: Final = 1e-6  # costs that differ by less of themselves are the same
BY_TRYING: Final = 0.35  # of the time, for the first choice


def solve(problem: Problem) -> Choice:
    """Takes about ``problem.seconds``; the same answer each time when these are enough."""
    begun = time.monotonic()
    search = _Search(Table.of(problem), begun, begun + problem.seconds)
    search.try_out()
    gap = search.prove()
    chosen = search.best
    excess = search.table.excess_of(search.table.short(chosen))
    return Choice(
        chosen=tuple(sorted(chosen)),
        cost=sum(problem.options[k].cost for k in sorted(chosen)),
        unmet=tuple(int(k) for k in np.flatnonzero(excess)),
        gap=gap,
        seconds=time.monotonic() - begun,
    )


@dataclass(slots=True, eq=False)
class _Search:
    table: Table
    begun: float
    deadline: float
    best: Chosen = frozenset()

    def try_out(self) -> None:
        """Good choices from nothing, and from the plan before."""
        until = self.begun + BY_TRYING * (self.deadline - self.begun)
        kept = frozenset(self.table.problem.kept)
        begins = [frozenset[int](), *([kept] if kept and self.table.allows(kept) else [])]
        for begin in begins:
            self._offer(begin)
            self._offer(polish(self.table, build(self.table, begin, until), until))

    def _offer(self, chosen: Chosen) -> None:
        if self.table.allows(chosen) and self.table.worth(chosen) < self.table.worth(self.best):
            self.best = chosen

    def prove(self) -> float:
        """How much cheaper another choice may be, as a share; finds better ones on the way."""
        if not self.table.problem.options:
            return 0.0
        hopeless = _hopeless(self.table)
        least = int(self.table.excess_of(hopeless).sum())
        # Where nothing may be short that need not be, cells are no question any more.
        strict = self.table.allowed == 0 and self.table.excess(self.best) == least
        heavy = 1.0 + 2 * (sum(abs(one.cost) for one in self.table.problem.options) + self.table.problem.change)
        programme = Programme(self.table, hopeless, not strict, heavy)
        self._relax(programme)
        bound = self._rounds(programme)
        excess, cost = self.table.worth(self.best)
        whole = cost + (0.0 if strict else heavy * excess)
        if bound >= whole - SAME * max(cost, CLOSE):
            return 0.0
        floor = bound - (0.0 if strict else heavy * excess)
        if excess > least and floor < 0:
            return 1.0  # not even the number of short meals is proven
        return float(min(max((cost - floor) / cost, 0.0), 1.0)) if cost > 0 else 1.0

    def _relax(self, programme: Programme) -> None:
        for _ in range(RELAXED):
            left = self.deadline - time.monotonic()
            if left <= 0:
                return
            answer = programme.solve(left, whole=False)
            if answer.x is None:
                return
            rows = stretches(self.table, answer.x, answer.z, programme.given_up)
            if not rows:
                return
            programme.rows += rows

    def _rounds(self, programme: Programme) -> float:
        """The best bound that was proven, in the programme's own terms."""
        bound = -inf
        for _ in range(ROUNDS):
            left = self.deadline - time.monotonic()
            if left <= 0:
                break
            answer = programme.solve(left)
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
        until = min(self.deadline, time.monotonic() + 0.1 * (self.deadline - self.begun))
        self._offer(chosen)
        self._offer(polish(self.table, build(self.table, chosen, until), until))


def _hopeless(table: Table) -> Flags:
    """Cells that are short whatever is chosen. With one kind of mouth more food never means less for a meal, so all options at
    once show it; with several, what is there at a meal's own time does."""
    if table.mouths <= 1:
        return table.short(frozenset(range(len(table.problem.options))))
    there = np.zeros(table.pools.need.shape)
    for pool, (at, mouth) in enumerate(zip(table.at, table.mouth, strict=True)):
        alive = (table.first <= at) & (at < table.last) & (table.asks <= mouth)[None, :]
        there[:, pool] = np.where(alive, table.amount, 0.0).sum(axis=1)
    return np.asarray(there < FULL * table.pools.need * (1 - CLOSE))
