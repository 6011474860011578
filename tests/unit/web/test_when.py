from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.model import DAY, HOUR, MINUTE
from monitor.web.when import NotAnInstant, as_rfc3339, checked, parse_when, rfc3339

BERLIN = ZoneInfo("Europe/Berlin")
NOW = rfc3339("2026-03-02T05:10:00Z")  # 06:10 in Berlin


@given(st.integers(min_value=0, max_value=4_102_444_800_000))
def test_an_instant_written_as_rfc_3339_reads_back_as_itself(instant: int) -> None:
    """Writing and reading lose no millisecond."""
    assert rfc3339(as_rfc3339(instant)) == instant


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("2026-03-02T06:40:00+01:00", "2026-03-02T05:40:00Z"),
        ("2026-03-02T00:10:00-05:30", "2026-03-02T05:40:00Z"),
        ("2026-03-02 05:40:00.000Z", "2026-03-02T05:40:00Z"),
        ("2026-03-02t05:40:00z", "2026-03-02T05:40:00Z"),
    ],
)
def test_offsets_are_taken_into_account(text: str, same: str) -> None:
    """The zone of a time changes its instant, not its worth."""
    assert as_rfc3339(rfc3339(text)) == same


@pytest.mark.parametrize(
    "text", ["2026-03-02T06:40:00", "2026-03-02", "2026-02-30T00:00:00Z", "x", "", "2026-03-02T25:00:00Z", "1772429400"]
)
def test_times_without_zone_or_sense_are_refused(text: str) -> None:
    """A naive time is refused rather than guessed at."""
    with pytest.raises(NotAnInstant):
        rfc3339(text)


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("", "2026-03-02T05:10:00Z"),
        ("now", "2026-03-02T05:10:00Z"),
        ("06:00", "2026-03-02T05:00:00Z"),
        ("6:00", "2026-03-02T05:00:00Z"),
        ("23:10", "2026-03-01T22:10:00Z"),
        ("yesterday 06:00", "2026-03-01T05:00:00Z"),
        ("20 min ago", "2026-03-02T04:50:00Z"),
        ("2 h ago", "2026-03-02T03:10:00Z"),
        ("1.5 hours ago", "2026-03-02T03:40:00Z"),
        ("1,5 h ago", "2026-03-02T03:40:00Z"),
        ("2026-03-02T04:00:00+01:00", "2026-03-02T03:00:00Z"),
    ],
)
def test_what_a_keeper_types_is_the_latest_such_time_that_has_passed(said: str, meant: str) -> None:
    """A bare clock time never lies ahead."""
    assert as_rfc3339(parse_when(said, NOW, BERLIN)) == meant


@pytest.mark.parametrize("said", ["today 09:00", "25:00", "soon", "2026-03-02T09:00:00Z", "2025-01-01T00:00:00Z"])
def test_times_ahead_long_past_or_unclear_are_refused_with_what_is_allowed(said: str) -> None:
    """A slip of the finger is told, not logged."""
    with pytest.raises(NotAnInstant, match=r"future|allowed|60 days"):
        parse_when(said, NOW, BERLIN)


@pytest.mark.parametrize(
    ("zone", "now", "said", "meant"),
    [
        # Autumn: 02:30 came twice; the second time once it has passed, else the first.
        ("Europe/Berlin", "2026-10-25T05:00:00Z", "02:30", "2026-10-25T01:30:00Z"),
        ("Europe/Berlin", "2026-10-25T01:10:00Z", "02:30", "2026-10-25T00:30:00Z"),
        ("America/New_York", "2026-11-01T09:00:00Z", "01:30", "2026-11-01T06:30:00Z"),
        ("Australia/Lord_Howe", "2026-04-04T18:00:00Z", "01:45", "2026-04-04T15:15:00Z"),
    ],
)
def test_the_hour_that_comes_twice_is_taken_the_last_time_it_has_passed(
    zone: str, now: str, said: str, meant: str
) -> None:
    """On the night the clocks go back a clock time means its newest occurrence."""
    assert as_rfc3339(parse_when(said, rfc3339(now), ZoneInfo(zone))) == meant


def test_the_hour_that_never_came_is_refused() -> None:
    """On the night the clocks go forward an hour is missing, and the keeper is told."""
    with pytest.raises(NotAnInstant, match="did not exist"):
        parse_when("02:30", rfc3339("2026-03-29T06:00:00Z"), BERLIN)


def test_a_keepers_clock_may_be_a_minute_ahead() -> None:
    """Small skew between two clocks does not refuse an entry, more does."""
    assert checked(NOW + MINUTE, NOW) == NOW + MINUTE
    with pytest.raises(NotAnInstant):
        checked(NOW + MINUTE + 1, NOW)
    with pytest.raises(NotAnInstant):
        checked(NOW - 60 * DAY - HOUR, NOW)
