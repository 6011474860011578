"""When and in which vessels something could be started."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.light import light
from monitor.core.model import DAY, HOUR, MINUTE
from monitor.core.supply_times import instant, keeper_from, local_day

if TYPE_CHECKING:
    from monitor.core.food import Pantry, VesselHeld
    from monitor.core.model import Ms

ROUND: Final = 15 * MINUTE
MIDDLE: Final = 7  # days on which two times of day are looked at, later one
LAST: Final = DAY  # what is started later than so long before the end is eaten after it
CLEANED: Final = 30 * MINUTE  # emptied, rinsed and filled again; common practice, no source
LATE: Final = 0.75  # share of the worlds in which a vessel is free when it is counted on
ALIKE_C: Final = 1.0  # whose water is so close are alike


@light
class Place:
    """A vessel, and when it can be used next."""

    vessel: VesselHeld
    free: Ms


def start_times(pantry: Pantry) -> list[Ms]:
    """When the keeper is there and has a reason to be at the vessels: at feeding times, or spread over the hours."""
    now = -(-pantry.now // ROUND) * ROUND
    first = local_day(pantry.now, pantry.timezone)
    found = {round(float(keeper_from(pantry, np.array([float(now)]))[0]))}
    for k in range(pantry.days):
        day = first + timedelta(days=k)
        for minute in _minutes(pantry, 2 if k < MIDDLE else 1):
            at = instant(day, minute, pantry.timezone)
            if now < at < pantry.now + pantry.days * DAY - LAST:
                found.add(at)
    return sorted(found)


def _minutes(pantry: Pantry, wanted: int) -> list[int]:
    """So many minutes after local midnight, within the keeper's hours."""
    begin, end = pantry.costs.there_from, pantry.costs.there_until
    end += 24 * 60 if end <= begin else 0
    meals = [minute for minute in pantry.feeding_times if begin <= minute < end]
    if len(meals) >= wanted:
        return [meals[(2 * k + 1) * len(meals) // (2 * wanted)] for k in range(wanted)]
    late = end - 60
    return [begin + (late - begin) * (k + 1) // wanted // 15 * 15 for k in range(wanted)]


def places(pantry: Pantry) -> list[list[Place]]:
    """All vessels, those that are alike together."""
    groups: dict[tuple[float, float, int], list[Place]] = {}
    for vessel in pantry.vessels:
        mean = float(np.mean(vessel.water_c[:72])) if vessel.water_c else 0.0
        key = (vessel.litres, vessel.most_g_l, round(mean / ALIKE_C))
        groups.setdefault(key, []).append(Place(vessel, max(free_at(pantry, vessel), vessel.not_before)))
    return [sorted(group, key=lambda one: (one.free, one.vessel.id)) for group in groups.values()]


def free_at(pantry: Pantry, vessel: VesselHeld) -> Ms:
    """When a vessel can be counted on to be empty and clean."""
    batch = next((one for one in pantry.batches if one.vessel == vessel.id), None)
    if batch is None:
        return pantry.now if not vessel.batch else pantry.now + 12 * HOUR
    ready = np.array(batch.ready, dtype=float)
    ready = ready[np.isfinite(ready)]
    if not ready.size:
        return pantry.now + CLEANED  # nothing will come of it: it can be thrown away
    late = keeper_from(pantry, np.array([float(np.quantile(ready, LATE))]))
    return round(float(late[0])) + CLEANED
