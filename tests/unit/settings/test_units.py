"""Units as keepers type them."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.settings import units
from monitor.settings.errors import Unfit
from monitor.settings.units import Kind


@pytest.mark.parametrize(
    ("text", "kind", "internal"),
    [
        ("78 degF", Kind.TEMPERATURE, 25.5556),
        ("78 F", Kind.TEMPERATURE, 25.5556),
        ("78°F", Kind.TEMPERATURE, 25.5556),
        ("25 C", Kind.TEMPERATURE, 25.0),
        ("25 degC", Kind.TEMPERATURE, 25.0),
        ("25 °C", Kind.TEMPERATURE, 25.0),
        ("25 Cel", Kind.TEMPERATURE, 25.0),
        ("298.15 K", Kind.TEMPERATURE, 25.0),
        ("-5C", Kind.TEMPERATURE, -5.0),
        (24, Kind.TEMPERATURE, 24.0),
        ("24", Kind.TEMPERATURE, 24.0),
        ("2 delta_degC", Kind.DIFFERENCE, 2.0),
        ("0.5 C", Kind.DIFFERENCE, 0.5),
        ("1.8 F", Kind.DIFFERENCE, 1.0),
        ("2 K", Kind.DIFFERENCE, 2.0),
        ("1.8 F/min", Kind.WARMING, 1.0),
        ("60 C/h", Kind.WARMING, 1.0),
        ("1.5 L", Kind.VOLUME, 1.5),
        ("1500 mL", Kind.VOLUME, 1.5),
        ("1500ml", Kind.VOLUME, 1.5),
        ("1.5 gal", Kind.VOLUME, 5.678118),  # US gallon 3.785411784 L, exact by definition
        ("1 imp gal", Kind.VOLUME, 4.54609),  # imperial gallon, exact by definition
        ("2 tsp", Kind.VOLUME, 0.010),  # level metric teaspoon of 5 mL
        ("4 g/L", Kind.SALINITY, 4.0),
        ("1 ppt", Kind.SALINITY, 1.0),
        ("25 ‰", Kind.SALINITY, 25.0),
        ("500 mg", Kind.MASS, 0.5),
        ("1 oz", Kind.MASS, 28.349523),  # avoirdupois ounce, exact by definition
        ("10 s", Kind.DURATION, 10.0),
        ("15 min", Kind.DURATION, 900.0),
        ("1.5 hours", Kind.DURATION, 5400.0),
        ("250 ms", Kind.DURATION, 0.25),
        ("2 days", Kind.DURATION, 172800.0),
        ("1,5 L", Kind.VOLUME, 1.5),
        ("0,125 L", Kind.VOLUME, 0.125),
        ("-1,5 C", Kind.TEMPERATURE, -1.5),
        ("1,5", Kind.MASS, 1.5),
    ],
)
def test_what_keepers_type_is_read(text: object, kind: Kind, internal: float) -> None:
    """Each common way of writing a quantity becomes the internal unit."""
    assert units.read(text, kind) == pytest.approx(internal, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("2 tsp", Kind.MASS, "give grams"),
        ("1,500 mL", Kind.VOLUME, "1.5 or 1500"),
        ("1,234,567 mL", Kind.VOLUME, "1.5 or 1500"),
        ("1.234,5 mL", Kind.VOLUME, "1.5 or 1500"),
        ("5 m", Kind.DURATION, 'Minutes are "min"'),
        ("1 litr", Kind.VOLUME, 'Did you mean "litre"?'),
        ("2 delta_degC", Kind.TEMPERATURE, "difference"),
        ("25 degc", Kind.TEMPERATURE, 'Did you mean "degC"?'),
    ],
)
def test_common_mistakes_get_their_own_advice(text: str, kind: Kind, says: str) -> None:
    """A mistake that keepers do make is answered with what to write instead."""
    with pytest.raises(Unfit) as caught:
        units.read(text, kind)
    assert says in caught.value.hint


@pytest.mark.parametrize(
    "value",
    [
        "",
        "L",
        "ten L",
        "1 L/L/L",
        "s**9**9**9",
        "1e999 L",
        "1 2 L",
        "3 C",
        True,
        None,
        10**400,
        float("nan"),
        [1.5],
        "1 \x00",
    ],
)
def test_what_is_no_volume_is_unfit(value: object) -> None:
    """Whatever is not a finite quantity of the right kind is refused with what is allowed."""
    with pytest.raises(Unfit, match="a volume such as"):
        units.read(value, Kind.VOLUME)


finite = st.floats(-1e9, 1e9)


@given(finite, st.sampled_from(Kind))
def test_a_written_quantity_reads_back_exactly(value: float, kind: Kind) -> None:
    """Writing an internal value and reading it again loses nothing."""
    assert units.read(units.write(value, kind), kind) == value


@given(st.integers(0, 10**11))
def test_a_written_duration_reads_back_exactly(milliseconds: int) -> None:
    """Writing milliseconds and reading them again loses nothing."""
    assert round(units.read(units.write_duration(milliseconds), Kind.DURATION) * 1000) == milliseconds


@given(st.floats(-200, 400))
def test_fahrenheit_agrees_with_its_definition(fahrenheit: float) -> None:
    """Temperatures in F follow C = (F - 32) * 5 / 9, as text and as a probe's unit."""
    celsius = (fahrenheit - 32) * 5 / 9
    affine = units.temperature_unit("F")
    assert units.read(f"{fahrenheit!r} F", Kind.TEMPERATURE) == pytest.approx(celsius, abs=1e-8)
    assert fahrenheit * affine.scale + affine.offset == pytest.approx(celsius, abs=1e-8)


def outcome(text: str, kind: Kind) -> str:
    """A finite number or a reason, in words; nothing for any other number."""
    try:
        number = units.read(text, kind)
    except Unfit as unfit:
        return str(unfit)
    return str(number) if math.isfinite(number) else ""


@given(st.text(max_size=30), st.sampled_from(Kind))
def test_any_text_is_read_or_unfit(text: str, kind: Kind) -> None:
    """No text makes the reading of units fail in any other way than by being unfit."""
    assert outcome(text, kind)


@given(
    st.floats(allow_nan=False),
    st.lists(
        st.sampled_from(["C", "F", "L", "mL", "g", "/", "1", "min", "delta_degC", "%", "**", " ", "(", "u"]), max_size=5
    ),
    st.sampled_from(Kind),
)
def test_any_mix_of_units_is_read_or_unfit(number: float, parts: list[str], kind: Kind) -> None:
    """No combination of known units makes the reading fail in any other way than by being unfit."""
    assert outcome(f"{number} {''.join(parts)}", kind)


def test_bare_celsius_passes_through_unchanged() -> None:
    """A probe in C keeps its numbers to the last digit."""
    affine = units.temperature_unit("C")
    assert (affine.scale, affine.offset, affine.code) == (1.0, 0.0, "Cel")


def test_units_of_air_convert_among_themselves() -> None:
    """A threshold may be written in another unit than its probe's, when the two go together."""
    assert units.convert(2500, "mW", "W") == pytest.approx(2.5)
    assert units.convert(60, "L/h", "L/min") == pytest.approx(1.0)
    assert units.convert(10, "mbar", "kPa") == pytest.approx(1.0)
    with pytest.raises(Unfit, match="goes with W"):
        units.convert(1, "L/min", "W")


def test_pint_is_not_imported_before_a_unit_is_read() -> None:
    """Importing the settings, and loading bare numbers, does without pint; the first unit brings it in."""
    program = """
import sys
from monitor.settings import from_document
document = {
    "site": {"id": "shed", "timezone": "Europe/Berlin", "feeding_times": ["07:00"]},
    "vessel": [{"id": "ash", "litres": 1.5}],
    "probe": [{"id": "a", "topic": "t", "measures": "water", "vessel": "ash", "unit": "C", "every": 10}],
}
from_document(document).settings.bindings()
assert "pint" not in sys.modules
document["vessel"][0]["litres"] = "1500 mL"
assert from_document(document).settings.vessels[0].litres == 1.5
assert "pint" in sys.modules
"""
    subprocess.run([sys.executable, "-c", program], check=True)
