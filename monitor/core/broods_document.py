"""Broods and other eaters as a document: what the page, the API and the command line show of them."""

from __future__ import annotations

from dataclasses import asdict
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from monitor.core.brood_book import NEEDED, BroodKept, brood_held, fold
from monitor.core.broods import fits_from, larvae_at, mouth_um, ration_at, swim_up
from monitor.core.model import DAY, SLOT
from monitor.core.replay import instants
from monitor.core.tins_held import length_um
from monitor.core.wording import local_date, meals, rfc3339, rfc3339_ms

if TYPE_CHECKING:
    from monitor.core.food import BroodHeld, FishSpec
    from monitor.core.model import Ms
    from monitor.core.state import State

_Lengths = tuple[tuple[str, float | None], ...]  # of nauplii, um, by tin or strain
DAYS_SHOWN: Final = 28
ENDED_SHOWN: Final = 20
OWN: Final = ("ration", "growth_per_day", "meals", "largest_um", "swim_up_days", "wean_days")
"""What a keeper may know better than the table, by name."""


def broods_document(state: State, now: Ms) -> dict[str, Any]:
    """``broods`` that have not ended, ``ended`` ones with the newest first, ``eaters``, and the ``tanks`` that are known."""
    broods, eaters = fold(state.broods)
    ended = sorted(
        ((kept.ended.time, kept) for kept in broods.values() if kept.ended is not None), key=lambda one: -one[0]
    )
    tins = _tins(state)
    return {
        "broods": [_brood(state, kept, tins, now) for kept in broods.values() if kept.ended is None],
        "ended": [_ended(state, kept) for _, kept in ended[:ENDED_SHOWN]],
        "eaters": [
            {
                "id": one.eater,
                "nauplii_per_day": one.nauplii_per_day,
                "meals": one.meals,
                "largest_um": one.largest_um,
            }
            for one in eaters.values()
            if one.nauplii_per_day > 0
        ],
        "tanks": sorted(state.tanks),
    }


def _ended(state: State, kept: BroodKept) -> dict[str, Any]:
    told, ended = kept.told, kept.ended
    fish = state.site.fish.get(told.fish)
    return {
        "id": told.brood,
        "fish_name": told.fish if fish is None else fish.name,
        "time": None if ended is None else rfc3339(ended.time),
        "how": None if ended is None else ended.how,
    }


def _brood(state: State, kept: BroodKept, tins: dict[str, float | None], now: Ms) -> dict[str, Any]:
    """As of the slot that ``now`` is in: what each view asks for is reckoned once in five minutes, or after an entry."""
    at = now // SLOT * SLOT
    held, site = brood_held(state, kept, at), state.site
    strains = tuple({one.id: one.length_um for one in site.strains.values()}.items())
    found = _reckoned(held, kept, tuple(tins.items()), strains, site.timezone, len(site.feeding_times), at)
    return {**found, "in_table": kept.told.fish in site.fish}


@lru_cache(maxsize=64)
def _reckoned(
    held: BroodHeld, kept: BroodKept, tins: _Lengths, strains: _Lengths, timezone: str, feeding_times: int, at: Ms
) -> dict[str, Any]:
    span, told, fish = swim_up(held, at), kept.told, held.fish
    swims = span.mid
    day = None if swims is None else (at - swims) / DAY
    needs = _needs(held, [at, at + 7 * DAY, *_noons(timezone, at)], swims)
    return {
        "id": held.id,
        "fish": fish.id,
        "fish_name": fish.name,
        "larvae": round(float(larvae_at(held, float(at)))),
        "counted": rfc3339(held.counted) if held.recounted else None,
        "loss_per_day": round(held.loss_per_day, 4),
        "spawned": rfc3339(held.spawned),
        "tank": told.tank,
        "tank_c": None if held.tank_c is None else round(held.tank_c, 1),
        "swim_up": instants(span),
        "swam_up": None if held.swam_up is None else rfc3339(held.swam_up),
        "day": None if day is None else round(day, 2),
        "eats_from": None if swims is None else rfc3339(round(swims + fish.finer_days * DAY)),
        "weaned_from": None if swims is None else rfc3339(round(swims + fish.wean_days * DAY)),
        "meals_a_day": min(fish.meals or feeding_times, feeding_times),
        "needs_per_day_now": needs[0],
        "needs_per_day_in_7_days": needs[1],
        "needs": needs[2:],
        "mouth_um": None if day is None else _whole(mouth_um(fish, day)),
        "strains": {name: fits_from(length, fish) for name, length in strains},
        "tins": {name: fits_from(length, fish) for name, length in tins},
        "figures": _figures(fish),
        "told": _told(kept),
    }


def _needs(held: BroodHeld, times: list[Ms], swims: float | None) -> list[int]:
    """A day, at each of these times."""
    if swims is None:
        return [0] * len(times)
    there = np.array(times, dtype=float)
    return [round(one) for one in (ration_at(held.fish, (there - swims) / DAY) * larvae_at(held, there)).tolist()]


def _noons(timezone: str, now: Ms) -> list[Ms]:
    """Of today and the days that follow, where the site is."""
    today = local_date(now, timezone)
    found = meals(timezone, (12 * 60,), now - DAY, now + (DAYS_SHOWN + 1) * DAY)
    return [noon for noon in found if local_date(noon, timezone) >= today][:DAYS_SHOWN]


def _whole(value: float | None) -> int | None:
    return None if value is None else round(value)


def _figures(fish: FishSpec) -> dict[str, Any]:
    """What is reckoned with, the keeper's own figures among it."""
    known = asdict(fish)
    return {name: known[name] for name in (*OWN, "swim_up_c", "finer_days", "largest_growth_um")}


def _told(kept: BroodKept) -> dict[str, Any]:
    """As the keeper told it, so that it can be told again with one thing changed."""
    told = kept.told
    return {
        "time": rfc3339_ms(told.time),
        "larvae": told.larvae,
        "counts": [{"time": rfc3339(one.time), "larvae": one.larvae} for one in kept.counts],
        "needed": list(NEEDED),
        **{name: getattr(told, name) for name in OWN},
    }


def _tins(state: State) -> dict[str, float | None]:
    """The length of the nauplii of each tin that is configured or told, um."""
    return {name: length_um(state, name) for name in dict.fromkeys([*state.site.lots, *state.food.tins])}
