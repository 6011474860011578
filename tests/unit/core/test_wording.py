from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Ms, Span
from monitor.core.wording import clock, clock_range, duration, local_date, meals, minutes_range, next_meal, rfc3339

ZONES = ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe"]


def at(text: str) -> Ms:
    return int(datetime.fromisoformat(text).timestamp() * 1000)


def local(time: Ms, zone: str) -> datetime:
    return datetime.fromtimestamp(time / 1000, ZoneInfo(zone))


# Nights in which clocks change, each with a time of day that is skipped or comes twice.
NIGHTS = [
    ("Europe/Berlin", "2026-03-29", 150, "2026-03-29T01:30:00Z"),  # 02:30 is skipped
    ("Europe/Berlin", "2026-10-25", 150, "2026-10-25T00:30:00Z"),  # 02:30 comes twice
    ("America/New_York", "2026-03-08", 150, "2026-03-08T07:30:00Z"),
    ("America/New_York", "2026-11-01", 90, "2026-11-01T05:30:00Z"),
    ("Australia/Lord_Howe", "2026-10-04", 135, "2026-10-03T15:45:00Z"),  # the clock jumps by half an hour
    ("Australia/Lord_Howe", "2026-04-05", 105, "2026-04-04T14:45:00Z"),
]


@pytest.mark.parametrize(("zone", "day", "minute", "instant"), NIGHTS)
def test_a_meal_in_the_night_of_the_change_is_fed_once(zone: str, day: str, minute: int, instant: str) -> None:
    """A time of day that is skipped or comes twice is one meal, at the instant the old clock would have shown it."""
    begin = at(f"{day}T00:00:00+00:00") - DAY
    found = meals(zone, (minute,), begin, begin + 3 * DAY)
    assert len(found) == 3
    assert [rfc3339(meal) for meal in found if abs(meal - at(instant)) < 12 * HOUR] == [instant]


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("times", [(420,), (420, 1080), (0, 1439), (150, 210), (120, 150, 180, 210)])
def test_no_meal_is_doubled_or_skipped_in_a_year(zone: str, times: tuple[int, ...]) -> None:
    """Over a year with both changes there is each meal on each day, and no two at one instant."""
    begin = at("2026-01-01T12:00:00Z")
    found = meals(zone, times, begin, begin + 365 * DAY)
    assert found == sorted(set(found))
    days: dict[date, list[Ms]] = {}
    for meal in found:
        days.setdefault(local(meal, zone).date(), []).append(meal)
    full = [day for day in days if day not in (min(days), max(days))]
    assert len(full) >= 363
    short = [day for day in full if len(days[day]) != len(times)]
    assert len(short) <= 1, "only two times that the changing clock makes one may be one meal"


@pytest.mark.parametrize("zone", ZONES)
def test_a_meal_by_day_is_at_its_time_of_day(zone: str) -> None:
    """Seven in the morning is seven in the morning, summer and winter."""
    begin = at("2026-01-01T12:00:00Z")
    assert {local(meal, zone).strftime("%H:%M") for meal in meals(zone, (420,), begin, begin + 365 * DAY)} == {"07:00"}


@given(
    st.sampled_from(ZONES),
    st.lists(st.integers(0, 1439), min_size=1, max_size=4, unique=True),
    st.integers(0, 400 * 24 * 60),
    st.integers(0, 4 * 24 * 60),
    st.integers(0, 4 * 24 * 60),
)
def test_meals_of_two_spans_are_those_of_both(zone: str, times: list[int], start: int, one: int, other: int) -> None:
    """Cutting a span of time in two cuts its meals in two: none is lost at the seam, none is in both halves."""
    begin = at("2026-01-01T00:00:00Z") + start * MINUTE
    seam, end = begin + one * MINUTE, begin + (one + other) * MINUTE
    minutes = tuple(sorted(times))
    assert meals(zone, minutes, begin, seam) + meals(zone, minutes, seam, end) == meals(zone, minutes, begin, end)


def test_the_beginning_belongs_to_the_span_and_the_end_does_not() -> None:
    """A meal at the first instant counts, one at the last does not."""
    seven = at("2026-03-02T07:00:00+01:00")
    assert meals("Europe/Berlin", (420,), seven, seven + DAY) == [seven]
    assert meals("Europe/Berlin", (), seven, seven + DAY) == []


def test_the_next_meal() -> None:
    """The first meal at or after an instant; none after the last."""
    assert [next_meal([10, 20], time) for time in (5, 10, 11, 20, 21)] == [10, 10, 20, 20, None]


def test_instants_are_written_in_utc() -> None:
    """RFC 3339 with Z and whole seconds, rounded down, also before 1970."""
    assert rfc3339(at("2026-03-02T05:10:59Z") + 999) == "2026-03-02T05:10:59Z"
    assert rfc3339(-1) == "1969-12-31T23:59:59Z"


@pytest.mark.parametrize(
    ("time", "said"),
    [
        ("2026-03-02T05:10:00Z", "06:10"),
        ("2026-03-01T23:30:00Z", "00:30"),
        ("2026-03-01T22:30:00Z", "Sun 23:30"),
        ("2026-03-04T06:00:00Z", "Wed 07:00"),
        ("2026-03-09T06:00:00Z", "09 Mar 07:00"),
        ("2026-02-20T06:00:00Z", "20 Feb 07:00"),
    ],
)
def test_a_time_of_day_says_its_day_when_that_is_not_today(time: str, said: str) -> None:
    """Today is the time alone, this week has the weekday, all else the date; today is where the site is."""
    assert clock(at(time), "Europe/Berlin", at("2026-03-02T12:00:00Z")) == said


def test_the_local_date_is_where_the_site_is() -> None:
    """Half past eleven at night in UTC is the next day in Berlin and on Lord Howe, and the same in New York."""
    assert [local_date(at("2026-03-01T23:30:00Z"), zone) for zone in ZONES] == [
        "2026-03-02",
        "2026-03-01",
        "2026-03-02",
    ]


def test_ranges_say_when_an_end_is_open() -> None:
    """An end that never comes is told as such."""
    now = at("2026-03-02T05:00:00Z")
    spans = [Span(now, now + HOUR, now + 2 * HOUR), Span(now, now + HOUR, None), Span(None, None, None)]
    assert [clock_range(span, "Europe/Berlin", now) for span in spans] == [
        "07:00 (06:00 to 08:00)",
        "07:00 (06:00 to not in sight)",
        "not in sight",
    ]


@pytest.mark.parametrize(
    ("length", "said"),
    [
        (-5, "0 s"),
        (90 * SECOND, "90 s"),
        (2 * MINUTE, "2 min"),
        (119 * MINUTE, "119 min"),
        (2 * HOUR, "2 h"),
        (2 * HOUR + 20 * MINUTE, "2.5 h"),
        (48 * HOUR, "2 days"),
    ],
)
def test_a_length_has_one_unit(length: Ms, said: str) -> None:
    """A length of time is told in the one unit a person would use."""
    assert duration(length) == said


@pytest.mark.parametrize(
    ("span", "said"),
    [
        (Span(6.9, 10, 20.2), "6-20 min"),
        (Span(90, 150, 240), "90 min to 4 h"),
        (Span(30, 60, None), "at least 30 min"),
        (Span(800, 900, 1000), "more than 12 h"),
        (Span(None, None, None), "a day or more"),
    ],
)
def test_minutes_left_are_never_rounded_up(span: Span, said: str) -> None:
    """How long the oxygen lasts is told as a range whose low end is never more than is believed."""
    assert minutes_range(span) == said


def test_a_day_is_not_always_24_hours() -> None:
    """Between the meals around the spring change lie 23 hours, around the autumn change 25."""
    zone = "Europe/Berlin"
    for noon, hours in (("2026-03-28T12:00:00Z", 23), ("2026-10-24T12:00:00Z", 25)):
        begin = at(noon) - 6 * HOUR
        first, second = meals(zone, (720,), begin, begin + 36 * HOUR)
        assert timedelta(milliseconds=second - first) == timedelta(hours=hours)
        assert datetime.fromtimestamp(first / 1000, UTC).minute == 0


def test_a_year_is_written_in_four_figures() -> None:
    """RFC 3339 knows no shorter ones, however long ago."""
    assert rfc3339(-49_602_742_055_000) == "0398-02-25T04:32:25Z"
    assert rfc3339(1_772_434_800_999) == "2026-03-02T07:00:00Z"
