"""What a keeper types about salt, and what is said of it."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.core.brine import Salt
from monitor.core.salinity import Reference
from monitor.settings.errors import Unfit
from monitor.web import salt_typed as typed
from monitor.web.problems import Trouble
from monitor.web.salt_form import FIELDS, read_form
from monitor.web.salt_words import grams, litres, reference_name, spoons
from monitor.web.salted import SaltBody, document, reckoned


def told(**asked: Any) -> dict[str, Any]:
    return document(reckoned(SaltBody(**asked)))


@pytest.mark.parametrize(
    ("text", "g_l"),
    [
        ("25 g/L", 25.0),
        ("25", 25.0),
        ("2,5", 2.5),
        ("25 ppt", 25.393),
        ("25 g/kg", 25.393),
        ("25‰", 25.393),
        ("25 psu", 25.515),
    ],
)
def test_a_litre_and_a_kilogram_are_told_apart(text: str, g_l: float) -> None:
    """A bare number is g/L; ppt is a share of the weight, practical salinity a little more still."""
    assert typed.salinity(text, Salt.SEA, 25.0) == pytest.approx(g_l, abs=1e-3)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [("60/60 F", 15.556), ("25/25 C", 25.0), ("25 C", 25.0), ("25/25 °C", 25.0), ("60F/60F", 15.556), ("77 f", 25.0)],
)
def test_a_scale_says_what_it_is_made_for(text: str, celsius: float) -> None:
    """In either unit, said once or twice."""
    found = typed.reference(text)
    assert (found.sample_c, found.water_c) == pytest.approx((celsius, celsius), abs=1e-3)


def test_a_decimal_comma_has_no_thousands_where_there_are_none() -> None:
    """Many keyboards for numbers have no other mark; a hydrometer shows one and three decimals."""
    assert typed.gravity("1,018") == 1.018
    assert typed.salinity("25,125 g/L", Salt.SEA, 25.0) == 25.125
    assert typed.reference("15,5/15,5 C") == Reference(15.5, 15.5)


def test_a_scale_may_have_two_temperatures() -> None:
    """Its own, and that of the pure water of its 1.000."""
    assert typed.reference("20/4 C") == Reference(20.0, 4.0)
    assert reference_name(Reference(20.0, 4.0)) == "20/4 °C"
    assert reference_name(typed.reference("60/60 F")) == "60/60 °F"


@pytest.mark.parametrize(
    ("read", "text", "allowed"),
    [
        (typed.reference, "60", "25/25 C"),
        (typed.reference, "warm", "60/60 F"),
        (typed.temperature, "1e300 C", "0 to 40 C"),
        (typed.gravity, "1.02 ppt", "1.0185"),
        (typed.scale_ppt, "1.025", "ppt scale"),
        (typed.scale_ppt, "much", "ppt scale"),
        (typed.conductivity, "38 g/L", "mS/cm"),
        (typed.share, "93 g", "93 %"),
        (lambda text: typed.salinity(text, Salt.SEA, 25.0), "25 L", "25 ppt"),
    ],
)
def test_what_is_not_understood_is_told_with_what_is(read: Any, text: str, allowed: str) -> None:
    """The refusal shows how it is written."""
    with pytest.raises(Unfit) as refusal:
        read(text)
    assert allowed in refusal.value.allowed


@pytest.mark.parametrize(
    ("text", "ms_cm"), [("38", 38.0), ("38 mS/cm", 38.0), ("500 µS/cm", 0.5), ("38,5 mS/cm", 38.5)]
)
def test_conductivity_is_in_millisiemens(text: str, ms_cm: float) -> None:
    """A bare number is mS/cm."""
    assert typed.conductivity(text) == pytest.approx(ms_cm)


@pytest.mark.parametrize(
    ("number", "said"),
    [(0.05, "less than a quarter"), (0.26, "¼"), (0.9, "1"), (6.31, "6¼"), (6.9, "7"), (2.5, "2½"), (0.75, "¾")],
)
def test_spoons_are_told_to_a_quarter(number: float, said: str) -> None:
    """As the eye can tell them."""
    assert spoons(number) == said


def test_amounts_are_told_as_scales_and_jugs_show_them() -> None:
    """Grams to a hundredth, a tenth or whole; millilitres below a litre."""
    assert [grams(one) for one in (0.416, 37.88, 380.4)] == ["0.42 g", "37.9 g", "380 g"]
    assert [litres(one) for one in (0.25, 0.9999, 1.25, 20.0)] == ["250 mL", "1 L", "1.25 L", "20 L"]


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        (
            {"target_g_l": 25, "litres": 1.5, "share": 1},
            "37.5 g of plain salt, filled up with plain water to 1.5 L, give 25 g/L.",
        ),
        ({"target_g_l": 25}, "25 g/L: say how many litres, and you are told how much salt."),
        (
            {"kind": "sea", "measured_by": "hydrometer", "shown": 1.0185, "reference_c": (25, 25)},
            "The water has 25.1 g/L of salt (24.4 g/L to 25.8 g/L).",
        ),
        ({"measured_by": "known", "shown": 25}, "The water has 25 g/L of salt."),
        (
            {"target_g_l": 25, "measured_by": "known", "shown": 20},
            "The water has 20 g/L of salt. Say how many litres, and you are told what to add.",
        ),
        (
            {"target_g_l": 25, "litres": 2, "measured_by": "known", "shown": 30},
            "Take out 333 mL, then fill up to 2 L with plain water: 25 g/L.",
        ),
        (
            {"target_g_l": 25, "litres": 2, "measured_by": "known", "shown": 25, "lost_l": 0.2, "share": 1},
            "Fill up to 2 L with plain water, then put in 5.0 g of plain salt and stir: 25 g/L.",
        ),
        (
            {"target_g_l": 25, "litres": 2, "measured_by": "known", "shown": 25},
            "Nothing to do: the water has its 25 g/L.",
        ),
    ],
)
def test_what_to_do_is_one_sentence(asked: dict[str, Any], text: str) -> None:
    """What to weigh, to change, or what was found."""
    assert told(**asked)["text"] == text


def test_the_same_reading_on_another_scale_is_told_when_the_scale_was_not_said() -> None:
    """Who says what the hydrometer is made for is not told of other ones."""
    read = {"kind": "sea", "measured_by": "hydrometer", "shown": 1.0185, "water_c": 25}
    assert any("60/60 °F: then it is 27.5 g/L" in note for note in told(**read)["notes"])
    assert not any("Look at its scale" in note for note in told(**read, reference_c=(25, 25))["notes"])
    saltiest = told(**{**read, "shown": 1.0435})
    assert not any("then it is" in note for note in saltiest["notes"])
    del read["water_c"]
    assert any("measure it" in note for note in told(**read)["notes"])


@pytest.mark.parametrize(
    ("g_l", "notes"),
    [
        (25, []),
        (30, ["At 30 g/L hatching takes about 5 % longer than at 25 g/L."]),
        (
            40,
            [
                "More than 35 g/L only costs salt and time. 20 to 30 g/L is usual.",
                "At 40 g/L hatching takes about 15 % longer than at 25 g/L.",
            ],
        ),
        (
            10,
            [
                "Below 12 g/L water turns sour more easily, and fewer may hatch: up to 1 g of baking soda in a litre helps.",
                "At 10 g/L hatching takes about 5 % less time than at 25 g/L. Less than 20 g/L makes it no quicker.",
            ],
        ),
        (
            4,
            [
                "Less than 5 g/L is thinner than anybody recommends. 20 to 30 g/L is usual.",
                "At 4 g/L hatching takes about 5 % less time than at 25 g/L. Less than 20 g/L makes it no quicker.",
            ],
        ),
    ],
)
def test_what_the_salt_does_to_the_hatch_is_said(g_l: float, notes: list[str]) -> None:
    """Beside the limits; nothing at the usual 25."""
    assert told(target_g_l=g_l)["notes"] == notes


def test_a_usual_spoon_and_a_usual_share_are_said_to_be_so() -> None:
    """Until the keeper gives their own."""
    guessed = " ".join(told(target_g_l=25, litres=1)["notes"])
    assert "Weigh ten level ones" in guessed
    assert "99 % of what you weigh is taken as salt (kitchen salt, dry)" in guessed
    own = " ".join(told(target_g_l=25, litres=1, spoon_g=7, share=0.95)["notes"])
    assert "Weigh ten" not in own
    assert "95 % of what you weigh is taken as salt." in own


def test_the_other_salt_is_told_beside() -> None:
    """As much salt, of another kind: sea salt holds more water."""
    rows = {row["name"]: row["text"] for row in told(target_g_l=25, litres=1.5)["rows"]}
    assert (rows["Plain salt, as weighed"], rows["Or sea salt"]) == ("37.9 g", "40.3 g")
    assert rows["A hydrometer for 25/25 °C shows, at 25 °C"] == "1.0173"


@pytest.mark.parametrize(
    ("typed_in", "said"),
    [
        ({"kind": "pepper", "target": "25"}, "plain salt or sea salt"),
        ({"target": "25", "shown": "1.02", "by": "eye"}, "measured with"),
        ({"target": "lots"}, 'Wanted: "lots" is not understood'),
        ({"shown": "1.02", "by": "hydrometer", "reference": "60"}, "Made for"),
    ],
)
def test_a_slip_in_the_form_names_its_field(typed_in: dict[str, str], said: str) -> None:
    """Told as a sentence."""
    with pytest.raises(Trouble) as trouble:
        read_form({**dict.fromkeys(FIELDS, ""), **typed_in})
    assert said in trouble.value.detail
