"""A problem laid out for reckoning: meals pooled by time and mouth, sources by the meals between which they can be fed.

A meal is short in a scenario when it gets less than ``FULL`` of its need as ``feed`` gives it; that rule alone decides. What each
meal falls short beyond what the chance allows is its excess; a choice is the better the less excess it has, and then the cheaper.
"""

from __future__ import annotations

from dataclasses import field, replace
from math import ceil, inf
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.feeding import feed, fits
from monitor.core.food import FULL, Demand, Meal
from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from monitor.core.food import Option, Problem, Source
    from monitor.core.hatch import Array

    Flags = NDArray[np.bool_]
    Whole = NDArray[np.int64]

CLOSE: Final = 1e-9

Chosen = frozenset[int]


@light(eq=False)
class Table:
    """``need`` (scenarios, pools). A pool is all who eat at one time and can take the same sources."""

    problem: Problem
    pools: Demand
    times: Array  # of the meals, sorted, ms
    at: Whole  # (pools,), place of its time
    mouth: Whole  # (pools,), 0 can take least; each takes all that those before it can
    pool_of: Whole  # (meals,)
    eats: Flags  # (scenarios, meals)
    allowed: int  # scenarios in which a meal may be short
    sources: tuple[Source, ...]  # held ones first, then those of the options
    first: Whole  # (scenarios, sources), place of the first time at which it can be fed
    last: Whole  # the first at which it can't any more
    amount: Array  # (scenarios, sources), nauplii; 0 where it can be fed at no meal
    asks: Whole  # (sources,), the first mouth that can take it
    memory: dict[Chosen, Array] = field(default_factory=dict)

    @staticmethod
    def of(problem: Problem) -> Table:
        meals, need = problem.demand.meals, problem.demand.need
        sources = (*problem.held, *(option.source for option in problem.options))
        taken = [_takes(meal, sources) for meal in meals]
        mouths = sorted(set(taken), key=sum)
        keys = sorted({(meal.time, mouths.index(some)) for meal, some in zip(meals, taken, strict=True)})
        place = {key: k for k, key in enumerate(keys)}
        pool_of = np.array(
            [place[meal.time, mouths.index(some)] for meal, some in zip(meals, taken, strict=True)], dtype=np.int64
        )
        pooled = np.zeros((len(need), len(keys)))
        for k, pool in enumerate(pool_of):
            pooled[:, pool] += need[:, k]
        times = np.array(sorted({time for time, _ in keys}), dtype=float)
        largest = {
            place[meal.time, mouths.index(some)]: meal.largest_um for meal, some in zip(meals, taken, strict=True)
        }
        since, until, amount = _stacked(sources, len(need))
        first, last = np.searchsorted(times, since), np.searchsorted(times, until)
        return Table(
            problem=problem,
            pools=Demand(
                tuple(Meal(time=time, eater="", largest_um=largest[k]) for k, (time, _) in enumerate(keys)), pooled
            ),
            times=times,
            at=np.array([int(np.searchsorted(times, time)) for time, _ in keys], dtype=np.int64),
            mouth=np.array([mouth for _, mouth in keys], dtype=np.int64),
            pool_of=pool_of,
            eats=need > 0,
            allowed=len(need) - ceil(problem.chance * len(need) - CLOSE),
            sources=sources,
            first=first,
            last=last,
            amount=np.where(first < last, amount, 0.0),
            asks=np.array(
                [next((m for m, some in enumerate(mouths) if some[k]), len(mouths)) for k in range(len(sources))],
                dtype=np.int64,
            ),
        )

    @property
    def held(self) -> int:
        """How many of the sources are there anyway."""
        return len(self.problem.held)

    @property
    def mouths(self) -> int:
        return int(self.mouth.max()) + 1 if len(self.mouth) else 0

    def got(self, chosen: Chosen) -> Array:
        """What each pool gets, (scenarios, pools)."""
        found = self.memory.get(chosen)
        if found is None:
            sources = (*self.problem.held, *(self.problem.options[k].source for k in sorted(chosen)))
            found = self.memory[chosen] = feed(self.pools, sources).got
        return found

    def try_all(self, some: Sequence[Chosen]) -> None:
        """Feed many choices at once, which is much quicker than one after the other; ``got`` then knows them."""
        new = [chosen for chosen in some if chosen not in self.memory]
        if len(new) < 2:
            return
        scenarios, used = len(self.pools.need), sorted(set().union(*new))
        places = [*range(self.held), *(self.held + k for k in used)]
        inside = np.array([[k < self.held or k - self.held in chosen for k in places] for chosen in new])
        sources = [
            replace(
                self.sources[k],
                since=np.tile(self.sources[k].since, len(new)),
                until=np.tile(self.sources[k].until, len(new)),
                nauplii=np.outer(inside[:, n], self.sources[k].nauplii).ravel(),
            )
            for n, k in enumerate(places)
        ]
        got = feed(Demand(self.pools.meals, np.tile(self.pools.need, (len(new), 1))), sources).got
        for n, chosen in enumerate(new):
            self.memory[chosen] = got[n * scenarios : (n + 1) * scenarios]

    def short(self, chosen: Chosen) -> Flags:
        """Which pools are short in which scenario."""
        return np.asarray(self.got(chosen) < FULL * self.pools.need * (1 - CLOSE))

    def excess_of(self, short: Flags) -> Whole:
        """In how many scenarios more than allowed each meal is short, (meals,)."""
        times = (short[:, self.pool_of] & self.eats).sum(axis=0)
        return np.asarray(np.maximum(times - self.allowed, 0), dtype=np.int64)

    def excess(self, chosen: Chosen) -> int:
        return int(self.excess_of(self.short(chosen)).sum()) if len(self.pool_of) else 0

    def cost(self, chosen: Iterable[int]) -> float:
        """What is paid, and what it costs to be other than the plan before."""
        some = set(chosen)
        paid = sum(self.problem.options[k].cost for k in sorted(some))
        return paid + self.problem.change * sum(k not in some for k in self.problem.kept)

    def worth(self, chosen: Chosen) -> tuple[int, float]:
        """The less the better."""
        return self.excess(chosen), self.cost(chosen)

    def allows(self, chosen: Iterable[int]) -> bool:
        """Whether vessels and tins are enough for all of them."""
        some = [self.problem.options[k] for k in chosen]
        used: dict[str, float] = {}
        for one in some:
            used[one.lot] = used.get(one.lot, 0.0) + one.grams
        if any(grams > self.problem.left_g.get(lot, inf) * (1 + CLOSE) + CLOSE for lot, grams in used.items()):
            return False
        return not any(overlap(one, other) for k, one in enumerate(some) for other in some[:k])


def overlap(one: Option, other: Option) -> bool:
    """Whether both need the same vessel at the same time."""
    return one.vessel == other.vessel and one.start < other.free and other.start < one.free


def _takes(meal: Meal, sources: tuple[Source, ...]) -> tuple[bool, ...]:
    return tuple(fits(one.length_um, meal.largest_um) for one in sources)


def _stacked(sources: tuple[Source, ...], scenarios: int) -> tuple[Array, Array, Array]:
    if not sources:
        nothing = np.zeros((scenarios, 0))
        return nothing, nothing, nothing
    since = np.stack([one.since for one in sources], axis=1)
    until = np.stack([one.until for one in sources], axis=1)
    return since, until, np.stack([one.nauplii for one in sources], axis=1)
