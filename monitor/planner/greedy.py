"""A good choice soon: add what helps the first short meal most for its cost, then leave out and shrink what is not needed."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.planner.table import FULL, overlap

if TYPE_CHECKING:
    from monitor.core.food import Option
    from monitor.core.hatch import Array
    from monitor.planner.table import Chosen, Table

STEPS: Final = 120
SWAPS: Final = 12  # cheaper options that are tried in the place of one


def build(table: Table, begin: Chosen, deadline: float) -> Chosen:
    """From ``begin`` on; ``deadline`` as of ``time.monotonic``."""
    chosen, hopeless = begin, set[int]()
    for _ in range(STEPS):
        if time.monotonic() > deadline:
            break
        short = table.short(chosen)
        late = np.flatnonzero(table.excess_of(short))
        pools = [pool for pool in sorted(set(table.pool_of[late].tolist())) if pool not in hopeless]
        if not pools:
            break
        better = _helped(table, chosen, pools[0], short[:, pools[0]])
        if better is None:
            hopeless.add(pools[0])
        else:
            chosen = better
    return chosen


def _helped(table: Table, chosen: Chosen, pool: int, short: Array) -> Chosen | None:
    """With the option that gives most of what lacks for its cost; ``None`` when nothing helps the pool."""
    lack = np.maximum(table.pools.need - table.got(chosen), 0.0)
    lack = np.where(table.short(chosen), lack, 0.0)
    best: tuple[float, Chosen] | None = None
    sums = _window_sums(table, lack)
    at, mouth = int(table.at[pool]), int(table.mouth[pool])
    for k, option in enumerate(table.problem.options):
        place = table.held + k
        if k in chosen or table.asks[place] > mouth:
            continue
        alive = (table.first[:, place] <= at) & (at < table.last[:, place]) & short
        if not alive.any():
            continue
        conflicts = [j for j in chosen if overlap(option, table.problem.options[j])]
        with_it = (chosen - set(conflicts)) | {k}
        if not (_grows(table, option, conflicts) and table.allows(with_it)):
            continue
        fresh, paid = table.amount[:, place], option.cost
        for j in conflicts:
            fresh, paid = fresh - table.amount[:, table.held + j], paid - table.problem.options[j].cost
        useful = np.minimum(np.maximum(fresh, 0.0), sums(place))
        score = float(useful.sum()) / max(paid, 1e-6) * (0.2 + float(alive.sum() / short.sum()))
        if useful[alive].any() and (best is None or score > best[0]):
            best = score, with_it
    return None if best is None else best[1]


def _grows(table: Table, option: Option, conflicts: list[int]) -> bool:
    """It may take the place of a smaller one of the same tin, not of anything else."""
    others = [table.problem.options[j] for j in conflicts]
    return all(one.lot == option.lot and one.start == option.start and one.grams < option.grams for one in others)


class _Sums:
    """What lacks in the meals that a source could be fed at, (scenarios,)."""

    def __init__(self, table: Table, lack: Array) -> None:
        self._table = table
        self._rows = np.arange(len(lack))
        by = np.zeros((table.mouths, len(lack), len(table.times) + 1))
        for pool in range(lack.shape[1]):
            by[: table.mouth[pool] + 1, :, table.at[pool] + 1] += lack[:, pool]
        self._sums = np.cumsum(by, axis=2)

    def __call__(self, place: int) -> Array:
        of_mouth = self._sums[self._table.asks[place]]
        first, last = self._table.first[:, place], self._table.last[:, place]
        return np.asarray(np.maximum(of_mouth[self._rows, last] - of_mouth[self._rows, np.minimum(first, last)], 0.0))


_window_sums = _Sums


def polish(table: Table, chosen: Chosen, deadline: float) -> Chosen:
    """No worse, and often cheaper."""
    chosen = _without(table, chosen, deadline)
    worth = table.worth(chosen)
    better = True
    while better and time.monotonic() < deadline:
        better = False
        for j in sorted(chosen, key=lambda k: -table.problem.options[k].cost):
            found = _cheaper(table, chosen, j, worth, deadline)
            if found is not None:
                chosen, worth, better = found, table.worth(found), True
                break
    return chosen


def _without(table: Table, chosen: Chosen, deadline: float) -> Chosen:
    worth = table.worth(chosen)
    for j in sorted(chosen, key=lambda k: -table.problem.options[k].cost):
        if time.monotonic() > deadline:
            break
        fewer = chosen - {j}
        if table.worth(fewer) < worth:
            chosen, worth = fewer, table.worth(fewer)
    return chosen


def _cheaper(table: Table, chosen: Chosen, j: int, worth: tuple[int, float], deadline: float) -> Chosen | None:
    """One option in the place of another."""
    old, options = table.problem.options[j], table.problem.options
    mine = table.amount[:, table.held + j].mean() * FULL / 2
    others = [
        k
        for k, one in enumerate(options)
        if k not in chosen
        and one.cost < old.cost
        and table.amount[:, table.held + k].mean() >= mine
        and abs(one.start - old.start) <= old.free - old.start
    ]
    for k in sorted(others, key=lambda k: (options[k].start != old.start, options[k].cost))[:SWAPS]:
        if time.monotonic() > deadline:
            return None
        swapped = (chosen - {j}) | {k}
        if table.allows(swapped) and table.worth(swapped) < worth:
            return swapped
    return None
