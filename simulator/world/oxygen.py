"""Dissolved oxygen: saturation, exchange and demand. Concentrations in mg/L, times in hours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from simulator.world.numbers import Floats

# Whole cysts, per g dry: computed from Glasheen & Hand 1989, J. exp. Biol. 145:263; taken to hold at 25 C.
CYST_MG_PER_G_H = 1.2
CYST_Q10 = 2.0  # common practice, no source
NAUPLIUS_UMOL_PER_MG_H = 0.66  # at 30 C, upper end of Irwin, Wall & Davenport 2007, doi 10.1007/s10750-006-0358-y
NAUPLIUS_Q10 = 2.80  # fitted through the range 0.03-0.66 over 0-30 C of the same source
HALF_MG_L = 0.3  # oxygen at which uptake is halved; assumption
MG_PER_UMOL = 0.032


def saturation_mg_l(celsius: Floats, salinity_g_l: Floats) -> Floats:
    """Oxygen at equilibrium with air at 1 atm: Benson & Krause 1984, Limnol. Oceanogr. 29:620-632.

    Valid 0-40 C and 0-40 g/kg. Salt is taken in g/L; the density that turns it into g/kg follows EOS-80 near 25 C
    within 0.1 %.
    """
    kelvin = np.asarray(celsius, dtype=float) + 273.15
    salt = np.asarray(salinity_g_l, dtype=float)
    salt_g_kg = salt / (0.997 + 0.00075 * salt)
    inverse = 1.0 / kelvin
    fresh = -139.34411 + inverse * (
        1.575701e5 + inverse * (-6.642308e7 + inverse * (1.2438e10 - inverse * 8.621949e11))
    )
    salted = fresh - salt_g_kg * (0.017674 + inverse * (-10.754 + 2140.7 * inverse))
    result: Floats = np.exp(salted)
    return result


def cyst_demand_mg_h(grams: float, celsius: float) -> float:
    """Oxygen that ``grams`` of dry unhatched cysts use per hour when there is plenty."""
    return grams * CYST_MG_PER_G_H * float(CYST_Q10 ** ((celsius - 25.0) / 10.0))


def nauplius_demand_mg_h(milligrams: float, celsius: float) -> float:
    """Oxygen that ``milligrams`` (dry) of living nauplii use per hour when there is plenty."""
    rate = NAUPLIUS_UMOL_PER_MG_H * float(NAUPLIUS_Q10 ** ((celsius - 30.0) / 10.0))
    return milligrams * rate * MG_PER_UMOL


def step(oxygen: Floats, exchange_per_h: Floats, saturation: Floats, demand_mg_l_h: Floats, step_h: float) -> Floats:
    """One step of dC/dt = k (Cs - C) - D C / (C + half).

    Implicit in C with the uptake linearised, so it never falls below zero however dense the batch and long the step.
    """
    uptake_per_h = demand_mg_l_h / (oxygen + HALF_MG_L)
    result: Floats = (oxygen + step_h * exchange_per_h * saturation) / (1.0 + step_h * (exchange_per_h + uptake_per_h))
    return result
