"""What there will be to feed from: cold stores, harvests in hand, batches under way and batches that could be started.

Row s of all arrays is the same course of the world. A tin is as good or bad for all its batches in that world, and the
weather is the same for all vessels; luck and failure are new in each batch.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import field
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.food import CYSTS_PER_G, RINSED_SHARE, LotHeld, Source
from monitor.core.hatch import SHARE, YIELD_LOGIT_SD
from monitor.core.light import light
from monitor.core.model import HOUR
from monitor.core.supply_draws import lot_points, normals, spread, uniforms
from monitor.core.supply_hatch import Course, Crossings
from monitor.core.supply_times import fed_from, keeper_from, local_day
from monitor.core.supply_tins import keeps, prior_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from monitor.core.food import BatchHeld, HarvestHeld, Pantry, StoreHeld
    from monitor.core.hatch import Array
    from monitor.core.model import Ms

KEEPS_H: Final = (24.0, 36.0, 48.0)
"""In a cold store of which nothing is known: below 10 C up to 24 h (Ghent course), 2-4 C 48 h (KKT1, J. Biol. Res. 2005)."""
CHILLED_WITHIN: Final = 2 * HOUR  # of a harvest; what stands longer in no store is taken to stay there
RECENT: Final = 2  # each may hold 20 MB

Grams = tuple["Array", "Array", "Array"]
"""From when on and until when what a batch gives can be fed, ms, and nauplii of each gram; shape (scenarios,) each."""


def failure_chance(pantry: Pantry) -> float:
    """With which a batch fails altogether, by the record; about 5 % when there is none (common practice, no source)."""
    failed, of = pantry.failed
    return (failed + 0.5) / (of + 10)


def best_store(pantry: Pantry) -> StoreHeld | None:
    """Where surplus keeps longest."""
    return max(pantry.stores, key=lambda store: store.keeps_h[1], default=None)


@light(frozen=False, eq=False)
class Supply:
    """What a pantry can feed, in so many scenarios. What was reckoned once is kept."""

    pantry: Pantry
    scenarios: int
    seed: int
    courses: dict[tuple[str, str], Course] = field(default_factory=dict)
    grams: dict[tuple[str, str, Ms], Grams] = field(default_factory=dict)
    still: dict[str, Array] = field(default_factory=dict)

    # -- what there is

    def held(self) -> tuple[Source, ...]:
        """Cold stores, harvests in hand and batches under way."""
        stores = [self._store(store) for store in self.pantry.stores if store.nauplii > 0]
        harvests = [self._harvest(one, k) for k, one in enumerate(self.pantry.harvests) if one.nauplii > 0]
        return (*stores, *harvests, *(self._batch(batch) for batch in self.pantry.batches))

    def _store(self, store: StoreHeld) -> Source:
        now = float(self.pantry.now)
        lo, mid, hi = (None if one is None else (one - now) / HOUR for one in store.until)
        normal = normals(self.seed, f"store {store.id}", self.scenarios)[0]
        if mid is None:
            left = np.full(self.scenarios, np.inf) if lo is not None else spread(*store.keeps_h, normal)
        elif mid <= 0:
            left = np.zeros(self.scenarios)
        else:
            # An end that is open or past is taken for a half or the double: a range that could be anything tells nothing.
            left = spread(mid / 2 if lo is None else max(lo, mid / 4), mid, 2 * mid if hi is None else hi, normal)
        lots = [self._lot(name) for name in store.lots]
        sizes = [lot.length_um for lot in lots if lot.length_um is not None]
        return Source(
            kind="store",
            name=store.id,
            lot=store.lots[0] if len(store.lots) == 1 else "",
            length_um=max(sizes, default=None),  # of a mixture, what the longest of it asks
            since=np.full(self.scenarios, now),
            until=now + left * HOUR,
            nauplii=np.full(self.scenarios, store.nauplii),
        )

    def _harvest(self, one: HarvestHeld, place: int) -> Source:
        taken = np.full(self.scenarios, float(one.time))
        chilled = self.pantry.cooled and self.pantry.now - one.time < CHILLED_WITHIN
        keeps_h = self._keeps_h(f"harvest {one.batch} {place}") if chilled else np.full(self.scenarios, one.best_h)
        return Source(
            kind="harvest",
            name=one.batch,
            lot=one.lot,
            length_um=self._lot(one.lot).length_um,
            since=fed_from(taken),
            until=taken + keeps_h * HOUR,
            nauplii=np.full(self.scenarios, one.nauplii),
        )

    def _batch(self, batch: BatchHeld) -> Source:
        lot = self._lot(batch.lot)
        rows = self._rows(batch, lot)
        ready = np.array(batch.ready, dtype=float)[rows] if batch.ready else np.full(self.scenarios, np.inf)
        share = np.array(batch.share, dtype=float)[rows] if batch.share else np.zeros(self.scenarios)
        name = f"batch {batch.id}"
        ready = np.where(self._fails(name), np.inf, ready)
        since, until = self._fed(name, ready, np.full(self.scenarios, batch.best_h))
        return Source(
            kind="batch",
            name=batch.id,
            lot=batch.lot,
            length_um=lot.length_um,
            since=since,
            until=until,
            nauplii=batch.cysts_g * lot.cysts_per_g * RINSED_SHARE * share * self._still_gives(lot),
        )

    def _rows(self, batch: BatchHeld, lot: LotHeld) -> Array:
        """Which sample of a batch stands in which scenario: each about as often, the better ones where its tin is better."""
        if not batch.ready:
            return np.zeros(self.scenarios, dtype=int)
        prior = prior_of(lot)
        points = lot_points(self.seed, lot.id, self.scenarios)
        tin = prior.lot_points(points)[:, SHARE]
        of_tin = prior.share_logit_sd * float(np.linalg.norm(prior.factor[SHARE]))
        leans = of_tin / float(np.hypot(of_tin, YIELD_LOGIT_SD))
        own = normals(self.seed, f"rows {batch.id}", self.scenarios)[0]
        key = leans * (tin - tin.mean()) / max(float(tin.std()), 1e-9) + np.sqrt(1 - leans**2) * own
        by_share = np.argsort(np.array(batch.share), kind="stable")
        rank = np.empty(self.scenarios)
        rank[np.argsort(key, kind="stable")] = (np.arange(self.scenarios) + 0.5) / self.scenarios
        return np.asarray(by_share[(rank * len(by_share)).astype(int)])

    # -- what could be

    def per_gram(self, vessel: str, lot: str, start: Ms) -> Grams:
        """What each gram of a tin, started at ``start`` in a vessel, will give. Raises KeyError for an unknown vessel or tin."""
        found = self.grams.get((vessel, lot, start))
        if found is None:
            found = self.grams[vessel, lot, start] = self._planned(vessel, lot, start)
        return found

    def _planned(self, vessel: str, lot: str, start: Ms) -> Grams:
        course = self._course(vessel, lot)
        # One vessel holds one batch a day: what could be started instead has the same luck, so that choices compare.
        name = f"planned {vessel} {local_day(start, self.pantry.timezone)}"
        luck, yields = normals(self.seed, name, self.scenarios, 2)
        crossed: Crossings = course.started(start, luck)
        ready = np.where(self._fails(name), np.inf, crossed.ready)
        since, until = self._fed(name, ready, crossed.best_h)
        held = self._lot_of(lot)
        share = course.share(yields) * self._still_gives(held)
        return since, until, held.cysts_per_g * RINSED_SHARE * share

    def _course(self, vessel: str, lot: str) -> Course:
        course = self.courses.get((vessel, lot))
        if course is None:
            place = next((one for one in self.pantry.vessels if one.id == vessel), None)
            if place is None:
                raise KeyError(vessel)
            points = lot_points(self.seed, lot, self.scenarios)
            course = Course.of(place, prior_of(self._lot_of(lot)), points, self.pantry.salinity_g_l)
            self.courses[vessel, lot] = course
        return course

    def planned(self, vessel: str, lot: str, grams: float, start: Ms) -> Source:
        """What a batch will give that is started so."""
        since, until, each = self.per_gram(vessel, lot, start)
        return Source(
            kind="planned",
            name=f"{vessel}/{lot}/{start}",
            lot=lot,
            length_um=self._lot_of(lot).length_um,
            since=since,
            until=until,
            nauplii=each * grams,
        )

    # -- what both share

    def _lot_of(self, name: str) -> LotHeld:
        for lot in self.pantry.lots:
            if lot.id == name:
                return lot
        raise KeyError(name)

    def _lot(self, name: str) -> LotHeld:
        """A tin, or what is taken for one of which nothing is known."""
        for lot in self.pantry.lots:
            if lot.id == name:
                return lot
        return LotHeld(
            id=name,
            strain="",
            length_um=None,
            cysts_per_g=CYSTS_PER_G,
            left_g=None,
            price_per_g=None,
            known={},
        )

    def _still_gives(self, lot: LotHeld) -> Array:
        """What a tin still gives, as ``keeps`` has it; asked for with each start that is thought of."""
        found = self.still.get(lot.id)
        if found is None:
            found = self.still[lot.id] = keeps(lot, self.scenarios, self.seed)
        return found

    def _fails(self, name: str) -> NDArray[np.bool_]:
        """In which scenarios a batch fails altogether; shape (scenarios,)."""
        return np.asarray(uniforms(self.seed, f"fails {name}", self.scenarios) < failure_chance(self.pantry))

    def _keeps_h(self, name: str) -> Array:
        """Hours for which what is put into a cold store keeps."""
        store = best_store(self.pantry)
        normal = normals(self.seed, f"keeps {name}", self.scenarios)[0]
        return spread(*(KEEPS_H if store is None else store.keeps_h), normal)

    def _fed(self, name: str, ready: Array, best_h: Array) -> tuple[Array, Array]:
        """From when and until when a batch can be fed that is ready then and at its best for so many hours."""
        harvest = keeper_from(self.pantry, ready)
        if not self.pantry.cooled:
            return fed_from(harvest), harvest + best_h * HOUR
        # What waited in the vessel beyond its best has used up as much of what it could be kept.
        waited = np.where(np.isinf(harvest), 0.0, harvest) - np.where(np.isinf(harvest), 0.0, ready)
        waited /= HOUR
        chilled = self._keeps_h(name) - np.maximum(waited - best_h, 0.0)
        keeps = np.maximum(np.maximum(chilled, best_h - waited), 0.0)
        return fed_from(harvest), harvest + keeps * HOUR


_recent: OrderedDict[tuple[int, int, int], Supply] = OrderedDict()


def supply(pantry: Pantry, scenarios: int, seed: int) -> Supply:
    """The supply of a pantry; the same one for the newest few, so that nothing is reckoned twice."""
    key = id(pantry), scenarios, seed
    found = _recent.get(key)
    if found is None or found.pantry is not pantry:
        found = _recent[key] = Supply(pantry, scenarios, seed)
    _recent.move_to_end(key)
    while len(_recent) > RECENT:
        _recent.popitem(last=False)
    return found


def held_sources(pantry: Pantry, scenarios: int, seed: int) -> tuple[Source, ...]:
    """What is there and under way."""
    return supply(pantry, scenarios, seed).held()


def per_gram(pantry: Pantry, vessel: str, lot: str, start: Ms, scenarios: int, seed: int) -> Grams:
    """From when and until when, ms, and how many nauplii of each gram a batch will give, shape (scenarios,) each."""
    return supply(pantry, scenarios, seed).per_gram(vessel, lot, start)


def planned_source(pantry: Pantry, vessel: str, lot: str, grams: float, start: Ms, scenarios: int, seed: int) -> Source:
    """What a batch will give that is started so."""
    return supply(pantry, scenarios, seed).planned(vessel, lot, grams, start)


def planned_sources(
    pantry: Pantry, batches: Sequence[tuple[str, str, float, Ms]], scenarios: int, seed: int
) -> tuple[Source, ...]:
    """The same for many, each as vessel, tin, grams and start."""
    found = supply(pantry, scenarios, seed)
    return tuple(found.planned(*batch) for batch in batches)
