"""One brood: when it swims up, how many are left, what its mouths take and what it needs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from zlib import crc32

import numpy as np

from monitor.core.model import DAY, HOUR, Span

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.food import BroodHeld, FishSpec, StrainSpec
    from monitor.core.hatch import Array
    from monitor.core.model import Ms

UNTOLD_C: Final = 1.5
"""How far a tank of which nobody tells is from its fish's usual temperature, one SD; common practice, no source."""
AHEAD_C: Final = 0.7
"""How far the coming days of a tank whose temperature is known are from it, one SD; common practice, no source."""
UNCOUNTED: Final = 0.15
"""How far a number of larvae is off, log-SD, and one that was counted within a day; common practice, no source."""
COUNTED: Final = 0.05
_DRAWS: Final = 1000
_SEED: Final = 20


def draws(brood: str, seed: int, scenarios: int) -> Array:
    """Standard normal (scenarios, 4) of one brood: other broods don't change them, and more scenarios only add rows."""
    random = np.random.Generator(np.random.PCG64([seed, crc32(brood.encode())]))
    return random.standard_normal((scenarios, 4))


def swim_up_samples(brood: BroodHeld, now: Ms, normal: Array) -> Array:
    """When it swims up, ms, (scenarios,); ``inf`` where the tank is too cold for it. ``normal`` is as ``draws`` gives it.

    Degree-hours above a base: the usual sum for what develops in the cold-blooded.
    """
    if brood.swam_up is not None:
        return np.full(len(normal), float(brood.swam_up))
    fish = brood.fish
    hours = max(now - brood.spawned, 0) / HOUR
    usual = fish.swim_up_c - fish.swim_up_base_c
    need = fish.swim_up_days * 24 * usual * np.exp(fish.swim_up_log_sd * normal[:, 0])
    ahead_c = fish.swim_up_c if brood.tank_c is None else brood.tank_c
    if brood.tank_known:
        done = brood.done_dh + brood.doubt_dh * normal[:, 1]
        ahead = ahead_c - fish.swim_up_base_c + AHEAD_C * normal[:, 2]
    else:
        ahead = ahead_c - fish.swim_up_base_c + UNTOLD_C * normal[:, 1]
        done = ahead * hours
    done, ahead = np.maximum(done, 0.0), np.maximum(ahead, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        coming = now + (need - done) / ahead * HOUR
        past = brood.spawned + hours * np.where(done > 0, need / done, 0.0) * HOUR
    return np.where(need > done, coming, past)


def swim_up(brood: BroodHeld, now: Ms) -> Span:
    """When it swims up, or did, ms; an end is ``None`` where the tank is too cold for it ever to come."""
    found = swim_up_samples(brood, now, draws(brood.id, _SEED, _DRAWS))
    ends = np.quantile(found, (0.1, 0.5, 0.9), method="inverted_cdf")
    return Span(*(float(end) if np.isfinite(end) else None for end in ends))


def larvae_at(brood: BroodHeld, times: Array | float) -> Array:
    """How many are left at instants in ms, at the pace at which they became fewer; of any shape."""
    days = np.maximum((np.asarray(times, dtype=float) - brood.counted) / DAY, 0.0)
    return brood.larvae * np.exp(-brood.loss_per_day * days)


def ration_at(fish: FishSpec, days: Array | float) -> Array:
    """Nauplii a larva needs in a day, ``days`` after swim-up; 0 while it needs finer food, and once it is weaned."""
    age = np.asarray(days, dtype=float)
    eats = (age >= fish.finer_days) & (age < fish.wean_days)
    grown = np.log1p(fish.growth_per_day) * np.clip(age - fish.finer_days, 0.0, max(fish.wean_days, 0.0))
    return np.where(eats, fish.ration * np.exp(grown), 0.0)


def mouth_um(fish: FishSpec, day: float) -> float | None:
    """The longest nauplius that goes into the mouth, ``day`` days after swim-up; ``None``: any."""
    if fish.largest_um is None:
        return None
    return fish.largest_um + fish.largest_growth_um * max(day - fish.finer_days, 0.0)


def goes_in(length_um: float | None, largest_um: float | None) -> bool:
    """Whether a nauplius of this length fits; where either is not known, it does."""
    return length_um is None or largest_um is None or length_um <= largest_um


def fits(strains: Iterable[StrainSpec], fish: FishSpec, day: float) -> tuple[str, ...]:
    """Ids of the strains that fit the mouth ``day`` days after swim-up; none while it needs finer food."""
    if not fish.finer_days <= day < fish.wean_days:
        return ()
    mouth = mouth_um(fish, day)
    return tuple(strain.id for strain in strains if goes_in(strain.length_um, mouth))


def fits_from(length_um: float | None, fish: FishSpec) -> float | None:
    """Days after swim-up from which nauplii of this length can be fed; ``None``: not before they are weaned."""
    day = fish.finer_days
    if length_um is not None and fish.largest_um is not None and length_um > fish.largest_um:
        if fish.largest_growth_um <= 0:
            return None
        day += (length_um - fish.largest_um) / fish.largest_growth_um
    return day if day < fish.wean_days else None
