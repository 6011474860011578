"""Quantities with units as a keeper types them, read into the one internal unit of each kind.

This is the only place that knows pint, and it imports it when the first unit is read. The registry holds just the units
below: those of a hatchery bench. So "F" is Fahrenheit and not farad, a teaspoon is the level metric one of 5 mL, and a
message can list all there is. Bare numbers are in the internal unit.
"""

from __future__ import annotations

import math
import re
from enum import Enum
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.settings.errors import Unfit, nearest, quoted

if TYPE_CHECKING:
    import pint

_DEFINITIONS: Final = """
micro- = 1e-6  = µ- = u-
milli- = 1e-3  = m-
centi- = 1e-2  = c-
deci-  = 1e-1  = d-
hecto- = 1e2   = h-
kilo-  = 1e3   = k-
second = [time] = s = sec
minute = 60 * second = min
hour = 60 * minute = h = hr
day = 24 * hour = d
week = 7 * day
hertz = 1 / second = Hz
litre = [volume] = L = l = liter
metric_teaspoon = 5e-3 * litre = tsp = teaspoon
metric_tablespoon = 15e-3 * litre = tbsp = tablespoon
US_gallon = 3.785411784 * litre = gal = gallon
US_quart = US_gallon / 4 = qt = quart
US_pint = US_gallon / 8 = pt = pint
US_cup = US_gallon / 16 = _ = cup
US_fluid_ounce = US_gallon / 128 = fl_oz = floz
imperial_gallon = 4.54609 * litre = imp_gal
gram = [mass] = g
ounce = 28.349523125 * gram = oz
pound = 16 * ounce = lb
part_per_thousand = gram / litre = ppt = psu = permille
kelvin = [temperature] = K
degree_Celsius = kelvin; offset: 273.15 = °C = degC = C = celsius = Celsius = Cel
degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = °F = degF = F = fahrenheit = Fahrenheit
watt = [power] = W
volt = [potential] = V
ampere = [current] = A
pascal = [pressure] = Pa
bar = 1e5 * pascal
psi = 6894.757293168 * pascal
mmHg = 133.322387415 * pascal
bubble = []
percent = 0.01 = %
"""

_SECONDS: Final = {"ms": 0.001, "min": 60.0, "h": 3600.0, "d": 86_400.0}
"""Lengths of time that are read without pint, which is slow to load and which a small board need not have."""

_NUMBER_THEN_UNIT = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*", re.DOTALL)
_COMMA = re.compile(r"(?<![\d.,])(\d*),(\d+)(?![\d.,])")
# Names, one slash at most: pint would work out "s**9**9**9" if it were asked to.
_UNIT = re.compile(r"(?:1|[^\W\d]\w*|%|°[CF])(?:/(?:[^\W\d]\w*|°[CF]))?")
_SOME_UNITS = "a unit such as C, F, L, mL, g, g/L, s, min, h, W, L/min, kPa, 1/min"
_SPELLINGS = {
    "°C": "degC",
    "°F": "degF",
    "℃": "degC",
    "℉": "degF",
    "[degF]": "degF",
    "‰": "permille",
    "fl oz": "fl_oz",
    "imp gal": "imp_gal",
}


@light
class _Law:
    word: str
    unit: str  # internal, as pint knows it
    shown: str  # internal, as a keeper writes it
    examples: str


class Kind(Enum):
    """The kinds of quantity, each with its one internal unit."""

    TEMPERATURE = _Law("a temperature", "degC", "C", '"25 C", "78 F"')
    DIFFERENCE = _Law("a difference of temperatures", "delta_degC", "C", '"0.5 C", "1 F", "2 delta_degC"')
    WARMING = _Law("a change of temperature per time", "delta_degC/min", "C/min", '"2 C/min"')
    VOLUME = _Law("a volume", "litre", "L", '"1.5 L", "1500 mL", "0.5 gal"')
    MASS = _Law("a mass", "gram", "g", '"2 g", "500 mg"')
    SALINITY = _Law("a salinity", "gram/litre", "g/L", '"25 g/L", "25 ppt"')
    DURATION = _Law("a length of time", "second", "s", '"10 s", "15 min", "1.5 h"')

    @property
    def unit(self) -> str:
        """The internal unit as a keeper writes it."""
        return self.value.shown

    @property
    def allowed(self) -> str:
        return f"{self.value.word} such as {self.value.examples}, or a bare number in {self.value.shown}"


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint  # noqa: PLC0415  (a tenth of a second that a configuration without units need not pay)

    registry: pint.UnitRegistry[float] = pint.UnitRegistry(None)
    registry.load_definitions(_DEFINITIONS.splitlines())
    return registry


@lru_cache(maxsize=256)
def _unit(text: str) -> pint.Unit:
    """A unit by its text; raises Unfit with the nearest known name."""
    import pint  # noqa: PLC0415

    name = _SPELLINGS.get(text, text)
    if not _UNIT.fullmatch(name) or len(name) > 40:
        raise Unfit(_SOME_UNITS, found=f"the unit {quoted(text)}")
    try:
        return _registry().parse_units(name)
    except pint.PintError:  # not known, or a prefix before a temperature
        known = sorted(str(unit) for unit in _registry()._units)  # noqa: SLF001  (the public listing hides aliases)
        raise Unfit(
            _SOME_UNITS,
            nearest(text, known),
            f"the unit {quoted(text)}, which is not known",
        ) from None


def dotted(text: str, *, thousands: bool = True) -> str:
    """``1,5 L`` as ``1.5 L``: many keyboards for numbers have no mark but the comma.

    With ``thousands``, "1,500" stays as it is: it may be either. Without, as for salt and drops, a comma is a decimal one.
    """

    def point(found: re.Match[str]) -> str:
        whole, rest = found.groups()
        either = thousands and len(rest) == 3 and 1 <= len(whole) <= 3 and not whole.startswith("0")
        return found[0] if either else f"{whole}.{rest}"

    return _COMMA.sub(point, text)


def split(text: str) -> tuple[float, str]:
    """Number and unit of a text, also with a decimal comma; the unit is "" for a bare number. Raises Unfit."""
    match = _NUMBER_THEN_UNIT.fullmatch(dotted(text))
    if match is None:
        raise Unfit("a number and its unit")
    if match[2].startswith(","):
        raise Unfit("a number with a decimal point", "Write 1.5 or 1500, as 1,500 may be either.")
    number = float(match[1])
    if not math.isfinite(number):
        raise Unfit("a number that is not endless")
    return number, match[2]


def convert(number: float, unit: str, into: str) -> float:
    """``number`` of ``unit`` in the unit ``into``; "" is no unit. Raises Unfit where the two do not go together."""
    if unit == into:
        return number
    source = _unit(unit) if unit else _registry().dimensionless
    target = _unit(into) if into else _registry().dimensionless
    if not source.is_compatible_with(target):
        raise Unfit(
            f"a unit that goes with {into}" if into else "a number without a unit", found=f"the unit {quoted(unit)}"
        )
    result = float(_registry().Quantity(number, source).to(target).magnitude)
    if not math.isfinite(result):
        raise Unfit("a number that is not endless")
    return result


def _mismatch(kind: Kind, source: pint.Unit) -> str:
    """What to say to a keeper who gave the wrong sort of thing."""
    if kind is Kind.MASS and source.is_compatible_with(_unit("L")):
        return (
            "A spoon measures volume, and a level spoon of one salt weighs twice as much as of another: "
            "weigh it and give grams."
        )
    if kind is Kind.TEMPERATURE and str(source).startswith("delta_"):
        return 'That is a difference; write a temperature, such as "25 C".'
    return ""


def read(value: object, kind: Kind) -> float:
    """A number or a text such as "78 F" in the internal unit of its kind. Raises Unfit."""
    number, text = _number_and_text(value, kind)
    if not text or text == kind.value.shown:
        return number
    if kind is Kind.DURATION and text in _SECONDS:
        seconds = number * _SECONDS[text]
        if not math.isfinite(seconds):
            raise Unfit(kind.allowed)
        return seconds
    try:
        source = _unit(text)
    except Unfit as unfit:
        minutes = 'Minutes are "min".' if kind is Kind.DURATION and text == "m" else ""
        raise Unfit(kind.allowed, minutes or unfit.hint, unfit.found) from None
    if kind is Kind.DIFFERENCE and str(source) in ("degree_Celsius", "degree_Fahrenheit"):
        source = _unit(f"delta_{source}")
    absolute = kind is not Kind.TEMPERATURE or not str(source).startswith("delta_")
    if not absolute or not source.is_compatible_with(_unit(kind.value.unit)):
        raise Unfit(kind.allowed, _mismatch(kind, source), f"{quoted(str(value))}, which is not {kind.value.word}")
    result = float(_registry().Quantity(number, source).to(_unit(kind.value.unit)).magnitude)
    if not math.isfinite(result):
        raise Unfit(kind.allowed)
    return result


def _number_and_text(value: object, kind: Kind) -> tuple[float, str]:
    if isinstance(value, bool):
        raise Unfit(kind.allowed)
    if isinstance(value, int | float):
        try:
            number = float(value)
        except OverflowError:
            raise Unfit(kind.allowed) from None
        if not math.isfinite(number):
            raise Unfit(kind.allowed)
        return number, ""
    if not isinstance(value, str):
        raise Unfit(kind.allowed)
    try:
        return split(value)
    except Unfit as unfit:
        raise Unfit(kind.allowed, unfit.hint) from None


def write(value: float, kind: Kind) -> str:
    """The text of an internal value that reads back as the very same value."""
    return f"{plain(value)} {kind.value.shown}"


def told(value: float, kind: Kind) -> str:
    """A value for a message: rounded, so that 90 F is told as 32.2222 C."""
    return f"{value:.6g} {kind.value.shown}"


def write_duration(milliseconds: int) -> str:
    """The text of a length of time in the largest unit that needs no fraction."""
    for size, unit in ((86_400_000, "d"), (3_600_000, "h"), (60_000, "min"), (1_000, "s")):
        if milliseconds and milliseconds % size == 0:
            return f"{milliseconds // size} {unit}"
    return f"{milliseconds} ms" if milliseconds else "0 s"


def plain(value: float) -> str:
    """A number without needless decimals, exact."""
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(value)


@light
class Affine:
    """How a probe's unit becomes the internal one: ``internal = value * scale + offset``."""

    scale: float
    offset: float
    code: str  # UCUM code of the probe's unit, or the text as given where there is none


_UCUM = {"degree_Celsius": "Cel", "degree_Fahrenheit": "[degF]", "kelvin": "K"}


def temperature_unit(text: str) -> Affine:
    """The unit of a temperature probe. Raises Unfit when it is not one."""
    if text == "C":  # by far the most common, and it needs no conversion
        return Affine(1.0, 0.0, "Cel")
    unit = _unit(text)
    code = _UCUM.get(str(unit))
    if code is None:
        raise Unfit('a unit of temperature: "C", "F" or "K"', found=f"the unit {quoted(text)}")
    nought = _registry().Quantity(0.0, unit).to("degC").magnitude
    hundred = _registry().Quantity(100.0, unit).to("degC").magnitude
    # Ten decimals: what arithmetic leaves beyond them would turn a probe's 21.4 C into 21.400000000000034.
    return Affine(round(float(hundred - nought) / 100, 12), round(float(nought), 10), code)
