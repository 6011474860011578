from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from monitor.core.model import MINUTE
from monitor.web import words
from monitor.web.when import rfc3339

BERLIN = ZoneInfo("Europe/Berlin")
NOW = rfc3339("2026-03-02T01:10:00Z")  # Monday 02:10 in Berlin


@pytest.mark.parametrize(
    ("instant", "said"),
    [
        ("2026-03-02T05:40:00Z", "today 06:40"),
        ("2026-03-03T12:00:00Z", "Tue 13:00"),
        ("2026-03-01T22:10:00Z", "Sun 23:10"),
        ("2026-03-08T11:00:00Z", "Sun 12:00"),
        ("2026-03-09T11:00:00Z", "9 Mar 12:00"),
        ("2026-02-20T11:00:00Z", "20 Feb 12:00"),
    ],
)
def test_times_are_told_with_a_day_word_in_the_zone_of_the_site(instant: str, said: str) -> None:
    """A time is never ambiguous about its day."""
    assert words.moment(rfc3339(instant), NOW, BERLIN) == said


def test_the_hour_that_comes_twice_carries_the_letters_of_its_zone() -> None:
    """02:30 on the night the clocks go back says which of the two it is; other hours stay short."""
    first, second = rfc3339("2026-10-25T00:30:00Z"), rfc3339("2026-10-25T01:30:00Z")
    assert words.clock(first, BERLIN) == "02:30 CEST"
    assert words.clock(second, BERLIN) == "02:30 CET"
    assert words.clock(second + 60 * MINUTE, BERLIN) == "03:30"
    assert words.clock(rfc3339("2026-03-29T01:30:00Z"), BERLIN) == "03:30"


@pytest.mark.parametrize(
    ("milliseconds", "said"),
    [
        (-5, "0 s"),
        (59_999, "59 s"),
        (60_000, "1 min"),
        (3_600_000, "1 h"),
        (7_800_000, "2 h 10 min"),
        (36_600_000, "10 h"),
        (172_800_000, "2 days"),
    ],
)
def test_lengths_of_time_are_told_in_one_or_two_units(milliseconds: int, said: str) -> None:
    """Ages read at a glance."""
    assert words.duration(milliseconds) == said


def test_ranges_say_the_day_once_and_open_ends_in_words() -> None:
    """A range that never ends says so."""
    early, late = rfc3339("2026-03-02T04:10:00Z"), rfc3339("2026-03-02T07:30:00Z")
    assert words.between(early, late, NOW, BERLIN) == "today 05:10 to 08:30"
    assert words.between(early, late + 24 * 60 * MINUTE, NOW, BERLIN) == "today 05:10 to Tue 08:30"
    assert words.between(early, None, NOW, BERLIN) == "today 05:10 or later, or never"
    assert words.between(None, None, NOW, BERLIN) == "not in sight"


def test_shares_round_and_join() -> None:
    """A range of shares says one number when both ends round to it."""
    assert words.shares(0.2, 0.451) == "20 to 45 %"
    assert words.shares(0.2, 0.204) == "20 %"
    assert words.shares(None, 0.2) == "not known"
    assert words.percent(1.7) == "100 %"


def test_numbers_have_no_minus_before_nothing() -> None:
    """-0.04 C is shown as 0.0, frost with a real minus."""
    assert words.number(-0.04) == "0.0"
    assert words.number(-3.26) == "\N{MINUS SIGN}3.3"
    assert words.number(2.0, 2) == "2"
    assert words.number(0.25, 2) == "0.25"


def test_instants_round_to_five_minutes_outwards_for_bounds() -> None:
    """Rounding never narrows a range."""
    instant = rfc3339("2026-03-02T04:12:31Z")
    assert words.about(instant, -1) <= instant <= words.about(instant, 1)
    assert words.about(instant, 1) - words.about(instant, -1) == 5 * MINUTE
    assert abs(words.about(instant) - instant) <= 150_000
