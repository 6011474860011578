"""Who gets what: what ends first is fed first, and nobody with a wide mouth starves one with a small mouth.

Those who can take least are given theirs first, for all the days ahead: small nauplii that they are going to need are not for
those who can eat large ones as well. Who eats at the same time and can take the same shares what there is by need.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from monitor.core.food import Feeding

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.food import Demand, Source
    from monitor.core.hatch import Array
    from monitor.core.model import Ms


def fits(length_um: float | None, largest_um: float | None) -> bool:
    """Whether a mouth can take nauplii of this length; what is not known is taken to fit."""
    return length_um is None or largest_um is None or length_um <= largest_um


def feed(demand: Demand, sources: Sequence[Source]) -> Feeding:
    """Give every meal of every scenario what there is for it."""
    got, taken = course(demand, sources)
    return Feeding(got=got, used=taken.sum(axis=1))


def times_of(demand: Demand) -> list[Ms]:
    """When anybody eats."""
    return sorted({meal.time for meal in demand.meals})


def course(demand: Demand, sources: Sequence[Source]) -> tuple[Array, Array]:
    """What each meal gets, (scenarios, meals), and what is taken of each source, (scenarios, ``times_of``, sources)."""
    times = times_of(demand)
    if not sources or not times:
        return np.zeros_like(demand.need), np.zeros((len(demand.need), len(times), len(sources)))
    tables, stock = _tables(demand, sources), _Stock(sources)
    got, taken = _served(demand, tables, stock, times, mirrored=False)
    if len(tables) <= 1:
        return got, taken
    # Which of the small ones the small mouths take decides what is left for the wide ones: neither way is always the better.
    other, by_other = _served(demand, tables, stock, times, mirrored=True)
    better = other.sum(axis=1) > got.sum(axis=1) * (1 + 1e-9)
    return np.where(better[:, None], other, got), np.where(better[:, None, None], by_other, taken)


class _Stock:
    """What the sources hold, (scenarios, sources), and in which order they end, or began last."""

    def __init__(self, sources: Sequence[Source]) -> None:
        self.since = np.stack([one.since for one in sources], axis=1)
        self.until = np.stack([one.until for one in sources], axis=1)
        self.nauplii = np.stack([one.nauplii for one in sources], axis=1)


class _Table:
    """All meals of those who can take the same ``sources`` (their places), by time."""

    def __init__(self, sources: list[int], meals: dict[Ms, list[int]]) -> None:
        self.sources = np.array(sources, dtype=np.int64)
        self.times = sorted(meals)
        self.meals = [meals[time] for time in self.times]

    def need(self, demand: Demand) -> Array:
        """Of all that eat at one time together, (scenarios, times)."""
        together = [demand.need[:, k[0]] if len(k) == 1 else demand.need[:, k].sum(axis=1) for k in self.meals]
        return np.stack(together, axis=1)


def _tables(demand: Demand, sources: Sequence[Source]) -> list[_Table]:
    """The smallest mouths first. What a smaller mouth can take a wider one can take too."""
    found: dict[tuple[int, ...], dict[Ms, list[int]]] = {}
    of_mouth: dict[float | None, tuple[int, ...]] = {}
    for place, meal in enumerate(demand.meals):
        mouth = meal.largest_um
        if mouth not in of_mouth:
            of_mouth[mouth] = tuple(k for k, one in enumerate(sources) if fits(one.length_um, mouth))
        found.setdefault(of_mouth[mouth], {}).setdefault(meal.time, []).append(place)
    return [_Table(list(key), found[key]) for key in sorted(found, key=len) if key]


def _served(
    demand: Demand, tables: list[_Table], stock: _Stock, times: list[Ms], *, mirrored: bool
) -> tuple[Array, Array]:
    """``mirrored``: small mouths take what began last, as far as that gives them no less."""
    left, got = stock.nauplii.copy(), np.zeros_like(demand.need)
    taken = np.zeros((len(left), len(times), left.shape[1]))
    for k, table in enumerate(tables):
        at = table.sources
        since, until, need = stock.since[:, at], stock.until[:, at], table.need(demand)
        each = _in_turn(left[:, at], since, until, table.times, need)
        given = each.sum(axis=2)
        if mirrored and k < len(tables) - 1:
            # Time turned round: what began last ends first then, and all that was given can be given so as well.
            back = [-time for time in reversed(table.times)]
            each = _in_turn(left[:, at], -until, -since, back, given[:, ::-1], closed=True)[:, ::-1]
        left[:, at] = np.maximum(left[:, at] - each.sum(axis=1), 0.0)
        taken[np.ix_(np.arange(len(left)), np.searchsorted(times, table.times), at)] += each
        share = np.divide(given, need, out=np.zeros_like(given), where=need > 0)
        for column, meals in enumerate(table.meals):
            got[:, meals] = demand.need[:, meals] * share[:, column, None]
    return got, taken


def _in_turn(left: Array, since: Array, until: Array, times: list[Ms], need: Array, *, closed: bool = False) -> Array:
    """What is taken at each time, (scenarios, times, sources), of what is ``left``, when what ends first is fed first.

    ``closed``: a source can be fed after ``since`` up to and at ``until``, rather than from ``since`` to before ``until``.
    """
    order = np.argsort(until, axis=1, kind="stable")
    since, until = np.take_along_axis(since, order, axis=1), np.take_along_axis(until, order, axis=1)
    stock = np.take_along_axis(left, order, axis=1)
    in_order = np.zeros((len(times), *left.shape))
    for column, time in enumerate(times):
        there = (since < time) & (time <= until) if closed else (since <= time) & (time < until)
        here = np.where(there, stock, 0.0)
        wanted = need[:, column, None] - np.cumsum(here, axis=1) + here
        of_this = np.minimum(np.maximum(wanted, 0.0, out=wanted), here, out=in_order[column])
        stock -= of_this
    taken = np.empty((len(left), len(times), left.shape[1]))
    np.put_along_axis(taken, order[:, None, :], in_order.transpose(1, 0, 2), axis=2)
    return taken
