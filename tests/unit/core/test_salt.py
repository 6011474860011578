"""How much salt, and how to mend water: by hand, and as laws that hold for all."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from monitor.core.brine import Salt, g_kg
from monitor.core.hatch import Prior, cloud, draw
from monitor.core.salinity import Unsalted, by_hydrometer, hydrometer_shows
from monitor.core.salt import CLOSE_G_L, Target, after, check, mend, prepare, slower

PURE = Target(Salt.PLAIN, 25.0, 2.0, share=1.0)


@st.composite
def targets(draw: st.DrawFn) -> Target:
    return Target(
        draw(st.sampled_from(Salt)),
        draw(st.floats(5, 55)),
        draw(st.floats(0.1, 200)),
        draw(st.floats(10, 32)),
        draw(st.floats(0, 2)),
        draw(st.floats(0.5, 1)),
        draw(st.floats(1, 50)),
    )


def test_new_water() -> None:
    """25 g/L in 2 L are 50 g, eight and a third spoons of 6 g; tap water with 0.5 g/L saves a gram, moist salt needs more."""
    recipe = prepare(PURE)
    assert (recipe.grams, recipe.spoons) == pytest.approx((50.0, 50 / 6))
    assert (recipe.out_l, recipe.tap_l) == (0.0, 2.0)
    assert prepare(replace(PURE, tap_g_l=0.5)).grams == pytest.approx(49.0)
    assert prepare(replace(PURE, share=0.8)).grams == pytest.approx(62.5)
    assert prepare(Target(Salt.SEA, 25.0, 2.0)).grams == pytest.approx(50 / 0.93)


def test_dried_up_water_is_filled_up_without_salt() -> None:
    """Salt stays behind: 1.8 L of what was 2 L at 25 g/L has 27.8, and plain water alone puts it right."""
    recipe = mend(PURE, 25.0 * 2.0 / 1.8, 0.2)
    assert (recipe.out_l, recipe.tap_l, recipe.grams) == (0.0, 0.2, 0.0)


def test_thin_water_gets_salt_and_salty_water_is_changed() -> None:
    """From 20 to 25 g/L in 2 L: 10 g. From 30: a sixth of it is changed."""
    assert mend(PURE, 20.0).grams == pytest.approx(10.0)
    recipe = mend(PURE, 30.0)
    assert (recipe.out_l, recipe.tap_l) == pytest.approx((2 / 6, 2 / 6))
    assert recipe.grams == 0
    assert mend(PURE, 25.05).nothing


@given(targets())
def test_new_water_read_back_is_what_was_wanted(target: Target) -> None:
    """The recipe gives the target, and a hydrometer in that water says so."""
    reached = after(target, prepare(target))
    assert reached == pytest.approx(target.g_l)
    shown = hydrometer_shows(target.salt, g_kg(target.salt, reached, target.water_c), target.water_c)
    assert by_hydrometer(target.salt, shown, target.water_c).g_l[1] == pytest.approx(target.g_l, abs=1e-6)


@settings(max_examples=200)
@given(targets(), st.floats(0, 60), st.floats(0, 0.9))
def test_mended_water_is_what_was_wanted(target: Target, now: float, missing: float) -> None:
    """Whatever it was: no more is taken out than is there, the vessel is full at the end, salt is put in or thinned."""
    litres = target.litres or 0.0
    lost = missing * litres
    recipe = mend(target, now, lost)
    assert after(target, recipe, now, lost) == pytest.approx(target.g_l, abs=CLOSE_G_L * 1.001)
    assert 0 <= recipe.out_l <= litres - lost
    assert litres - lost - recipe.out_l + recipe.tap_l == pytest.approx(litres)
    assert recipe.grams >= 0
    assert not (recipe.grams and recipe.out_l)


@given(targets(), st.floats(0.2, 20))
def test_more_wanted_is_more_salt(target: Target, more: float) -> None:
    """Grams rise with the target and with the litres, and fall with the salt of the tap."""
    assume(target.g_l + more <= 55)
    assert prepare(replace(target, g_l=target.g_l + more)).grams > prepare(target).grams
    assert prepare(replace(target, litres=(target.litres or 0) + more)).grams > prepare(target).grams
    assert prepare(replace(target, tap_g_l=target.tap_g_l + more / 10)).grams < prepare(target).grams


def test_what_salt_does_to_the_hatch_is_what_the_forecast_takes() -> None:
    """10 % longer at 35 than at 25 g/L, 5 % less time at 20 and below; the prior's half time shows the same factor."""
    assert slower(35.0) == pytest.approx(0.10)
    assert slower(25.0) == 0.0
    assert slower(20.0) == slower(5.0) == pytest.approx(-0.05)
    salty, usual = (draw(cloud(), Prior.of_label(None), g_per_l).half for g_per_l in (35.0, 25.0))
    assert salty / usual == pytest.approx(1 + slower(35.0))


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"g_l": 90.0}, "target_g_l"),
        ({"g_l": float("nan")}, "target_g_l"),
        ({"litres": 0.0}, "litres"),
        ({"litres": 5000.0}, "litres"),
        ({"water_c": 80.0}, "water_c"),
        ({"tap_g_l": 20.0}, "tap_g_l"),
        ({"g_l": 1.0, "tap_g_l": 2.0}, "tap_g_l"),
        ({"share": 0.2}, "share"),
        ({"spoon_g": 0.0}, "spoon_g"),
    ],
)
def test_what_cannot_be_is_refused_by_its_field(changes: dict[str, Any], field: str) -> None:
    """Each names the field that is wrong."""
    with pytest.raises(Unsalted) as refusal:
        check(replace(PURE, **changes))
    assert refusal.value.field == field


@pytest.mark.parametrize(
    ("now", "lost", "field"), [(20.0, 2.0, "lost_l"), (20.0, -1.0, "lost_l"), (float("nan"), 0.0, "shown")]
)
def test_water_that_is_not_there_cannot_be_mended(now: float, lost: float, field: str) -> None:
    """More is not missing than there was."""
    with pytest.raises(Unsalted) as refusal:
        mend(PURE, now, lost)
    assert refusal.value.field == field
    with pytest.raises(Unsalted, match="how much water"):
        prepare(replace(PURE, litres=None))
