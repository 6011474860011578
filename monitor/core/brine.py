"""How heavy salt water is, and so how much salt is in it. Pure.

Two waters: with sea salt, by the equation of state EOS-80 at one atmosphere (Unesco technical papers in marine science 44, 1983),
and with plain salt (NaCl), by the law of Laliberté & Cooper 2004, J. Chem. Eng. Data 49:1141 (constants from memory; within
0.35 kg/m3 of a published table, see the tests). At 25 g/kg and 25 C they are 1.1 kg/m3 apart, 1.6 g/kg on a hydrometer.

Salinity here is g of salt in a kg of salt water (what people call ppt). g/L is that times the density: 25 g/kg are 25.4 g/L.
"""

from __future__ import annotations

from enum import Enum
from math import exp, sqrt
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable

COLDEST_C, WARMEST_C = 0.0, 40.0  # where both laws hold
SALTIEST_G_KG: Final = 60.0
"""EOS-80 was measured up to 42; beyond, it goes on smoothly and is within 0.2 kg/m3 of its successor up to here."""
G_KG_PER_PRACTICAL: Final = 35.16504 / 35
"""Practical salinity, which EOS-80 takes, is a ratio of conductivities; water of 35 holds 35.165 g/kg (Millero et al. 2008)."""
_STEPS: Final = 60


class Salt(Enum):
    PLAIN = "plain"
    SEA = "sea"


def water(celsius: float) -> float:
    """Density of pure water, kg/m3 (EOS-80)."""
    t = celsius
    return (
        999.842594 + t * 6.793952e-2 - t**2 * 9.095290e-3 + t**3 * 1.001685e-4 - t**4 * 1.120083e-6 + t**5 * 6.536332e-9
    )


def sea_water(practical: float, celsius: float) -> float:
    """Density, kg/m3, of water of this practical salinity (EOS-80)."""
    s, t = practical, celsius
    first = 0.824493 - t * 4.0899e-3 + t**2 * 7.6438e-5 - t**3 * 8.2467e-7 + t**4 * 5.3875e-9
    second = -5.72466e-3 + t * 1.0227e-4 - t**2 * 1.6546e-6
    return water(t) + s * first + s * sqrt(s) * second + s**2 * 4.8314e-4


def plain_water(g_kg: float, celsius: float) -> float:
    """Density of water with NaCl, kg/m3: each part takes up its own room, the salt less of it the less there is."""
    share, t = g_kg / 1000, celsius
    salt = (-0.00433 * share + 0.06471) * exp(1e-6 * (t + 3315.6) ** 2) / (share + 1.0166 + 0.014624 * t)
    return 1 / ((1 - share) / water(t) + share / salt)


def density(salt: Salt, g_kg: float, celsius: float) -> float:
    """kg/m3."""
    return plain_water(g_kg, celsius) if salt is Salt.PLAIN else sea_water(g_kg / G_KG_PER_PRACTICAL, celsius)


def g_l(salt: Salt, g_kg: float, celsius: float) -> float:
    """Grams of salt in a litre."""
    return g_kg * density(salt, g_kg, celsius) / 1000


def g_kg(salt: Salt, g_per_l: float, celsius: float) -> float:
    """Grams of salt in a kg of the water that has so many in a litre."""
    return salinity_where(lambda found: g_l(salt, found, celsius), g_per_l)


def salinity_where(rising: Callable[[float], float], value: float) -> float:
    """The salinity, g/kg, at which what rises with it has a value; the nearest end where it never has."""
    low, high = 0.0, SALTIEST_G_KG
    for _ in range(_STEPS):
        middle = (low + high) / 2
        low, high = (middle, high) if rising(middle) < value else (low, middle)
    return (low + high) / 2
