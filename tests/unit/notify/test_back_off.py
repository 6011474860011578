from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from monitor.core.model import MINUTE, SECOND
from monitor.notify.outbox import back_off


def test_it_begins_at_seconds_and_ends_at_a_quarter_of_an_hour() -> None:
    """The first retry comes soon, later ones don't wear out the channel."""
    waits = [back_off(tries, letter_id=1) for tries in range(1, 12)]
    assert 3.75 * SECOND <= waits[0] <= 5 * SECOND
    assert 11.25 * MINUTE <= waits[-1] <= 15 * MINUTE
    assert all(later > earlier for earlier, later in pairwise(waits[:9]))


@given(st.integers(0, 10**9), st.integers(0, 2**62))
def test_it_is_bounded_and_repeatable(tries: int, letter_id: int) -> None:
    """However often it failed, the wait stays between seconds and 15 min, and is the same when asked again."""
    wait = back_off(tries, letter_id)
    assert 3.75 * SECOND <= wait <= 15 * MINUTE
    assert back_off(tries, letter_id) == wait


def test_letters_that_failed_together_come_back_apart() -> None:
    """Letters spread over the last quarter of the wait."""
    waits = {back_off(9, letter_id) for letter_id in range(100)}
    assert max(waits) - min(waits) > 3 * MINUTE
