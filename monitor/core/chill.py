"""Nauplii kept cold: how long the oxygen of a closed bag or bottle lasts, and what they burn of themselves meanwhile.

Both are upper bounds of how long a store is good: waste and fouling come first in a dense one.
"""

from __future__ import annotations

from math import exp
from typing import Final, Literal

from monitor.core.light import light
from monitor.core.oxygen import CRITICAL_MG_L, MG_PER_UMOL, NAUPLII_UMOL_MG_H, NAUPLIUS_MG, Q10, saturation
from monitor.core.window import energy_loss_per_h

UNCERTAIN: Final = 1.5
"""Factor by which the oxygen demand of nauplii is uncertain (Irwin, Wall & Davenport 2007, through their range)."""

OXYGEN_IN_AIR: Final = 0.2095
# Of the oxygen pressed into a bag they breathe half, of that in the air the part from 21 % down to 5 %: assumptions.
USABLE: Final = {"oxygen": 0.5, "air": 0.16 / 0.21}


def wet_oxygen_g_l(celsius: float) -> float:
    """Density of oxygen over water at 1 atm, g/L: ideal gas, less the water vapour (Magnus formula, within 0.1 %)."""
    vapour_kpa = 0.61094 * exp(17.625 * celsius / (celsius + 243.04))
    return 31.9988 * (101.325 - vapour_kpa) / (8.31446 * (celsius + 273.15))


@light
class Bag:
    """What is closed up: ``gas_l`` litres of pure oxygen or air over ``water_l`` litres of water in balance with air."""

    nauplii: float
    water_l: float
    gas_l: float
    gas: Literal["oxygen", "air"] = "air"
    salinity_g_l: float = 25.0
    nauplius_mg: float = NAUPLIUS_MG  # dry weight of one


def demand_mg_h(nauplii: float, celsius: float, nauplius_mg: float = NAUPLIUS_MG) -> float:
    """Oxygen that nauplii use, mg per hour, at a temperature in C; uncertain by ``UNCERTAIN``."""
    umol = nauplii * nauplius_mg * NAUPLII_UMOL_MG_H * Q10 ** ((celsius - 30.0) / 10)
    return float(umol * MG_PER_UMOL)


def hours_of_oxygen(bag: Bag, celsius: float) -> float:
    """Hours until a closed bag is down to 2 mg/L, its gas shaken in; infinite when nothing breathes in it.

    t = (f rho V_gas + (C0 - Cmin) V_water) / (N w R(T)). The truth lies within ``UNCERTAIN`` of it, if the bag stays clean.
    """
    use = demand_mg_h(bag.nauplii, celsius, bag.nauplius_mg)
    return budget_mg(bag, celsius) / use if use > 0 else float("inf")


def budget_mg(bag: Bag, celsius: float) -> float:
    """Oxygen in a closed bag above 2 mg/L, mg: in its gas and in its water, at a temperature in C."""
    in_gas = USABLE[bag.gas] * wet_oxygen_g_l(celsius) * 1000 * bag.gas_l
    if bag.gas == "air":
        in_gas *= OXYGEN_IN_AIR
    dissolved = max(float(saturation(celsius, bag.salinity_g_l)) - CRITICAL_MG_L, 0.0) * bag.water_l
    return in_gas + dissolved


def energy_lost(celsius: float, hours: float) -> float:
    """Share (0..1) of its energy that an unfed nauplius burns in ``hours`` at a temperature in C."""
    return min(energy_loss_per_h(celsius) * hours, 1.0)
