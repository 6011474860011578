from __future__ import annotations

import pytest

from monitor.core.model import HOUR, MINUTE, SECOND
from monitor.store.sequences import REMEMBERED, SequenceWindow

T0 = 1_770_000_000_000


def feed(window: SequenceWindow, readings: list[tuple[int, int, int]]) -> list[tuple[int, int]]:
    """Offer (seq, milli, arrived) one by one; give back (seq, arrived) of those that were new."""
    new = []
    for seq, milli, arrived in readings:
        if not window.repeats(seq, milli, arrived):
            window.note(seq, milli, arrived)
            new.append((seq, arrived))
    return new


def test_a_burst_of_repeats_adds_nothing() -> None:
    """Whatever a broker sends again at once after a reconnect is recognised."""
    window = SequenceWindow()
    first = [(seq, 24_000, T0 + seq * 10 * SECOND) for seq in range(60)]
    assert len(feed(window, first)) == 60
    assert feed(window, [(seq, 24_000, T0 + 11 * MINUTE + seq) for seq in range(60)]) == []


def test_every_message_twice_adds_nothing() -> None:
    """A publisher that sends each message twice, some seconds apart, is stored once."""
    window = SequenceWindow()
    twice = [(seq, 1_000, T0 + seq * 10 * SECOND + lag) for seq in range(30) for lag in (0, 4 * SECOND)]
    assert len(feed(window, twice)) == 30


def test_a_probe_that_counts_anew_loses_one_reading_at_most() -> None:
    """A pump switch that was unplugged starts at 0 again with the same words as before and is heard at once."""
    window = SequenceWindow()
    feed(window, [(seq, 1_000, T0 + seq * 10 * SECOND) for seq in range(60)])
    again = [(seq, 1_000, T0 + 10 * MINUTE + seq * 10 * SECOND) for seq in range(60)]
    assert feed(window, again) == [(seq, arrived) for seq, _, arrived in again[1:]]


def test_the_same_number_with_another_value_is_new() -> None:
    """A number alone is no proof of a repeat."""
    window = SequenceWindow()
    window.note(7, 24_000, T0)
    assert not window.repeats(7, 24_062, T0 + SECOND)
    assert window.repeats(7, 24_000, T0 + SECOND)


@pytest.mark.parametrize(("age", "repeat"), [(HOUR, True), (HOUR + 1, False)])
def test_a_number_is_remembered_for_an_hour(age: int, *, repeat: bool) -> None:
    """After an hour the same number and value is a new reading."""
    window = SequenceWindow()
    window.note(7, 24_000, T0)
    assert window.repeats(7, 24_000, T0 + age) is repeat


def test_memory_is_bounded() -> None:
    """A fast probe cannot make the window grow; the oldest numbers go first."""
    window = SequenceWindow()
    for seq in range(REMEMBERED + 10):
        window.note(seq, 24_000, T0 + seq)
    assert len(window._seen) == REMEMBERED
    assert not window.repeats(9, 24_000, T0 + REMEMBERED + 10)
    assert window.repeats(10, 24_000, T0 + REMEMBERED + 10)


def test_numbers_that_cannot_repeat_leave_memory() -> None:
    """A slow probe is remembered for an hour, however many numbers there is room for."""
    window = SequenceWindow()
    for seq in range(3 * 60):
        window.note(seq, 24_000, T0 + seq * MINUTE)
    assert list(window._seen) == list(range(119, 180))
