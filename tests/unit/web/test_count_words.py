"""What a keeper types about drops, and what is said of them."""

from __future__ import annotations

import pytest

from monitor.core.counting import Drops, Sample, reckon
from monitor.settings.errors import Unfit
from monitor.web import count_typed, words
from monitor.web.count_words import percent, rough, view
from monitor.web.counted import cysts_of, document


@pytest.mark.parametrize("text", ["12 15 9", "12, 15, 9", "12,15,9", " 12;15  9 ", "12.15.9"])
def test_drops_may_be_parted_by_what_a_keyboard_has(text: str) -> None:
    """Blanks, commas and full stops part the drops."""
    assert count_typed.drops(text) == Drops(36, 3, (12, 15, 9))


def test_a_total_is_taken_too() -> None:
    """Where the counts of the single drops were not kept."""
    assert count_typed.drops("36 in 3") == count_typed.drops("36 in 3 drops") == Drops(36, 3)


@pytest.mark.parametrize("text", ["", "many", "12 x", "-3 4", "1e3", "12345678", "٣"])
def test_what_is_no_count_is_not_guessed(text: str) -> None:
    """The refusal shows how drops are written."""
    with pytest.raises(Unfit, match="12 15 9"):
        count_typed.drops(text)


@pytest.mark.parametrize(
    ("text", "millilitres"),
    [("0.25 ml", 0.25), ("0.05", 0.05), ("0,05 mL", 0.05), ("0,05", 0.05), ("50 uL", 0.05), ("1 tsp", 5.0)],
)
def test_a_drop_is_in_millilitres_unless_it_is_said(text: str, millilitres: float) -> None:
    """A bare number is mL, a comma is a decimal one, and what is written reads back."""
    assert count_typed.drop_ml(text) == millilitres
    assert count_typed.drop_ml(count_typed.written(millilitres)) == millilitres


@pytest.mark.parametrize("text", ["", "2 g", "0", "-1 ml", "a drop"])
def test_what_is_no_drop_is_refused(text: str) -> None:
    """The refusal shows how a drop is written."""
    with pytest.raises(Unfit, match=r"0\.05 mL"):
        count_typed.drop_ml(text)


@pytest.mark.parametrize(("text", "times"), [("10", 10), ("10x", 10), ("x 2.5", 2.5), ("4 times", 4), ("", 1)])
def test_dilution_is_a_number_of_times(text: str, times: float) -> None:
    """With or without the word for it; nothing is not diluted."""
    assert count_typed.dilution(text) == times


@pytest.mark.parametrize("text", ["1:10", "1,000", "much"])
def test_a_dilution_that_could_mean_two_things_is_refused(text: str) -> None:
    """The refusal says what the number means."""
    with pytest.raises(Unfit, match="100 mL"):
        count_typed.dilution(text)


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (0, "0"),
        (0.0123456, "0.0123"),
        (4.849, "4.85"),
        (99.96, "100"),
        (571_129.4, "571 000"),
        (1_234_567.0, "1 230 000"),
    ],
)
def test_numbers_do_not_pretend_to_be_exact(value: float, told: str) -> None:
    """Three digits, thousands apart."""
    assert rough(value) == told


@pytest.mark.parametrize(
    ("share", "told"), [(0.0, "0 %"), (0.0021, "0.21 %"), (0.0838, "8.4 %"), (0.716, "72 %"), (4.8, "480 %")]
)
def test_a_small_share_is_not_rounded_to_nothing(share: float, told: str) -> None:
    """Two digits below a tenth, whole per cent above, and never cut off at 100."""
    assert percent(share) == told


def test_a_number_is_not_broken_on_a_page() -> None:
    """Only the blanks between thousands and before a unit are held together."""
    held = words.unbroken("About 1 230 000 in 1.5 L, 25 g/L. 8 chances in 10: 571 000 to 900 000, from 12 15 9.")
    assert held.replace("\N{NO-BREAK SPACE}", "_") == (
        "About 1_230_000 in 1.5_L, 25_g/L. 8 chances in 10: 571_000 to 900_000, from 12 15 9."
    )


def test_the_gravest_note_comes_first() -> None:
    """Badly mixed, then more than all, then how to be surer, then what the share rests on."""
    told = view(document(reckon(Sample(Drops.of((2, 20, 71)), 0.25, 10.0, 1.5, 2.0))))
    assert [note.split(":")[0].split(" (")[0] for note in told.notes] == [
        "The drops differ more than chance",
        "More than all cysts",
        "To come within 20 % takes about 69 more drops like these",
        "The share hatched takes 270 000 cysts in a gram, as any cysts may have",
    ]


def test_none_counted_is_said_without_a_middle() -> None:
    """Sentence, table and drawing say how many there may be at most."""
    told = view(document(reckon(Sample(Drops.of((0, 0)), 0.05, 1.0, 1.0, 2.0))))
    assert told.text == "None in 2 drops: at most 23 000 in 1 L (9 chances in 10)."
    assert told.chances == "9 chances in 10"
    assert [row.span for row in told.rows][:2] == ["at most 23", "at most 23 000"]
    assert told.picture.text == "From none to 23 000."


def test_the_drawing_keeps_its_order_and_its_room() -> None:
    """Low, middle and high stand in order, and right of them is room for the number."""
    picture = view(document(reckon(Sample(Drops.of((12, 15, 9)), 0.25)))).picture
    assert 1.5 < picture.low < picture.mid < picture.high < 75


@pytest.mark.parametrize(
    ("tin", "given", "basis", "per_g"),
    [
        ("tin-6", None, "tin", 300_000),
        ("tin-6", 310_000.0, "given", 310_000),
        ("tin-7", None, "strain", 240_000),
        ("tin-8", None, "general", 270_000),
        ("tin-9", None, "general", 270_000),
        (None, None, "general", 270_000),
        ("tin-7", 310_000.0, "given", 310_000),
    ],
)
def test_cysts_in_a_gram_come_from_the_best_that_is_known(
    tin: str | None, given: float | None, basis: str, per_g: float
) -> None:
    """As given, else as the tin has it, else of its strain where the table has a figure, else of any cysts; and it says which."""
    tin_6 = {"id": "tin-6", "strain": "Great Salt Lake", "cysts_per_g": 300_000.0}
    bench = {"lots": [tin_6, {"id": "tin-7", "strain": "Great Salt Lake"}, {"id": "tin-8", "strain": "yuncheng"}]}
    cysts = cysts_of(bench, tin, given)
    assert (cysts.basis, cysts.per_g) == (basis, per_g)
