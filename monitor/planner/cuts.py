"""Rows of the programme that hold for every choice that feeds well, made where a choice needs them.

A stretch of meals can't get more than the sources give that can be fed within it (after Hall's theorem on matchings, 1935). Where
these do not tell why a meal is short, ``lessons`` say what was learned from that choice alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.feeding import feed
from monitor.core.food import FULL, Demand, Source
from monitor.core.light import light
from monitor.planner.table import CLOSE

if TYPE_CHECKING:
    from monitor.core.hatch import Array
    from monitor.planner.table import Chosen, Flags, Table

MOST: Final = 300  # rows added at a time
BLOCKS: Final = 7  # in each of so many parts of the days ahead the worst stretch of a world is looked for
SPREAD: Final = 7919  # a prime
VIOLATED: Final = 1e-6
TRIES: Final = 24  # how often a lesson is widened


@light(eq=False)
class Row:
    """Of the options ``x`` (options,) and cells ``z``: ``x . choice + sum(z of cells) >= least``. A cell is (scenario, pool)."""

    x: Array
    cells: tuple[tuple[int, int], ...]
    z: Array
    least: float


def stretches(table: Table, x: Array, z: Array, given_up: Flags) -> list[Row]:
    """Rows that ``x`` (options,), also a fractional one, violates. ``z`` (scenarios, pools): how far a cell may be short.

    Cells that are ``given_up`` need nothing.
    """
    weight = np.concatenate([np.ones(table.held), x])
    need = np.where(given_up, 0.0, FULL * table.pools.need)
    found: list[tuple[float, Row]] = []
    for mouth in range(table.mouths):
        wanted = _by_time(table, need * (1 - z), mouth)
        amount = np.where(table.asks[None, :] <= mouth, table.amount, 0.0) * weight
        found += _of_mouth(table, wanted, amount, mouth, need)
    # Of those that lack about as much, some of all days rather than all of one.
    order = sorted(range(len(found)), key=lambda k: (-round(found[k][0], 1), k * SPREAD % len(found)))
    return [found[k][1] for k in order[:MOST]]


def _by_time(table: Table, need: Array, mouth: int) -> Array:
    """What those with this mouth and smaller ones need at each time, (scenarios, times)."""
    found = np.zeros((len(need), len(table.times)))
    for pool in np.flatnonzero(table.mouth <= mouth):
        found[:, table.at[pool]] += need[:, pool]
    return found


def _of_mouth(table: Table, wanted: Array, amount: Array, mouth: int, need: Array) -> list[tuple[float, Row]]:
    """For each scenario the stretches, from one time to another, that lack most."""
    scenarios, times = wanted.shape
    rows = np.arange(scenarios)[:, None]
    comes, ends = np.zeros((scenarios, times + 1)), np.zeros((scenarios, times + 1))
    np.add.at(comes, (np.broadcast_to(rows, amount.shape), table.first), amount)
    np.add.at(ends, (np.broadcast_to(rows, amount.shape), table.last), amount)
    there = np.cumsum(comes, axis=1)[:, :times]  # began at or before
    gone = np.cumsum(ends, axis=1)[:, :times]  # ended at or before
    upto = np.concatenate([np.zeros((scenarios, 1)), np.cumsum(wanted, axis=1)], axis=1)
    # [scenario, begin, end]: need of the stretch less what hits it
    lack = (upto[:, None, 1:] - upto[:, :times, None]) - (there[:, None, :] - gone[:, :, None])
    whole = upto[:, None, 1:] - upto[:, :times, None]
    lack = np.where(np.arange(times)[:, None] <= np.arange(times)[None, :], lack, -np.inf)
    found = []
    enough = VIOLATED * max(float(need.max(initial=0.0)), 1.0)
    for ends_in in np.array_split(np.arange(times), min(BLOCKS, times)):
        flat = lack[:, :, ends_in].reshape(scenarios, -1)
        share = flat / np.maximum(whole[:, :, ends_in].reshape(scenarios, -1), CLOSE)
        # In turns what lacks most, and what lacks the greatest part: long stretches and short ones.
        worst = np.where(np.arange(scenarios) % 2 == 0, flat.argmax(axis=1), share.argmax(axis=1))
        for s in np.flatnonzero(flat[np.arange(scenarios), worst] > enough):
            begin, end = int(worst[s]) // len(ends_in), int(ends_in[int(worst[s]) % len(ends_in)])
            row = _stretch(table, int(s), begin, end, mouth, need)
            found.append((float(flat[s, worst[s]]) / max(float(upto[s, end + 1] - upto[s, begin]), CLOSE), row))
    return found


def _stretch(table: Table, s: int, begin: int, end: int, mouth: int, need: Array) -> Row:
    pools = np.flatnonzero((table.mouth <= mouth) & (begin <= table.at) & (table.at <= end) & (need[s] > 0))
    hits = (table.asks <= mouth) & (table.first[s] <= end) & (table.last[s] > begin)
    gives = np.where(hits, table.amount[s], 0.0)
    least = float(need[s, pools].sum()) - float(gives[: table.held].sum())
    # What gives more than all that lacks gives no more than that; the same holds of a cell that is let go.
    x, z = np.minimum(gives[table.held :], least), np.minimum(need[s, pools], least)
    return Row(x / least, tuple((s, int(pool)) for pool in pools), z / least, 1.0)


def lessons(table: Table, chosen: Chosen, cells: list[tuple[int, int]]) -> list[Row]:
    """For cells that are short with ``chosen`` though nothing shows it: what else has to be chosen then."""
    return [
        _widened(table, chosen, s, pool) if table.mouth[pool] == 0 else _only(table, chosen, s, pool)
        for s, pool in cells
    ]


def _only(table: Table, chosen: Chosen, s: int, pool: int) -> Row:
    """Not exactly this choice. For wide mouths: what more there is for them may be less, as small mouths take other ones then."""
    inside = np.array([k in chosen for k in range(len(table.problem.options))])
    return Row(np.where(inside, -1.0, 1.0), ((s, pool),), np.ones(1), 1.0 - float(inside.sum()))


def _widened(table: Table, chosen: Chosen, s: int, pool: int) -> Row:
    """The smallest mouths get no less when more is there, so one of those is needed that are in no larger choice still short."""
    held = table.held
    places = np.arange(held, len(table.sources))
    useless = (table.asks[held:] > 0) | (table.first[s, held:] > table.at[pool]) | (table.amount[s, held:] <= 0)
    inside = np.isin(places - held, sorted(chosen)) | useless
    outside = sorted(np.flatnonzero(~inside), key=lambda k: (table.amount[s, held + k], k))
    step = max(len(outside) // 2, 1)
    for _ in range(TRIES):
        if not outside:
            break
        wider = inside.copy()
        wider[outside[:step]] = True
        if _still_short(table, wider, s, pool):
            inside, outside = wider, outside[step:]
        elif step == 1:
            outside = outside[1:]
        step = max(min(step, len(outside)) // 2, 1)
    return Row(np.where(inside, 0.0, 1.0), ((s, pool),), np.ones(1), 1.0)


def _still_short(table: Table, inside: Flags, s: int, pool: int) -> bool:
    upto = [k for k in range(len(table.pools.meals)) if table.at[k] <= table.at[pool] and table.mouth[k] == 0]
    demand = Demand(tuple(table.pools.meals[k] for k in upto), table.pools.need[s : s + 1, upto])
    used = [*range(table.held), *(table.held + int(k) for k in np.flatnonzero(inside))]
    got = feed(demand, [_one(table.sources[k], s) for k in used]).got
    here = upto.index(pool)
    return bool(got[0, here] < FULL * demand.need[0, here] * (1 - CLOSE))


def _one(source: Source, s: int) -> Source:
    row = slice(s, s + 1)
    return Source(
        kind=source.kind,
        name=source.name,
        lot=source.lot,
        length_um=source.length_um,
        since=source.since[row],
        until=source.until[row],
        nauplii=source.nauplii[row],
    )
