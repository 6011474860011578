from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.log import Chill, Discard, Emptied, Harvest, Lapse, LogEntry, Seen, Settle, Sight, Start, Undo, Work
from monitor.core.model import SECOND, Alarm, AlarmState, Priority, Quality, Reading, Transition
from monitor.store.letters import Draft
from monitor.store.records import (
    ENTRY_KINDS,
    LARGEST,
    LAST_TIME,
    MOST_AT_ONCE,
    MOST_SERIES,
    begin_of,
    check_storable,
    entry_from_record,
    entry_to_record,
    from_row,
    plain,
    reason_of,
    to_row,
    transition_from_record,
    transition_to_record,
)

MS = st.integers(0, 4_000_000_000_000)
INTEGER = st.integers(-(2**62), 2**62)

READINGS = st.builds(
    Reading,
    probe=st.just("ash-water"),
    time=st.integers(-LAST_TIME, LAST_TIME - 1),
    milli=INTEGER,
    quality=st.sampled_from(Quality),
    reason=st.text(),
    state=st.sampled_from([None, 0, 1, 2]),
    seq=st.none() | INTEGER,
    own_time=st.booleans(),
    arrived=MS,
    n=st.integers(0, MOST_AT_ONCE - 1),
)

FRACTION = st.none() | st.floats(0, 1)
POSITIVE = st.floats(0, 1e6)
ENTRIES: st.SearchStrategy[LogEntry] = st.one_of(
    st.builds(
        Start,
        time=MS,
        logged=MS,
        batch=st.text(),
        vessel=st.text(),
        lot=st.text(),
        cysts_g=POSITIVE,
        litres=POSITIVE,
        salinity_g_l=POSITIVE,
    ),
    st.builds(Seen, time=MS, logged=MS, batch=st.text(), what=st.sampled_from(Sight), fraction=FRACTION),
    st.builds(Harvest, time=MS, logged=MS, batch=st.text(), hatched_fraction=FRACTION, nauplii=st.none() | POSITIVE),
    st.builds(Discard, time=MS, logged=MS, batch=st.text(), reason=st.text()),
    st.builds(Settle, time=MS, logged=MS, vessel=st.text(), until=MS),
    st.builds(
        Chill,
        time=MS,
        logged=MS,
        store=st.text(),
        nauplii=POSITIVE,
        litres=POSITIVE,
        gas=st.sampled_from(["open", "air", "oxygen"]),
        gas_l=POSITIVE,
        aerated=st.booleans(),
        batch=st.text(),
    ),
    st.builds(Emptied, time=MS, logged=MS, store=st.text()),
    st.builds(Work, time=MS, logged=MS, vessel=st.text(), until=MS),
    st.builds(Undo, time=MS, logged=MS, kind=st.text(), subject=st.text(), at=MS),
    st.builds(Lapse, time=MS, logged=MS, batch=st.text()),
)

TRANSITIONS = st.builds(
    Transition,
    time=MS,
    alarm=st.builds(
        Alarm,
        id=st.text(),
        rule=st.text(),
        subject=st.text(),
        priority=st.sampled_from(Priority),
        state=st.sampled_from(AlarmState),
        since=MS,
        changed=MS,
        title=st.text(),
        text=st.text(),
        todo=st.text(),
        reason=st.text(),
        deadline=st.none() | MS,
        told=st.none() | MS,
        again=st.none() | MS,
        until=st.none() | MS,
    ),
    before=st.sampled_from(AlarmState),
    notify=st.booleans(),
    reason=st.text(),
)


@given(READINGS, st.integers(1, 1_000_000))
def test_a_reading_comes_back_exactly(reading: Reading, reason: int) -> None:
    """A row holds every field of a reading, whatever the values; when it arrived to the second, counted from its own time."""
    number = reason if reading.reason else 0
    row = to_row(reading, 3, number)
    assert reason_of(row) == number
    back = from_row(row, reading.probe, reading.reason)
    assert replace(back, arrived=reading.arrived) == reading
    if reading.arrived and back.arrived:
        assert 0 <= reading.arrived - back.arrived < SECOND


@given(ENTRIES)
def test_a_log_entry_comes_back_exactly(entry: LogEntry) -> None:
    """Kind and JSON hold every field of a log entry."""
    assert entry_from_record(entry.time, entry.logged, *entry_to_record(entry)) == entry


@given(TRANSITIONS)
def test_a_transition_comes_back_exactly(transition: Transition) -> None:
    """A record holds the alarm as it stood and why."""
    time, alarm, before, after, notify, reason, fields = transition_to_record(transition)
    assert transition_from_record(time, before, notify, reason, fields) == transition
    assert (alarm, after) == (transition.alarm.id, transition.alarm.state)


def test_every_kind_of_log_entry_has_a_word() -> None:
    """A new kind of entry cannot be forgotten in the store."""
    assert set(ENTRY_KINDS.values()) == set(get_args(LogEntry))


@given(READINGS, READINGS)
def test_rows_lie_in_order_of_time(one: Reading, two: Reading) -> None:
    """What identifies a row grows with time, then with n, then with the series."""
    rows = to_row(one, 3, 0), to_row(two, MOST_SERIES, 0)
    assert (rows[0] < rows[1]) == ((one.time, one.n, 3) < (two.time, two.n, MOST_SERIES))
    assert begin_of(one.time) <= rows[0][0] < begin_of(one.time + 1)


@pytest.mark.parametrize(
    ("name", "most"), [("time", LAST_TIME - 1), *((n, LARGEST) for n in ("milli", "seq", "arrived"))]
)
def test_what_no_row_can_hold_is_refused_at_the_door(name: str, most: int) -> None:
    """A number that no column holds must not wait to spoil a whole commit."""
    reading = Reading("ash-water", 1, 24_000)
    check_storable(replace(reading, **{name: most}))  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=f"ash-water: (its )?{name} is"):
        check_storable(replace(reading, **{name: most + 1}))  # type: ignore[arg-type]


def test_half_a_character_becomes_storable() -> None:
    """JSON can carry a lone surrogate, SQLite cannot."""
    assert plain("cold \ud83d snap") == "cold ? snap"


def test_a_token_is_stable_and_tells_letters_apart() -> None:
    """The same transition on the same channel has one token for ever; any other has another."""
    draft = Draft("air-stopped:birch", "Air stopped in birch", "…", Priority.HIGH, 1_770_000_000_000)
    tokens = {
        draft.to_letter(9, 4, "phone").token,
        draft.to_letter(9, 4, "mail").token,
        draft.to_letter(9, 5, "phone").token,
        draft.to_letter(9, None, "phone").token,
    }
    assert len(tokens) == 4
    assert draft.to_letter(9, 4, "phone").token == draft.to_letter(10, 4, "phone").token
