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
    rows = len(demand.need)
    if not sources or not demand.meals:
        return Feeding(got=np.zeros_like(demand.need), used=np.zeros((rows, len(sources))))
    tables = _tables(demand, sources)
    stock = _Stock(sources)
    one = _served(demand, tables, stock, mirrored=False)
    if len(tables) == 1:
        return one
    # Which of the small ones the small mouths take decides what is left for the wide ones: neither way is always the better.
    other = _served(demand, tables, stock, mirrored=True)
    better = (other.got.sum(axis=1) > one.got.sum(axis=1) * (1 + 1e-9))[:, None]
    return Feeding(got=np.where(better, other.got, one.got), used=np.where(better, other.used, one.used))


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
        return np.stack([demand.need[:, meals].sum(axis=1) for meals in self.meals], axis=1)


def _tables(demand: Demand, sources: Sequence[Source]) -> list[_Table]:
    """The smallest mouths first. What a smaller mouth can take a wider one can take too."""
    found: dict[tuple[int, ...], dict[Ms, list[int]]] = {}
    of_mouth: dict[float | None, tuple[int, ...]] = {}
    for place, meal in enumerate(demand.meals):
        mouth = meal.largest_um
        if mouth not in of_mouth:
            of_mouth[mouth] = tuple(k for k, one in enumerate(sources) if fits(one.length_um, mouth))
        found.setdefault(of_mouth[mouth], {}).setdefault(meal.time, []).append(place)
    return [_Table(list(key), found[key]) for key in sorted(found, key=len) if key] or [_Table([], {})]


def _served(demand: Demand, tables: list[_Table], stock: _Stock, *, mirrored: bool) -> Feeding:
    """``mirrored``: small mouths take what began last, as far as that gives them no less."""
    left, got = stock.nauplii.copy(), np.zeros_like(demand.need)
    for k, table in enumerate(tables):
        at = table.sources
        since, until, before = stock.since[:, at], stock.until[:, at], left[:, at]
        need = table.need(demand)
        given, after = _in_turn(before, since, until, table.times, need)
        if mirrored and k < len(tables) - 1:
            # Time turned round: what began last ends first then, and all that was given can be given so as well.
            back = [-time for time in reversed(table.times)]
            _, after = _in_turn(before, -until, -since, back, given[:, ::-1], closed=True)
        left[:, at] = after
        share = np.divide(given, need, out=np.zeros_like(given), where=need > 0)
        for column, meals in enumerate(table.meals):
            got[:, meals] = demand.need[:, meals] * share[:, column, None]
    return Feeding(got=got, used=stock.nauplii - left)


def _in_turn(
    left: Array, since: Array, until: Array, times: list[Ms], need: Array, *, closed: bool = False
) -> tuple[Array, Array]:
    """What each time gets (scenarios, times), and what is left (scenarios, sources), when what ends first is fed first.

    ``closed``: a source can be fed after ``since`` up to and at ``until``, rather than from ``since`` to before ``until``.
    """
    order = np.argsort(until, axis=1, kind="stable")
    since, until = np.take_along_axis(since, order, axis=1), np.take_along_axis(until, order, axis=1)
    stock = np.take_along_axis(left, order, axis=1)
    given = np.zeros_like(need)
    for column, time in enumerate(times):
        wanted = need[:, column]
        if not wanted.any():
            continue
        there = (since < time) & (time <= until) if closed else (since <= time) & (time < until)
        here = np.where(there, stock, 0.0)
        upto = np.cumsum(here, axis=1)
        given[:, column] = np.minimum(wanted, upto[:, -1])
        stock -= np.clip(wanted[:, None] - (upto - here), 0.0, here)
    after = np.empty_like(left)
    np.put_along_axis(after, order, stock, axis=1)
    return given, np.maximum(after, 0.0)
