"""Oxygen in a vessel: saturation, demand, exchange with air, and how long it lasts when the air has stopped or is weak."""

from __future__ import annotations

from functools import cache
from typing import Final

import numpy as np

from monitor.core.hatch import Array, cloud
from monitor.core.light import light
from monitor.core.model import Air
from monitor.core.shuffle import orders

CRITICAL_MG_L: Final = 2.0
"""Keep dissolved oxygen above this while hatching (FAO fisheries technical paper 361, from memory)."""

CYST_MG_G_H: Final = 1.2  # per g dry cysts and hour, from Glasheen & Hand 1989, J. exp. Biol. 145:263
CYST_REFERENCE_C: Final = 25.0
# Nauplii: R(T) = 0.66 * 2.80 ** ((T - 30) / 10) umol per mg dry weight and hour, through the range of Irwin, Wall &
# Davenport 2007, doi 10.1007/s10750-006-0358-y; uncertain by x1.5.
NAUPLII_UMOL_MG_H: Final = 0.66
Q10: Final = 2.80
MG_PER_UMOL: Final = 0.032
NAUPLIUS_MG: Final = 0.002  # dry weight, between 1.63 ug (San Francisco Bay) and 2.42 ug (Great Salt Lake)
CYSTS_PER_G: Final = 300_000.0  # good commercial cysts give 200 000-300 000 nauplii per gram (Treece 2000, SRAC 702)
AIR_STONE_PER_H: Final = 15.0  # transfer coefficient, 5-30 per hour, from memory
AIR_STONE_LOG_SD: Final = 0.5
WEAK_SHARE: Final = Air.WEAK.milli / 1000  # of its stone's exchange that weak air leaves; an assumption
WEAK_LOG_SD: Final = 0.6  # four weak ones in five leave between a tenth and two fifths; an assumption
SURFACE_M_H: Final = 0.02  # still surface 0.015-0.031 m/h (Cole et al. 2010, L&O Methods 8:285)


def saturation(water_c: float | Array, salinity_g_kg: float = 0.0) -> Array:
    """Dissolved oxygen in water in balance with air at 1 atm, mg/L (Benson & Krause 1984)."""
    kelvin = np.asarray(water_c, dtype=float) + 273.15
    log = (
        -139.34411
        + 157_570.1 / kelvin
        - 66_423_080 / kelvin**2
        + 1.2438e10 / kelvin**3
        - 862_194_900_000 / kelvin**4
        - salinity_g_kg * (0.017674 - 10.754 / kelvin + 2140.7 / kelvin**2)
    )
    return np.asarray(np.exp(log))


def demand(water_c: float | Array, cysts_g_l: float, hatched: float | Array) -> Array:
    """Oxygen used, mg per litre and hour, when the share ``hatched`` (0..1) of all cysts has hatched."""
    water = np.asarray(water_c, dtype=float)
    share = np.asarray(hatched, dtype=float)
    cysts = CYST_MG_G_H * cysts_g_l * (1 - share) * Q10 ** ((water - CYST_REFERENCE_C) / 10)
    weight = CYSTS_PER_G * cysts_g_l * share * NAUPLIUS_MG
    nauplii = weight * NAUPLII_UMOL_MG_H * MG_PER_UMOL * Q10 ** ((water - 30.0) / 10)
    return np.asarray(cysts + nauplii)


def surface_per_h(litres: float) -> float:
    """Exchange through a still surface, per hour, for a jug about twice as high as it is wide."""
    height_m = (16 * litres / 1000 / np.pi) ** (1 / 3)
    return float(SURFACE_M_H / height_m)


@light
class Vessel:
    """What the oxygen balance needs to know of a batch."""

    cysts_g_l: float
    litres: float
    salinity_g_l: float


@cache
def _stones(samples: int) -> Array:
    """Air stones and what else only the oxygen knows of, one for each sample of a cloud."""
    order = next(orders(7, samples))
    return np.asarray(AIR_STONE_PER_H * np.exp(AIR_STONE_LOG_SD * cloud(samples)[order, 0]))


@cache
def _weak_stones(samples: int) -> Array:
    """The same stones when their air is weak."""
    order = next(orders(11, samples))
    share = WEAK_SHARE * np.exp(WEAK_LOG_SD * cloud(samples)[order, 1])
    return np.asarray(_stones(samples) * np.minimum(share, 1.0))


def hours_left(
    vessel: Vessel, water_c: float | Array, hatched: Array, factor: Array, *, was_weak: bool = False
) -> Array:
    """Hours from the stop of the air until 2 mg/L, shape (n,), infinite where the surface alone is enough.

    ``hatched`` is the share of all cysts (n,), ``factor`` scales the demand (n,). The nauplii that hatch meanwhile are left out.
    ``was_weak``: the air was weak before it stopped, so that less oxygen was left.
    """
    use = demand(water_c, vessel.cysts_g_l, hatched) * factor
    full = saturation(water_c, vessel.salinity_g_l)
    surface = surface_per_h(vessel.litres)
    stones = _weak_stones(len(hatched)) if was_weak else _stones(len(hatched))
    begin = np.maximum(full - use / (stones + surface), CRITICAL_MG_L)
    floor = full - use / surface  # where it would settle with the surface alone
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(floor < CRITICAL_MG_L, np.log((begin - floor) / (CRITICAL_MG_L - floor)) / surface, np.inf)


def weak_settles(vessel: Vessel, water_c: float | Array, hatched: Array, factor: Array) -> Array:
    """Oxygen at which demand and weak air balance, mg/L, 0 where they don't; shape (n,)."""
    exchange = _weak_stones(len(hatched)) + surface_per_h(vessel.litres)
    use = demand(water_c, vessel.cysts_g_l, hatched) * factor
    return np.asarray(np.maximum(saturation(water_c, vessel.salinity_g_l) - use / exchange, 0.0))


def weak_hours_left(vessel: Vessel, water_c: float | Array, hatched: Array, factor: Array, step_h: float) -> Array:
    """Hours from when the air became weak until 2 mg/L, shape (n,).

    ``hatched`` (k, n) is the share of all cysts in each of k steps of ``step_h`` hours: what is enough for cysts may not be for
    the nauplii that come of them. Infinite where it never gets there within those steps. The balance is
    dC/dt = k (Cs - C) - demand, solved step by step; before the first, the stone gave its full air.
    """
    n = hatched.shape[-1]
    surface = surface_per_h(vessel.litres)
    exchange = _weak_stones(n) + surface
    full = saturation(water_c, vessel.salinity_g_l)
    use = demand(water_c, vessel.cysts_g_l, hatched) * factor
    level = np.maximum(full - use[0] / (_stones(n) + surface), CRITICAL_MG_L)
    hours = np.full(n, np.inf)
    fade = np.exp(-exchange * step_h)
    for k, floor in enumerate(full - use / exchange):
        end = floor + (level - floor) * fade
        (falls,) = np.nonzero(np.isinf(hours) & (end < CRITICAL_MG_L))
        into = np.log((level[falls] - floor[falls]) / (CRITICAL_MG_L - floor[falls])) / exchange[falls]
        hours[falls] = k * step_h + into
        level = end
    return hours


def after(
    start_mg_l: Array, water_c: float, vessel: Vessel, hatched: Array, factor: Array, air: float, hours: float
) -> Array:
    """Oxygen after ``hours`` from ``start_mg_l``, shape (n,), the air stone giving the share ``air`` of its full air."""
    exchange = AIR_STONE_PER_H * air + surface_per_h(vessel.litres)
    use = demand(water_c, vessel.cysts_g_l, hatched) * factor
    settled = saturation(water_c, vessel.salinity_g_l) - use / exchange
    return np.asarray(np.maximum(settled + (start_mg_l - settled) * np.exp(-exchange * hours), 0.0))
