"""Which batches are worth thinking of: vessel, tin, grams and start, for all days ahead.

Few and sensible: near days are looked at closely and far ones coarsely, as they are planned again every hour. Vessels that
are alike take turns, since it does not matter in which of them a batch stands.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.feeding import fits
from monitor.core.food import Demand, Option, Source
from monitor.core.light import light
from monitor.core.model import DAY, HOUR
from monitor.core.plan_costs import Prices, prices_of
from monitor.core.plan_starts import CLEANED, LATE, Place, places, start_times
from monitor.core.supply import best_store
from monitor.core.supply_times import RINSED
from monitor.core.supply_tins import likely_share

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from monitor.core.food import LotHeld, Pantry
    from monitor.core.hatch import Array
    from monitor.core.model import Ms
    from monitor.core.supply import Grams

    PerGram = Callable[[str, str, Ms], Grams]

NEAR: Final = 3 * DAY
LEVELS_NEAR: Final = (0.15, 0.3, 0.5, 0.8, 1.2)
"""Grams, as parts of what all meals that a batch could serve would take."""
LEVELS_FAR: Final = (0.35, 0.7, 1.2)
LEAST_G: Final = 0.1  # what a kitchen balance still weighs
LOTS: Final = 2  # tins looked at for each size: the cheapest, and another for when that one fails
VESSELS: Final = (4, 2)  # in which something is started at one time: soon, and later
COMES: Final = 0.5  # a batch that is ready in fewer worlds is not worth its cysts


def options(pantry: Pantry, demand: Demand, held: tuple[Source, ...], per_gram: PerGram) -> tuple[Option, ...]:
    """Starts worth thinking of, by start. ``held`` is not looked at: what it covers, the choice finds out."""
    del held
    prices = prices_of(pantry)
    lots = _lots(pantry, demand, prices, LOTS)
    far = _lots(pantry, demand, prices, 1)
    if not lots or not demand.meals:
        return ()
    found = list(_told(pantry, prices, per_gram))
    for start, place in _slots(pantry):
        for lot in lots if start < pantry.now + NEAR else far:
            found += _levels(_Case(pantry, demand, prices, place, lot, start), per_gram)
    return tuple(sorted(_unique(found), key=lambda one: (one.start, one.vessel, one.lot, one.grams)))


def kept_of(pantry: Pantry, found: tuple[Option, ...]) -> tuple[int, ...]:
    """Which of the options the plan before had."""
    planned = {(one.vessel, one.lot, one.grams, one.start) for one in (pantry.last.starts if pantry.last else ())}
    return tuple(k for k, one in enumerate(found) if (one.vessel, one.lot, one.grams, one.start) in planned)


def _slots(pantry: Pantry) -> Iterator[tuple[Ms, Place]]:
    """When and where something could be started. Vessels take turns, those that are alike in a row."""
    all_ = [place for group in places(pantry) for place in group]
    for turn, start in enumerate(start_times(pantry)):
        free = [one for one in all_ if one.free <= start]
        wanted = min(len(free), VESSELS[start >= pantry.now + NEAR])
        for k in range(wanted):
            yield start, free[(turn * wanted + k) % len(free)]


def _lots(pantry: Pantry, demand: Demand, prices: Prices, most: int) -> list[LotHeld]:
    """Tins that somebody can eat of: for each size the few that are cheapest for each nauplius."""
    mouths = {meal.largest_um for meal in demand.meals}
    by_mouths: dict[frozenset[float | None], list[LotHeld]] = {}
    for lot in pantry.lots:
        takes = frozenset(mouth for mouth in mouths if fits(lot.length_um, mouth))
        if takes and (lot.left_g is None or lot.left_g >= LEAST_G):
            by_mouths.setdefault(takes, []).append(lot)
    found: list[LotHeld] = []
    for alike in by_mouths.values():
        found += sorted(alike, key=lambda lot: _per_nauplius(lot, prices))[:most]
    return found


def _per_nauplius(lot: LotHeld, prices: Prices) -> float:
    return prices.per_g(lot) / max(lot.cysts_per_g * likely_share(lot), 1.0)


@light(eq=False)
class _Case:
    """One tin started in one vessel at one time."""

    pantry: Pantry
    demand: Demand
    prices: Prices
    place: Place
    lot: LotHeld
    start: Ms

    def most_g(self) -> float:
        most = self.place.vessel.litres * self.place.vessel.most_g_l
        return most if self.lot.left_g is None else min(most, self.lot.left_g)


def _levels(case: _Case, per_gram: PerGram) -> list[Option]:
    given = per_gram(case.place.vessel.id, case.lot.id, case.start)
    since, until, each = given
    comes = np.isfinite(since)
    if comes.mean() < COMES or not np.median(each) > 0:
        return []
    wanted = _wanted(case, float(np.quantile(since[comes], 0.1)), float(np.median(until[comes])))
    if not wanted.size:
        return []
    poor = max(float(np.quantile(each, 0.15)), 1e-9)
    near = case.start < case.pantry.now + NEAR
    least, most = max(LEAST_G, float(wanted.min()) / poor), case.most_g()
    whole = float(wanted.sum()) / poor
    grams = {_weighed(min(max(level * whole, least), most)) for level in (LEVELS_NEAR if near else LEVELS_FAR)}
    return [_option(case, g, given) for g in sorted(grams) if LEAST_G <= g <= most + 1e-9]


def _wanted(case: _Case, since: float, until: float) -> Array:
    """What each meal that it could serve is likely to take at most, in nauplii."""
    places_ = [
        k
        for k, meal in enumerate(case.demand.meals)
        if since <= meal.time < until and fits(case.lot.length_um, meal.largest_um)
    ]
    need = np.quantile(case.demand.need[:, places_], 0.85, axis=0) if places_ else np.zeros(0)
    return np.asarray(need[need > 0])


def _weighed(grams: float) -> float:
    """As a balance shows it: tenths, and in full steps where they are fine enough."""
    step = 0.1 if grams < 5 else 0.5 if grams < 20 else 1.0
    return round(float(max(np.floor(grams / step + 1e-6), 1.0)) * step, 1)


def _option(case: _Case, grams: float, given: Grams) -> Option:
    since, until, each = given
    comes = np.isfinite(since)
    ready = since[comes] - RINSED
    harvest = float(np.median(ready)) if ready.size else float(case.start + 2 * DAY)
    free = float(np.quantile(ready, LATE)) + CLEANED if ready.size else float(case.start + 2 * DAY)
    keeps = float(np.median(until[comes] - since[comes])) if ready.size else 0.0
    store = best_store(case.pantry) if case.pantry.cooled and keeps > 8 * HOUR else None
    return Option(
        vessel=case.place.vessel.id,
        lot=case.lot.id,
        grams=grams,
        start=case.start,
        harvest=round(harvest),
        free=round(free),
        cost=case.prices.batch(case.place.vessel, case.lot, grams, case.start, harvest, float(np.median(each)) * grams),
        source=Source(
            kind="planned",
            name=f"{case.place.vessel.id}/{case.lot.id}/{case.start}",
            lot=case.lot.id,
            length_um=case.lot.length_um,
            since=since,
            until=until,
            nauplii=each * grams,
        ),
        store="" if store is None else store.id,
    )


def _told(pantry: Pantry, prices: Prices, per_gram: PerGram) -> Iterator[Option]:
    """What the plan before had and can still be done, as it was."""
    if pantry.last is None:
        return
    by_id = {place.vessel.id: place for group in places(pantry) for place in group}
    lots = {lot.id: lot for lot in pantry.lots}
    nobody = Demand((), np.zeros((0, 0)))
    for one in pantry.last.starts:
        place, lot = by_id.get(one.vessel), lots.get(one.lot)
        if place is None or lot is None or one.start < max(pantry.now, place.free):
            continue
        case = _Case(pantry, nobody, prices, place, lot, one.start)
        if one.grams <= case.most_g() + 1e-9:
            yield _option(case, one.grams, per_gram(one.vessel, one.lot, one.start))


def _unique(found: list[Option]) -> list[Option]:
    return list({(one.vessel, one.lot, one.start, one.grams): one for one in found}.values())
