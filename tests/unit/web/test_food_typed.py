"""What is typed about tins and amounts, and that what a form shows reads back as itself."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.model import MINUTE
from monitor.settings.errors import Unfit
from monitor.web import food_typed as typed
from monitor.web.when import rfc3339

NOW = rfc3339("2026-11-02T06:10:00Z")
PLACE = typed.Place(NOW, ZoneInfo("Europe/Berlin"))


@pytest.mark.parametrize(
    ("text", "value"), [("12.50", 12.5), ("12,50", 12.5), ("12.50 EUR", 12.5), ("\N{EURO SIGN} 9", 9.0), ("0", 0.0)]
)
def test_a_price_is_read_as_a_shop_writes_it(text: str, value: float) -> None:
    """With comma or point, with its currency or without."""
    assert typed.price(text) == value


@pytest.mark.parametrize("text", ["", "cheap", "-5", "1.5.2", "1e9", "12 for 3"])
def test_what_is_no_price_is_told_with_an_example(text: str) -> None:
    """Nothing is guessed from half a number."""
    with pytest.raises(Unfit) as told:
        typed.price(text)
    assert "12.50" in told.value.allowed


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("2024-03-02", "2024-03-01T23:00:00Z"),
        ("2026-07-02 06:40", "2026-07-02T04:40:00Z"),
        ("2026-10-25 02:30", "2026-10-25T00:30:00Z"),  # it came twice: the first of the two
        ("2026-07-02T06:40:00Z", "2026-07-02T06:40:00Z"),
        ("2 h ago", "2026-11-02T04:10:00Z"),
        ("now", "2026-11-02T06:10:00Z"),
    ],
)
def test_a_day_of_years_ago_can_be_typed(text: str, instant: str) -> None:
    """A tin is older than any batch."""
    assert typed.past_instant(text, PLACE) == rfc3339(instant)


@pytest.mark.parametrize("text", ["2026-13-01", "2026-11-03", "1960-01-01", "someday", "2026-11-02 25:00"])
def test_a_day_that_cannot_be_meant_is_told(text: str) -> None:
    """It has passed, and it exists."""
    with pytest.raises(Unfit):
        typed.past_instant(text, PLACE)


@given(st.integers(min_value=0, max_value=NOW // MINUTE))
def test_an_instant_that_a_form_shows_reads_back_as_itself(minute: int) -> None:
    """To the minute, in the hour that comes twice as well."""
    assert typed.past_instant(typed.instant_shown(minute * MINUTE, PLACE), PLACE) == minute * MINUTE


@given(st.floats(min_value=1e-3, max_value=1000), st.integers(min_value=1, max_value=999_999_999))
def test_an_amount_that_a_form_shows_reads_back_as_itself(grams: float, many: int) -> None:
    """What was not touched changes nothing."""
    assert typed.mass(typed.grams_shown(grams)) == grams
    assert typed.some(typed.count_shown(many)) == many
