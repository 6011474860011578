from __future__ import annotations

from itertools import pairwise
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from monitor.core.model import HOUR, MINUTE
from monitor.web.band import make_band
from monitor.web.when import rfc3339

BERLIN = ZoneInfo("Europe/Berlin")
NOW = rfc3339("2026-03-02T01:10:00Z")
MEALS = [NOW + (4 * 60 + 50 + step * 720) * MINUTE for step in range(6)]
HOURS = st.integers(min_value=-20, max_value=100)


@given(low=HOURS, to_mid=st.integers(0, 30), to_high=st.integers(0, 30), zone=st.sampled_from(["Europe/Berlin", "UTC"]))
def test_everything_on_the_band_lies_within_it_and_in_order(low: int, to_mid: int, to_high: int, zone: str) -> None:
    """No range, however odd, draws outside of the band, and the mark lies inside its range."""
    first, mid, last = NOW + low * HOUR, NOW + (low + to_mid) * HOUR, NOW + (low + to_mid + to_high) * HOUR
    band = make_band(first, mid, last, MEALS, NOW, ZoneInfo(zone))
    if last <= NOW:
        assert band is None
        return
    assert band is not None
    assert band.x >= 0
    assert band.width > 0
    assert band.x + band.width <= 100
    for mark in (*band.meals, *band.days):
        assert 0 <= mark.x <= 100
    if band.mid is not None:
        assert band.x - 0.1 <= band.mid.x <= band.x + band.width + 0.1


@given(st.lists(st.integers(min_value=0, max_value=2000), max_size=40))
def test_letters_under_the_band_never_overlap(minutes: list[int]) -> None:
    """Feeding times that have no room keep their mark and lose their letters."""
    meals = sorted(NOW + minute * MINUTE for minute in minutes)
    band = make_band(NOW + 5 * HOUR, NOW + 20 * HOUR, NOW + 30 * HOUR, meals, NOW, BERLIN)
    assert band is not None
    assert len(band.meals) == sum(NOW <= meal < NOW + band.hours * HOUR for meal in meals)
    shift = {"start": 0.0, "middle": 8.5, "end": 17.0}
    lefts = [mark.x - shift[mark.anchor] for mark in band.meals if mark.label]
    assert all(right - left >= 16.9 for left, right in pairwise(lefts))


def test_an_end_that_never_comes_leaves_the_band_open() -> None:
    """A range without an end is drawn to the edge and says so in words."""
    band = make_band(NOW + 3 * HOUR, NOW + 9 * HOUR, None, MEALS, NOW, BERLIN)
    assert band is not None
    assert band.open_right
    assert band.x + band.width == 100
    assert "or later, or never" in band.description


def test_nothing_known_draws_nothing() -> None:
    """Without any instant there is no band."""
    assert make_band(None, None, None, MEALS, NOW, BERLIN) is None


def test_the_words_beside_the_band_tell_what_it_shows() -> None:
    """Range, middle and feeding times can be heard as well as seen."""
    band = make_band(NOW + 3 * HOUR, NOW + 5 * HOUR, NOW + 7 * HOUR, MEALS, NOW, BERLIN)
    assert band is not None
    assert band.description == (
        "Ready today 05:10 to 09:10, most likely about today 07:10. Feeding times: today 07:00."
    )


def test_midnight_is_the_one_of_the_site_on_the_night_the_clocks_go_forward() -> None:
    """The line between two days stands at local midnight, also when a day has 23 hours."""
    now = rfc3339("2026-03-28T17:00:00Z")  # 18:00 in Berlin, the night before
    band = make_band(now + HOUR, now + 20 * HOUR, now + 40 * HOUR, [], now, BERLIN)
    assert band is not None
    assert band.hours == 48
    # Midnights are 6 h and 29 h ahead, not 30 h.
    assert [mark.x for mark in band.days] == [round(1.5 + 97 * hours / 48, 1) for hours in (6, 29)]
    assert [mark.full for mark in band.days] == ["Sun begins", "Mon begins"]
