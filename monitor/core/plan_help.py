"""What would make a meal full that nothing can: tried, one thing after the other, with what could be had in a day."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.feeding import feed
from monitor.core.food import Demand
from monitor.core.model import HOUR
from monitor.core.plan_weighing import ROWS, Weighing, shortness
from monitor.core.plan_words import figure, listed
from monitor.core.supply import supply

if TYPE_CHECKING:
    from monitor.core.food import LotHeld, Meal, Pantry, Problem, Source, VesselHeld

HEATED_C: Final = 25.0
SEED: Final = 7
STORED_H: Final = 36.0  # what a cold store adds, likely (Ghent course; KKT1, J. Biol. Res. 2005)
EARLY: Final = (
    62 * HOUR
)  # before its meal a batch is started at the earliest: a slow one is ready, a quick one still good
LATER: Final = 18 * HOUR  # and once more after that, for the same reason
AMPLE: Final = 3.0  # times what the meals at that hour need


def help_for(pantry: Pantry, problem: Problem, weighing: Weighing, place: int) -> str:
    """What would make this meal full often enough, a sentence; what to do instead, when nothing would."""
    meal = problem.demand.meals[place]
    trial = _Trial(pantry, weighing, place)
    found = []
    if not pantry.cooled and trial.with_store():
        found.append("a cold store for what is left over")
    lots = [lot for lot in pantry.lots if _fits(lot, meal) and (lot.left_g is None or lot.left_g >= trial.grams)]
    if not lots and trial.with_batch(trial.some_lot(), None):
        size = "" if meal.largest_um is None else f" with young no longer than {round(meal.largest_um)} um"
        found.append(f"another tin{size}")
    for lot in lots[:2]:
        if trial.with_batch(lot, None):
            found.append("one more vessel")
            break
        if trial.with_batch(lot, HEATED_C):
            vessel = trial.free()
            found.append(f"a heater ({HEATED_C:.0f} °C) in {vessel.id}" if vessel else "one more vessel at 25 °C")
            break
    if found:
        told = listed(found)
        return f"{told[:1].upper()}{told[1:]} would make it full."
    return f"No start comes in time any more: buy or borrow {lack(trial.missing())}, or feed a little less at the meals before."


def lack(missing: float) -> str:
    """In words; where none are missing in most worlds nobody can say how many."""
    return f"about {figure(missing)} young brine shrimp" if missing >= 1 else "some young brine shrimp"


class _Trial:
    """A meal, and one more source for it."""

    def __init__(self, pantry: Pantry, weighing: Weighing, place: int) -> None:
        self.pantry, self.weighing, self.place = pantry, weighing, place
        self.meal = weighing.demand.meals[place]
        count = sum(one.time <= self.meal.time for one in weighing.demand.meals)
        self.demand = Demand(weighing.demand.meals[:count], weighing.demand.need[:, :count])
        same = [k for k, one in enumerate(self.demand.meals) if one.time == self.meal.time]
        self.need = AMPLE * float(np.median(self.demand.need[:, same].sum(axis=1)))
        self.grams = self.need / 150_000

    def _full(self, sources: tuple[Source, ...]) -> bool:
        return bool(shortness(self.demand, sources)[self.place] <= 1 - self.pantry.chance)

    def with_store(self) -> bool:
        """Whether it would be full if what is there could be kept cold."""
        kept = tuple(replace(one, until=one.until + STORED_H * HOUR) for one in self.weighing.sources())
        return self._full(kept)

    def free(self) -> VesselHeld | None:
        return next((vessel for vessel in self.pantry.vessels if not vessel.batch), None)

    def some_lot(self) -> LotHeld | None:
        """A tin as the best of ours, of which there is enough and that fits."""
        best = next(iter(self.pantry.lots), None)
        return None if best is None else replace(best, id="another tin", length_um=self.meal.largest_um, left_g=None)

    def with_batch(self, lot: LotHeld | None, water_c: float | None) -> bool:
        """Whether it would be full with one more batch of this tin, started now as ours are, or in water so warm."""
        like = self.free() or next(iter(self.pantry.vessels), None)
        if lot is None or like is None:
            return False
        vessel = replace(like, id="one more", batch="", litres=max(like.litres, self.grams / like.most_g_l))
        if water_c is not None:
            vessel = replace(vessel, water_c=(water_c,), water_sd_c=(0.3,))
        room = replace(self.pantry, vessels=(*self.pantry.vessels, vessel), lots=(*self.pantry.lots, lot))
        made = supply(room, min(ROWS, len(self.demand.need)), SEED)
        begin = max(self.pantry.now, self.meal.time - EARLY)
        # Several, so that neither a failure nor a slow tin decides: whether it can come in time is asked here.
        starts = (begin, begin + 1, begin + LATER)
        batches = [made.planned("one more", lot.id, self.grams, start) for start in starts]
        return self._full((*self.weighing.sources(), *batches))

    def missing(self) -> float:
        """How many the meal lacks where it goes badly, one time in ten."""
        short = self.demand.need[:, self.place].copy()
        short -= feed(self.demand, self.weighing.sources()).got[:, self.place]
        return float(np.quantile(short, 0.9)) if len(short) else 0.0


def _fits(lot: LotHeld, meal: Meal) -> bool:
    return meal.largest_um is None or lot.length_um is None or lot.length_um <= meal.largest_um
