"""The decoder for bare text."""

from __future__ import annotations

import pytest

from monitor.core.model import Measures, Sample
from monitor.intake.binding import Binding
from monitor.intake.decode import LARGEST, Unreadable, decode

WATER = Binding("shed/ash/water", "ash-water", "number", Measures.WATER)
AIR = Binding("shed/ash/air", "ash-air", "number", Measures.AIR, is_word=True)


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b"21.4", 21.4),
        (b" 21.4\r\n", 21.4),
        (b"-0.5", -0.5),
        (b"+7", 7.0),
        (b"5.", 5.0),
        (b".5", 0.5),
        (b"2.14e1", 21.4),
        (b"1E3", 1000.0),
        (b"-127", -127.0),
        (b"1000000000", 1e9),
    ],
)
def test_decimal_numbers_are_read(payload: bytes, value: float) -> None:
    """A decimal number with a point, a sign or an exponent is read as it stands."""
    assert decode(payload, WATER, 0) == [Sample(value=value)]


@pytest.mark.parametrize(
    ("payload", "kind"),
    [
        (b"", "empty"),
        (b"  \n", "empty"),
        (b"nan", "syntax"),
        (b"inf", "syntax"),
        (b"-Infinity", "syntax"),
        (b"0x10", "syntax"),
        (b"1_000", "syntax"),
        (b"21.4 C", "syntax"),
        (b"21.4.1", "syntax"),
        (b"--1", "syntax"),
        ("٢١".encode(), "syntax"),
        (b"1" * 65, "syntax"),
        (b"1e308", "range"),
        (b"1e999", "range"),
        (b"-1000000001", "range"),
        (b"\xff\xfe", "encoding"),
        (b"9" * (LARGEST + 1), "oversize"),
        (b"x" * 1_000_000, "oversize"),
    ],
)
def test_anything_else_is_refused(payload: bytes, kind: str) -> None:
    """What is no decimal number a probe can mean is refused under the kind it is counted by."""
    with pytest.raises(Unreadable) as refused:
        decode(payload, WATER, 0)
    assert refused.value.kind == kind


def test_a_decimal_comma_is_refused_with_advice() -> None:
    """A comma could part two numbers, so it is refused and the keeper is told to write a point."""
    with pytest.raises(Unreadable, match=r"'21,4' is not a decimal number; write the decimal point as a point"):
        decode(b"21,4", WATER, 0)


def test_the_configured_unit_is_applied() -> None:
    """A value in Fahrenheit becomes Celsius by scale and offset."""
    fahrenheit = Binding("t", "p", "number", Measures.WATER, scale=5 / 9, offset=-160 / 9, unit="degF")
    (sample,) = decode(b"78", fahrenheit, 0)
    assert sample.value == pytest.approx(25.5556, abs=1e-4)


def test_a_unit_cannot_lift_a_value_over_the_limit() -> None:
    """The limit holds after the unit was applied, too."""
    with pytest.raises(Unreadable) as refused:
        decode(b"1000000", Binding("t", "p", "number", Measures.AIR, scale=1e6), 0)
    assert refused.value.kind == "range"


@pytest.mark.parametrize(
    ("payload", "running"), [(b"on", True), (b" RUNNING\n", True), (b"1", True), (b"Off", False), (b"stopped", False)]
)
def test_air_words_are_read_in_any_case(payload: bytes, running: bool) -> None:
    """A word for running or stopped is known whatever its case and the blanks around it."""
    assert decode(payload, AIR, 0) == [Sample(running=running)]


@pytest.mark.parametrize("payload", [b"weak", b" LOW\r\n"])
def test_weak_air_is_running_air_with_a_remark(payload: bytes) -> None:
    """A word for weak air says that it runs, and that it is weak."""
    assert decode(payload, AIR, 0) == [Sample(running=True, weak=True)]


def test_an_unknown_air_word_names_the_known_ones() -> None:
    """The refusal of a word lists the words that would have been understood."""
    with pytest.raises(Unreadable, match=r"'maybe' is none of the words .*off.*running.*weak") as refused:
        decode(b"maybe", AIR, 0)
    assert refused.value.kind == "word"


def test_own_words_replace_the_usual_ones() -> None:
    """A probe with words of its own understands those and no others."""
    own = Binding("t", "p", "number", Measures.AIR, words_on=frozenset({"läuft"}), words_off=frozenset(), is_word=True)
    assert decode("LÄUFT".encode(), own, 0) == [Sample(running=True)]
    with pytest.raises(Unreadable):
        decode(b"on", own, 0)


def test_a_long_text_is_cut_in_the_reason() -> None:
    """A reason stays short however long the message was."""
    with pytest.raises(Unreadable) as refused:
        decode(b"x" * 60_000, WATER, 0)
    assert len(refused.value.reason) < 120
