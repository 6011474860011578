"""Who needs how many nauplii at which feeding time, over scenarios."""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.broods import COUNTED, UNCOUNTED, draws, larvae_at, mouth_um, ration_at, swim_up_samples
from monitor.core.food import Demand, Meal
from monitor.core.model import DAY
from monitor.core.wording import meals

if TYPE_CHECKING:
    from monitor.core.food import BroodHeld, EaterHeld, Pantry
    from monitor.core.hatch import Array

_FEW: Final = 12  # feeding times, of which all choices can be looked at
_Row = tuple[Meal, "Array"]  # a meal and its need, (scenarios,)


def demand(pantry: Pantry, scenarios: int, seed: int) -> Demand:
    """What all broods and eaters need from ``pantry.now`` on, for ``pantry.days``.

    The same seed gives the same course of each brood, whatever others there are. Only meals that somebody needs are told.
    """
    rows: list[_Row] = []
    for brood in pantry.broods:
        rows += _of_brood(brood, pantry, draws(brood.id, seed, scenarios))
    for eater in pantry.eaters:
        rows += _of_eater(eater, pantry, scenarios)
    rows.sort(key=lambda row: row[0].time)  # those of one time stay in the order of the pantry
    need = np.stack([need for _, need in rows], axis=1) if rows else np.zeros((scenarios, 0))
    return Demand(tuple(meal for meal, _ in rows), need)


@lru_cache(maxsize=64)
def spread(times: tuple[int, ...], meals: int | None) -> tuple[int, ...]:
    """So many of the feeding times, minutes after midnight, as evenly over the day as can be; all when there are no more."""
    if meals is None or meals >= len(times):
        return times
    if meals <= 0:
        return ()
    if len(times) > _FEW:
        return tuple(times[k * len(times) // meals] for k in range(meals))
    return max(combinations(times, meals), key=lambda some: (_evenness(some), [-time for time in some]))


def _evenness(times: tuple[int, ...]) -> int:
    """Less the more the gaps around the clock differ."""
    gaps = [after - before for before, after in zip(times, (*times[1:], times[0] + 24 * 60), strict=True)]
    return -sum(gap * gap for gap in gaps)


def _times(pantry: Pantry, chosen: tuple[int, ...]) -> Array:
    return np.array(meals(pantry.timezone, chosen, pantry.now, pantry.now + pantry.days * DAY), dtype=np.int64)


def _of_brood(brood: BroodHeld, pantry: Pantry, normal: Array) -> list[_Row]:
    fish = brood.fish
    chosen = spread(pantry.feeding_times, fish.meals)
    times = _times(pantry, chosen)
    swims = swim_up_samples(brood, pantry.now, normal)
    age = (times[None, :] - swims[:, None]) / DAY
    lately = brood.recounted and pantry.now - brood.counted <= DAY
    number = larvae_at(brood, times) * np.exp((COUNTED if lately else UNCOUNTED) * normal[:, 3:])
    need = ration_at(fish, age) * number / max(len(chosen), 1)
    found: list[_Row] = []
    for k in np.flatnonzero(need.any(axis=0)):
        day = float(np.median(age[need[:, k] > 0, k]))
        found.append((Meal(time=int(times[k]), eater=brood.id, largest_um=mouth_um(fish, day)), need[:, k]))
    return found


def _of_eater(eater: EaterHeld, pantry: Pantry, scenarios: int) -> list[_Row]:
    chosen = spread(pantry.feeding_times, eater.meals)
    if not chosen or eater.nauplii_per_day <= 0:
        return []
    need = np.full(scenarios, eater.nauplii_per_day / len(chosen))
    times = _times(pantry, chosen)
    return [(Meal(time=int(time), eater=eater.id, largest_um=eater.largest_um), need) for time in times]
