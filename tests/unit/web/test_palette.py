from __future__ import annotations

import re
from importlib.resources import files

import pytest

CSS = files("monitor.web").joinpath("static", "bench.css").read_text("utf-8")

# (colour, ground it stands on, ratio WCAG 2.2 asks for: 4.5 for letters, 3 for parts and edges)
PAIRS = [
    *[
        (letters, ground, 4.5)
        for letters in ("ink", "soft")
        for ground in ("paper", "raised", "high-paper", "medium-paper")
    ],
    *[("faint", ground, 4.5) for ground in ("paper", "raised")],  # a number from long ago
    ("paper", "ink", 4.5),  # the letters of a filled button
    ("high", "paper", 4.5),  # STOPPED
    ("medium", "paper", 4.5),  # WEAK
    *[(edge, ground, 3.0) for edge in ("line",) for ground in ("paper", "raised")],
    *[(shape, ground, 3.0) for shape in ("high", "medium", "low") for ground in ("paper", "raised")],
    ("high", "high-paper", 3.0),
    ("medium", "medium-paper", 3.0),
    ("paper", "high", 3.0),  # the sign inside a shape
    ("paper", "medium", 3.0),
    ("paper", "low", 3.0),
    ("shrimp", "paper", 3.0),
    ("shrimp", "shrimp-pale", 3.0),  # the mark on its range
    ("shrimp", "water-pale", 3.0),  # how far the cone is filled
    ("water", "water-pale", 3.0),  # bubbles
    ("water", "paper", 3.0),
    *[("glow", ground, 3.0) for ground in ("paper", "raised", "high-paper", "medium-paper")],
]


def _colours(text: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{6})", text))


def _schemes() -> dict[str, dict[str, str]]:
    light, dark = CSS.split("@media (prefers-color-scheme: dark)")
    return {"light": _colours(light), "dark": _colours(dark.split("\n}\n")[0])}


def _luminance(colour: str) -> float:
    """WCAG 2.2, "relative luminance"."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, "contrast ratio"."""
    bright, dim = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def test_the_measure_itself_is_right() -> None:
    """Black on white is 21 to 1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("colour", "ground", "least"), PAIRS)
def test_every_pair_of_colours_in_use_can_be_told_apart(scheme: str, colour: str, ground: str, least: float) -> None:
    """Letters reach 4.5 to 1, parts 3 to 1, in both schemes."""
    colours = _schemes()[scheme]
    assert contrast(colours[colour], colours[ground]) >= least


def test_both_schemes_name_the_same_colours_and_no_rule_brings_its_own() -> None:
    """A colour outside of the checked palette can't slip in."""
    schemes = _schemes()
    assert schemes["light"].keys() == schemes["dark"].keys()
    rules = CSS.split("* { box-sizing")[1]
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b|rgba?\(|hsla?\(", rules)
