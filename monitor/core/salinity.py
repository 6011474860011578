"""What a hydrometer, a refractometer or a conductivity meter shows, as the salinity it means. Pure.

Each is told as a range: what the instrument can be wrong by when it is read with care. A scale that is wrong all along (a
hydrometer with lime on it, a refractometer that does not show 0 in pure water) it cannot know of.
"""

from __future__ import annotations

from itertools import pairwise
from math import inf, sqrt
from typing import TYPE_CHECKING, Final

from monitor.core.brine import (
    COLDEST_C,
    G_KG_PER_PRACTICAL,
    SALTIEST_G_KG,
    WARMEST_C,
    Salt,
    density,
    g_kg,
    g_l,
    salinity_where,
    water,
)
from monitor.core.light import light
from monitor.core.model import Refused

if TYPE_CHECKING:
    from collections.abc import Callable

HYDROMETER_OFF: Final = 0.0005
"""Half a mark of the usual scale in steps of 0.001; common practice, no source."""
REFRACTOMETER_OFF: Final = 1.0  # one mark of the usual scale, ppt; common practice, no source
CONDUCTIVITY_OFF: Final = 0.02  # of the reading; common practice, no source
GLASS_PER_K: Final = 25e-6  # by which a float's volume grows, soda glass; from memory
PLAIN_BENDS_LESS: Final = 1.04
"""Salt of the sea bends light that much more than as much plain salt: at 35 g/kg the index rises by 0.0064 over pure water, with
NaCl by 0.0061 (from memory). A scale for sea water shows too little in plain salt."""
MOST_MS_CM: Final = 200.0  # far above what any water here conducts
SEA_MS_CM: Final = 42.914  # sea water of 35 at 15 C (Culkin & Smith 1980, from memory)
NACL_G_MOL: Final = 58.443
_NACL: Final = ((0.0, 126.4), (0.05, 111.1), (0.1, 106.7), (0.2, 101.7), (0.5, 93.6), (1.0, 85.8), (2.0, 74.7))
"""mol/L and S cm2/mol at 25 C; handbook values, from memory."""


class Unsalted(Refused):
    """What cannot be reckoned with: ``field`` names it as the API does, the message is for the keeper."""

    def __init__(self, field: str, told: str) -> None:
        super().__init__(told)
        self.field = field


@light
class Reference:
    """What a hydrometer is made for: the water at ``sample_c`` against pure water at ``water_c``, as "60/60 F" says."""

    sample_c: float
    water_c: float


USUAL_REFERENCE: Final = Reference(25.0, 25.0)
"""Most plastic ones are made for it; many of glass for 60/60 F. Common practice, no source."""


@light
class Salinity:
    """g/kg, and g/L at ``water_c``: the middle, and how far the instrument may be off either way."""

    salt: Salt
    water_c: float
    low_g_kg: float
    g_kg: float
    high_g_kg: float

    @property
    def g_l(self) -> tuple[float, float, float]:
        low, mid, high = (g_l(self.salt, one, self.water_c) for one in (self.low_g_kg, self.g_kg, self.high_g_kg))
        return low, mid, high


def hydrometer_shows(salt: Salt, salinity: float, water_c: float, reference: Reference = USUAL_REFERENCE) -> float:
    """Specific gravity on its scale. The float is as heavy as the water it pushes aside, and has grown with the glass."""
    grown = 1 + GLASS_PER_K * (water_c - reference.sample_c)
    return density(salt, salinity, water_c) * grown / water(reference.water_c)


def by_hydrometer(salt: Salt, shown: float, water_c: float, reference: Reference = USUAL_REFERENCE) -> Salinity:
    """``shown`` is specific gravity, such as 1.0185, in water of ``water_c``."""
    check_temperature("water_c", water_c)
    check_temperature("reference_c", reference.sample_c)
    check_temperature("reference_c", reference.water_c)

    def would_show(salinity: float) -> float:
        return hydrometer_shows(salt, salinity, water_c, reference)

    most = would_show(SALTIEST_G_KG)
    if not would_show(0.0) - 2 * HYDROMETER_OFF <= shown <= most:
        raise Unsalted(
            "shown",
            f"A hydrometer can't show {shown:g} in salt water of {water_c:g} C; allowed is "
            f"{would_show(0.0):.4f} (no salt) to {most:.4f} ({SALTIEST_G_KG:g} g/kg).",
        )
    return _around(salt, water_c, shown, HYDROMETER_OFF, lambda one: salinity_where(would_show, one))


def by_refractometer(salt: Salt, shown: float, water_c: float) -> Salinity:
    """``shown`` in ppt on a scale for sea water, of a drop at the temperature the instrument is made for."""
    check_temperature("water_c", water_c)
    if not 0 <= shown <= SALTIEST_G_KG:
        raise Unsalted("shown", f"{shown:g} ppt can't be; allowed is 0 to {SALTIEST_G_KG:g} ppt.")
    factor = PLAIN_BENDS_LESS if salt is Salt.PLAIN else 1.0
    return _around(salt, water_c, shown, REFRACTOMETER_OFF, lambda one: max(one, 0.0) * factor)


def by_conductivity(salt: Salt, shown: float, water_c: float) -> Salinity:
    """``shown`` in mS/cm, as the meter reckons it for 25 C."""
    check_temperature("water_c", water_c)
    found = _sea_conducting if salt is Salt.SEA else _plain_conducting
    if not (0 <= shown <= MOST_MS_CM and found(shown) <= SALTIEST_G_KG - 0.01):
        raise Unsalted("shown", f"{shown:g} mS/cm can't be; allowed is what up to {SALTIEST_G_KG:g} g/kg of salt give.")
    return _around(salt, water_c, shown, CONDUCTIVITY_OFF * shown, found)


def known(salt: Salt, g_per_l: float, water_c: float) -> Salinity:
    """As the keeper says it is."""
    check_temperature("water_c", water_c)
    if not 0 <= g_per_l <= SALTIEST_G_KG:
        raise Unsalted("shown", f"{g_per_l:g} g/L can't be; allowed is 0 to {SALTIEST_G_KG:g} g/L.")
    found = g_kg(salt, g_per_l, water_c)
    return Salinity(salt, water_c, found, found, found)


def practical(ratio: float, celsius: float) -> float:
    """Practical salinity from the conductivity over that of sea water of 35 at the same temperature and one atmosphere.

    PSS-78 (Unesco technical papers in marine science 44, 1983), made for 2 to 42.
    """
    root = sqrt(ratio)
    at_15 = (0.0080, -0.1692, 25.3851, 14.0941, -7.0261, 2.7081)
    besides = (0.0005, -0.0056, -0.0066, -0.0375, 0.0636, -0.0144)
    share = (celsius - 15) / (1 + 0.0162 * (celsius - 15))
    return float(sum((a + share * b) * root**power for power, (a, b) in enumerate(zip(at_15, besides, strict=True))))


def sea_35_ms_cm(celsius: float) -> float:
    """Conductivity of sea water of practical salinity 35 at one atmosphere, mS/cm."""
    t = celsius
    return SEA_MS_CM * (0.6766097 + t * 2.00564e-2 + t**2 * 1.104259e-4 - t**3 * 6.9698e-7 + t**4 * 1.0031e-9)


def plain_ms_cm(salinity: float) -> float:
    """Conductivity at 25 C of water with so many g/kg of NaCl; within 2 %."""
    mol_l = g_l(Salt.PLAIN, salinity, 25.0) / NACL_G_MOL
    for (less, its), (more, theirs) in pairwise(_NACL):
        if mol_l <= more:
            # Straight in the root of the concentration, as Kohlrausch found it.
            part = (sqrt(mol_l) - sqrt(less)) / (sqrt(more) - sqrt(less))
            return mol_l * (its + part * (theirs - its))
    return inf


def _sea_conducting(ms_cm: float) -> float:
    return max(practical(max(ms_cm, 0.0) / sea_35_ms_cm(25.0), 25.0) * G_KG_PER_PRACTICAL, 0.0)


def _plain_conducting(ms_cm: float) -> float:
    return salinity_where(plain_ms_cm, ms_cm)


def _around(salt: Salt, water_c: float, shown: float, off: float, salinity: Callable[[float], float]) -> Salinity:
    return Salinity(salt, water_c, salinity(shown - off), salinity(shown), salinity(shown + off))


def check_temperature(field: str, celsius: float) -> None:
    """Raises Unsalted beyond what the laws of density hold for."""
    if not COLDEST_C <= celsius <= WARMEST_C:
        raise Unsalted(field, f"{celsius:g} C can't be reckoned with; allowed is {COLDEST_C:g} to {WARMEST_C:g} C.")
