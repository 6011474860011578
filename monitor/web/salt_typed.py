"""What a keeper types about salt. Says what is allowed when it can't be read; what cannot be is for the core to say."""

from __future__ import annotations

import re
from typing import Final, Literal

from monitor.core.brine import COLDEST_C, G_KG_PER_PRACTICAL, WARMEST_C, Salt, g_l
from monitor.core.salinity import Reference
from monitor.settings.errors import Unfit
from monitor.settings.units import Kind, dotted, plain, read, split

Way = Literal["hydrometer", "refractometer", "conductivity", "known"]
"""How it was found out what is in the water."""

_BY_MASS: Final = {"g/kg": 1.0, "ppt": 1.0, "‰": 1.0, "permille": 1.0, "psu": G_KG_PER_PRACTICAL}
_CONDUCTS: Final = {"": 1.0, "mS/cm": 1.0, "mS": 1.0, "uS/cm": 1e-3, "µS/cm": 1e-3, "uS": 1e-3, "µS": 1e-3}
_REFERENCE: Final = re.compile(r"(\d+(?:\.\d+)?) ?°? ?([CF])?(?: ?/ ?(\d+(?:\.\d+)?))? ?°? ?([CF])?", re.IGNORECASE)


def salinity(text: str, salt: Salt, water_c: float) -> float:
    """g/L. ``25 g/L`` or a bare number is that; ``25 ppt`` and ``25 g/kg`` are grams in a kg, a little more. Raises Unfit."""
    allowed = 'a salinity such as "25 g/L" or "25 ppt"'
    try:
        number, unit = split(_dotted(text))
        if unit in _BY_MASS:
            value = g_l(salt, number * _BY_MASS[unit], water_c) if 0 <= number <= 1000 else number
        else:
            value = read(_dotted(text), Kind.SALINITY)
    except Unfit as problem:
        raise Unfit(allowed, problem.hint) from None
    return value


def temperature(text: str) -> float:
    """C. Raises Unfit."""
    value = read(_dotted(text), Kind.TEMPERATURE)
    if not COLDEST_C <= value <= WARMEST_C:
        raise Unfit(f'a temperature from {COLDEST_C:g} to {WARMEST_C:g} C, such as "25 C"')
    return value


def gravity(text: str) -> float:
    """``1.0185``. Raises Unfit."""
    return _bare(text, 'what its scale shows, such as "1.0185"')


def scale_ppt(text: str) -> float:
    """``25 ppt``, ``25``. Raises Unfit."""
    allowed = 'what its ppt scale shows, such as "25"'
    if re.fullmatch(r"\s*1[.,]0\d\d+\s*", text):
        raise Unfit(allowed, "That is its other scale, the specific gravity.")
    return _bare(re.sub(r"\s*(?:ppt|‰)\s*$", "", text), allowed)


def conductivity(text: str) -> float:
    """mS/cm. Raises Unfit."""
    allowed = 'the conductivity such as "38 mS/cm"'
    try:
        number, unit = split(_dotted(text))
    except Unfit as problem:
        raise Unfit(allowed, problem.hint) from None
    if unit not in _CONDUCTS:
        raise Unfit(allowed)
    return number * _CONDUCTS[unit]


def shown(way: Way, text: str, salt: Salt, water_c: float) -> float:
    """What an instrument shows, as it is typed. Raises Unfit."""
    if way == "known":
        return salinity(text, salt, water_c)
    return {"hydrometer": gravity, "refractometer": scale_ppt, "conductivity": conductivity}[way](text)


def reference(text: str) -> Reference:
    """``60/60 F``, ``20/4 C``, ``25 C``: the water it floats in, and the pure water it is held against. Raises Unfit."""
    match = _REFERENCE.fullmatch(_dotted(text).strip())
    if match is None or not (match[2] or match[4]):
        raise Unfit('what its scale says, such as "25/25 C" or "60/60 F"')
    unit = (match[4] or match[2]).upper()
    first = read(f"{match[1]} {(match[2] or unit).upper()}", Kind.TEMPERATURE)
    second = first if match[3] is None else read(f"{match[3]} {unit}", Kind.TEMPERATURE)
    return Reference(first, second)


def share(text: str) -> float:
    """``93 %`` or 0.93. Raises Unfit."""
    try:
        number, unit = split(text)
    except Unfit as problem:
        raise Unfit('a share such as "93 %"', problem.hint) from None
    if unit not in ("", "%"):
        raise Unfit('a share such as "93 %"')
    return number / 100 if unit else number


def written(value: float, unit: str) -> str:
    """An amount as it is typed."""
    return f"{plain(round(value, 6))} {unit}"


def _bare(text: str, allowed: str) -> float:
    try:
        number, unit = split(_dotted(text))
    except Unfit as problem:
        raise Unfit(allowed, problem.hint) from None
    if unit:
        raise Unfit(allowed)
    return number


def _dotted(text: str) -> str:
    """A comma is a decimal one: nobody has thousands of these."""
    return dotted(text.strip(), thousands=False)
