"""A good choice soon: add what helps the first short meal most for its cost, then leave out and shrink what is not needed."""

from __future__ import annotations

import time
from itertools import islice
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.planner.table import overlap

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.hatch import Array
    from monitor.planner.table import Chosen, Flags, Table, Whole

STEPS: Final = 120
SWAPS: Final = 12  # cheaper options that are tried in the place of one
BATCH: Final = 16  # choices that are tried at once


def build(table: Table, begin: Chosen, deadline: float) -> Chosen:
    """From ``begin`` on; ``deadline`` as of ``time.process_time``: a busy machine takes longer, and plans as well."""
    chosen, hopeless = begin, set[int]()
    for _ in range(STEPS):
        if time.process_time() > deadline:
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


def _helped(table: Table, chosen: Chosen, pool: int, short: Flags) -> Chosen | None:
    """With the option that gives most of what lacks for its cost; ``None`` when nothing helps the pool."""
    lack = np.where(table.short(chosen), np.maximum(table.pools.need - table.got(chosen), 0.0), 0.0)
    at, mouth, held = int(table.at[pool]), int(table.mouth[pool]), table.held
    alive = (table.first[:, held:] <= at) & (at < table.last[:, held:]) & (table.asks[None, held:] <= mouth)
    alive &= short[:, None]
    old, fits = _instead(table, chosen)
    fits &= alive.any(axis=0)
    if not fits.any():
        return None
    options = table.problem.options
    costs = np.array([one.cost for one in options])
    some = np.flatnonzero(fits)
    before = np.where(old[some] >= 0, table.amount[:, held + np.maximum(old[some], 0)], 0.0)
    paid = costs[some] - np.where(old[some] >= 0, costs[np.maximum(old[some], 0)], 0.0)
    useful = np.minimum(np.maximum(table.amount[:, held + some] - before, 0.0), _within(table, lack, held + some))
    helps = (useful * alive[:, some]).sum(axis=0) > 0
    score = useful.sum(axis=0) / np.maximum(paid, 1e-6) * (0.2 + alive[:, some].sum(axis=0) / short.sum())
    for place in np.argsort(-np.where(helps, score, -1.0), kind="stable"):
        if not helps[place]:
            return None
        k = int(some[place])
        with_it = (chosen - {int(old[k])}) | {k}
        if table.allows(with_it):
            return with_it
    return None


def _instead(table: Table, chosen: Chosen) -> tuple[Whole, Flags]:
    """For each option the one whose place it would take, or -1, and whether it may: that of a smaller one of the same tin."""
    options = table.problem.options
    old, fits = np.full(len(options), -1, dtype=np.int64), np.ones(len(options), dtype=bool)
    by_vessel: dict[str, list[int]] = {}
    for j in chosen:
        by_vessel.setdefault(options[j].vessel, []).append(j)
    for k, one in enumerate(options):
        conflicts = [j for j in by_vessel.get(one.vessel, ()) if overlap(one, options[j])]
        if not conflicts:
            continue
        other = options[conflicts[0]]
        grows = other.lot == one.lot and other.start == one.start and other.grams < one.grams
        old[k], fits[k] = conflicts[0], len(conflicts) == 1 and grows
    return old, fits


def _within(table: Table, lack: Array, places: Whole) -> Array:
    """What lacks in the meals at which each of the sources could be fed, (scenarios, places)."""
    by = np.zeros((table.mouths + 1, len(lack), len(table.times) + 1))
    for pool in range(lack.shape[1]):
        by[: table.mouth[pool] + 1, :, table.at[pool] + 1] += lack[:, pool, None].T
    sums = np.cumsum(by, axis=2)
    rows = np.arange(len(lack))[:, None]
    asks = table.asks[places][None, :]
    first, last = table.first[:, places], table.last[:, places]
    return np.asarray(np.maximum(sums[asks, rows, last] - sums[asks, rows, np.minimum(first, last)], 0.0))


def polish(table: Table, chosen: Chosen, deadline: float) -> Chosen:
    """No worse, and often cheaper: one option less, or a cheaper one in the place of another."""
    while time.process_time() < deadline:
        better = _better(table, chosen, deadline)
        if better is None:
            break
        chosen = better
    return chosen


def _better(table: Table, chosen: Chosen, deadline: float) -> Chosen | None:
    worth = table.worth(chosen)
    near = _near(table, chosen)
    while some := list(islice(near, BATCH)):
        table.try_all(some)
        best = min(some, key=table.worth)
        if table.worth(best) < worth:
            return best
        if time.process_time() > deadline:
            break
    return None


def _near(table: Table, chosen: Chosen) -> Iterator[Chosen]:
    """Choices that differ by one option and cost less, those that differ least first."""
    dear_first = sorted(chosen, key=lambda k: (-table.problem.options[k].cost, k))
    for j in dear_first:
        yield chosen - {j}
    others = {j: _cheaper(table, chosen, j) for j in dear_first}
    for n in range(SWAPS):
        for j in dear_first:
            if n < len(others[j]):
                swapped = (chosen - {j}) | {others[j][n]}
                if table.allows(swapped):
                    yield swapped


def _cheaper(table: Table, chosen: Chosen, j: int) -> list[int]:
    """Options that could stand in the place of one: of the same start first, and those that save least."""
    options = table.problem.options
    old = options[j]
    about = old.free - old.start
    others = [
        k
        for k, one in enumerate(options)
        if k not in chosen and one.cost < old.cost and abs(one.start - old.start) <= about
    ]
    return sorted(others, key=lambda k: (options[k].start != old.start, -options[k].cost, k))
