"""Broods and other eaters as a document: what the page, the API and the command line show of them."""

from __future__ import annotations

from dataclasses import asdict
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from monitor.core.brood_book import NEEDED, BroodKept, brood_held, fold
from monitor.core.broods import fits_from, larvae_at, mouth_um, needs_a_day, swim_up
from monitor.core.model import DAY, SLOT
from monitor.core.replay import instants
from monitor.core.wording import local_date, meals, rfc3339, rfc3339_ms

if TYPE_CHECKING:
    from monitor.core.food import BroodHeld, FishSpec
    from monitor.core.model import Ms, Span
    from monitor.core.state import State

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


@lru_cache(maxsize=128)
def _swim_up(brood: BroodHeld, at: Ms) -> Span:
    return swim_up(brood, at)


def _brood(state: State, kept: BroodKept, tins: dict[str, float | None], now: Ms) -> dict[str, Any]:
    held, told = brood_held(state, kept, now // SLOT * SLOT), kept.told
    span = _swim_up(held, now // SLOT * SLOT)
    fish = held.fish
    swims = span.mid
    day = None if swims is None else (now - swims) / DAY
    lengths = {one.id: one.length_um for one in state.site.strains.values()}
    return {
        "id": held.id,
        "fish": fish.id,
        "fish_name": fish.name,
        "in_table": told.fish in state.site.fish,
        "larvae": round(float(larvae_at(held, float(now)))),
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
        "meals_a_day": min(fish.meals or len(state.site.feeding_times), len(state.site.feeding_times)),
        "needs_per_day_now": _needs(held, now, swims),
        "needs_per_day_in_7_days": _needs(held, now + 7 * DAY, swims),
        "needs": [_needs(held, noon, swims) for noon in _noons(state.site.timezone, now)],
        "mouth_um": None if day is None else _whole(mouth_um(fish, day)),
        "strains": {name: fits_from(length, fish) for name, length in lengths.items()},
        "tins": {name: fits_from(length, fish) for name, length in tins.items()},
        "figures": _figures(fish),
        "told": _told(kept),
    }


def _needs(held: BroodHeld, time: Ms, swims: float | None) -> int:
    return 0 if swims is None else round(needs_a_day(held, time, swims))


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
    found: dict[str, float | None] = {}
    for name in dict.fromkeys([*state.site.lots, *state.food.tins]):
        told, spec = state.food.tins.get(name), state.site.lots.get(name)
        word = (told.strain if told is not None else "") or (spec.strain if spec is not None else "")
        strain = state.site.strains.get(word)
        own = None if told is None else told.length_um
        found[name] = own if own is not None else None if strain is None else strain.length_um
    return found
