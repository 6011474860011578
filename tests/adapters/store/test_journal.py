from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from monitor.core.log import Discard, Seen, Settle, Sight, Start
from monitor.core.model import DAY, SLOT, AlarmState, Priority, Reading, SlotClosed
from monitor.store import Draft, Letter, Store
from monitor.store.history import Columns

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from monitor.core.log import LogEntry
    from monitor.core.model import Transition

T0 = 1_770_000_000_000
DRAFT = Draft("air-stopped:birch", "Air stopped in birch", "Look at the pump.", Priority.HIGH, T0)


def synchronous(store: Store) -> int:
    (level,) = store._connection.execute("PRAGMA synchronous").fetchone()
    return int(level)


def standing(store: Store) -> tuple[bool, int]:
    return store.urgent, store.pending


def write_letter(store: Store, transition: Transition, channel: str = "phone", draft: Draft = DRAFT) -> Letter:
    return store.enqueue(store.put_alarm(transition), channel, draft)


def test_the_log_comes_back_in_the_order_it_was_logged(path: Path) -> None:
    """Entries are replayed as the keeper made them, not as things happened, saved or still waiting."""
    start = Start(T0, T0 + 5, "ash-2026-02-02", "ash", "tin-7", 2.0, 1.5, 25.0)
    seen = Seen(T0 + 9, T0 + 9, "ash-2026-02-02", Sight.SOME, 0.25)
    late = Discard(T0 + 1, T0 + 20, "ash-2026-02-01", "smelt")
    settle = Settle(T0 + 3, T0 + 3, "ash", T0 + 900_000)
    expected: list[LogEntry] = [settle, start, seen, late]
    with Store.open(path) as store:
        assert [store.log(entry) for entry in (late, start, settle)] == [1, 2, 3]
        store.commit()
        assert store.log(seen) == 4
        assert store.entries() == expected
        store.commit()
    with Store.open(path) as store:
        assert store.entries() == expected
        assert store.log(late) == 5


def test_alarms_stand_until_they_are_normal(path: Path, transition: Callable[..., Transition]) -> None:
    """The bench finds its alarms again after a restart; what is over lives on in the transitions."""
    rung = transition()
    acknowledged = transition(AlarmState.ACKNOWLEDGED, before=AlarmState.UNACKNOWLEDGED, at=T0 + 1)
    other = transition(vessel="ash", at=T0 + 2)
    over = transition(AlarmState.NORMAL, before=AlarmState.ACKNOWLEDGED, at=T0 + 3)
    with Store.open(path) as store:
        for each in (rung, acknowledged, other):
            store.put_alarm(each)
        store.commit()
        assert store.alarms() == [other.alarm, acknowledged.alarm]
    with Store.open(path) as store:
        assert store.alarms() == [other.alarm, acknowledged.alarm]
        store.put_alarm(over)
        assert store.alarms() == [other.alarm]
        assert store.transitions(T0 + 1) == [acknowledged, other, over]
        store.commit()
    with Store.open(path) as store:
        assert store.alarms() == [other.alarm]
        assert store.transitions(0) == [rung, acknowledged, other, over]


def test_only_what_must_not_wait_is_urgent(store: Store, transition: Callable[..., Transition]) -> None:
    """Readings wait for the group commit and spare the card; alarms, letters and log entries are synced to the disk."""
    store.add(Reading("ash-water", T0, 24_000))
    store.remember_delivery(1, 1, b"24")
    store.put_slot(SlotClosed("ash-water", T0, 30, 720_000))
    store.keep("engine", "{}")
    assert standing(store) == (False, 4)
    assert store.commit() == 4
    assert synchronous(store) == 1
    store.add(Reading("ash-water", T0 + 1, 24_000))
    letter = write_letter(store, transition())
    assert standing(store) == (True, 3)
    store.commit()
    assert standing(store) == (False, 0)
    assert synchronous(store) == 2
    store.postpone(letter.id, T0 + 5_000, "refused")
    assert standing(store) == (False, 1)
    store.told(letter.id, T0 + 6_000)
    assert standing(store) == (True, 1)
    store.commit()
    store.log(Settle(T0, T0, "ash", T0 + 900_000))
    assert standing(store) == (True, 1)


def test_a_commit_of_nothing_is_nothing(store: Store) -> None:
    """An idle tick writes nothing."""
    assert store.commit() == 0


def test_a_letter_waits_until_it_is_told(path: Path, transition: Callable[..., Transition]) -> None:
    """A letter keeps its words, tries, next try and token over restarts, and goes when it is told."""
    with Store.open(path) as store:
        letter = write_letter(store, transition())
        assert (letter.title, letter.body, letter.channel) == ("Air stopped in birch", "Look at the pump.", "phone")
        assert (letter.tries, letter.next_try, letter.transition_id) == (0, T0, 1)
        assert store.due(T0) == [letter]
        assert store.due(T0 - 1) == []
        store.commit()
        store.postpone(letter.id, T0 + 5_000, "refused")
        store.commit()
    with Store.open(path) as store:
        assert store.due(T0 + 4_999) == []
        (again,) = store.due(T0 + 5_000)
        assert (again.token, again.tries) == (letter.token, 1)
        store.told(again.id, T0 + 5_000)
        assert store.due(T0 + DAY) == []
        store.commit()
    with Store.open(path) as store:
        assert store.undelivered() == []
        with pytest.raises(KeyError):
            store.told(letter.id, T0)


def test_a_letter_told_before_its_first_commit(path: Path, transition: Callable[..., Transition]) -> None:
    """A letter that went out while the disk took nothing is on record as told."""
    with Store.open(path) as store:
        store.told(write_letter(store, transition()).id, T0)
        store.commit()
    with Store.open(path) as store:
        assert store.undelivered() == []
        assert store._connection.execute("SELECT state, told FROM outbox").fetchall() == [("told", T0)]


def test_the_most_pressing_letter_goes_first(store: Store) -> None:
    """High before low, then by time."""
    low = store.enqueue(None, "phone", Draft("batch-ready:ash", "Ready", "", Priority.LOW, T0))
    later = store.enqueue(None, "phone", Draft("too-hot:ash", "Hot", "", Priority.HIGH, T0 + 2))
    first = store.enqueue(None, "phone", Draft("air-stopped:ash", "Air", "", Priority.HIGH, T0 + 1))
    assert store.due(T0 + 9) == [first, later, low]


def test_a_letter_about_nothing_is_refused(store: Store) -> None:
    """A wrong transition is found at once and spoils no commit."""
    with pytest.raises(ValueError, match="no transition 5"):
        store.enqueue(5, "phone", DRAFT)
    assert store.pending == 0


def test_old_letters_are_cleared_away(store: Store, transition: Callable[..., Transition]) -> None:
    """Told and given up letters stay 30 days; waiting ones stay however old."""
    told, given_up, waiting = (write_letter(store, transition(), channel) for channel in ("phone", "mail", "bell"))
    store.told(told.id, T0)
    store.give_up(given_up.id, "gone")
    store.commit()
    new = write_letter(store, transition(at=T0 + 29 * DAY), draft=Draft("a", "b", "c", Priority.LOW, T0 + 29 * DAY))
    store.told(new.id, T0 + 30 * DAY)
    store.commit()
    assert len(store._connection.execute("SELECT id FROM outbox").fetchall()) == 4
    another = write_letter(store, transition(), "mail")
    store.told(another.id, T0 + 30 * DAY + 1)
    store.commit()
    left = [number for (number,) in store._connection.execute("SELECT id FROM outbox ORDER BY id")]
    assert left == [waiting.id, new.id]
    assert store.undelivered() == [waiting]


def test_slots_of_history(path: Path) -> None:
    """A slot is kept, grows by readings that come late, and is found from an instant on."""
    first = SlotClosed("ash-water", T0, 30, 720_000)
    second = SlotClosed("birch-water", T0 + 300_000, 29, 700_000)
    late = SlotClosed("ash-water", T0, 1, 24_000)
    grown = SlotClosed("ash-water", T0, 31, 744_000)
    with Store.open(path) as store:
        store.put_slot(first)
        store.put_slot(second)
        store.commit()
        store.put_slot(late)
        assert store.slots(0) == [grown, second]
        assert store.slots(T0 + 1) == [second]
        store.commit()
    with Store.open(path) as store:
        assert store.slots(0) == [grown, second]


def test_history_comes_probe_by_probe(path: Path) -> None:
    """Of each its own slots in order of time, whoever was first to tell; cold water below zero and nothing at all, too."""
    probes = ("birch-water", "ash-water", "fridge")
    told = [SlotClosed(name, T0 + n * 300_000, 1 + n, (n - 3) * 1000) for n in (2, 0, 5, 1) for name in probes]
    with Store.open(path) as store:
        assert list(store.past(0)) == []
        for one in told:
            store.put_slot(one)
        store.commit()
        found = {name: rows.tolist() for name, rows in store.past(T0 + 1)}
    times = (1, 2, 5)
    assert found == {name: [[T0 + n * 300_000, 1 + n, (n - 3) * 1000] for n in times] for name in probes}


def test_history_read_before_may_come_in_any_order(path: Path) -> None:
    """As the text of each column has it, counted from a slot of its own: probe by probe all the same."""
    with Store.open(path) as store:
        for name in ("birch-water", "ash-water"):
            store.put_slot(SlotClosed(name, T0, 1, 1))
        store.commit()
        birch = next(name for name, _ in store.past(0))
        columns = Columns(100, "2,1,1,2", "3,9,0,1", "6,7,8,9", "-1,2,-3,4")
        found = {name: rows.tolist() for name, rows in store.past(T0, columns)}
    other = {"birch-water": "ash-water", "ash-water": "birch-water"}[birch]
    assert found == {
        birch: [[100 * SLOT, 8, -3], [109 * SLOT, 7, 2]],
        other: [[101 * SLOT, 9, 4], [103 * SLOT, 6, -1]],
    }


def test_the_newest_twenty_unreadable_messages_stay(path: Path) -> None:
    """A probe that only sends rubbish keeps twenty heads of messages, with the reasons, and no more."""
    with Store.open(path) as store:
        for step in range(33):
            store.quarantine("ash-water", T0 + step, f"no number: {step}", b"x" * 600)
            if step in (3, 25):
                store.commit()
        store.quarantine("birch-water", T0, "bad \ud83d text", b"\xff")
        store.commit()
        kept = store.quarantined("ash-water")
        assert [each.time - T0 for each in kept] == list(range(13, 33))
        assert kept[0].payload == b"x" * 512
        assert store._connection.execute("SELECT count(*) FROM quarantine").fetchone() == (21,)
    with Store.open(path) as store:
        assert store.quarantined("ash-water") == kept
        assert store.quarantined("birch-water")[0].reason == "bad ? text"
        assert store.quarantined("cedar-water") == []
        store.quarantine("ash-water", T0 + 99, "no number", b"")
        store.commit()
        assert [each.time - T0 for each in store.quarantined("ash-water")] == [*range(14, 33), 99]
    with Store.open(path) as store:
        assert [each.time - T0 for each in store.quarantined("ash-water")] == [*range(14, 33), 99]


def test_what_is_kept_under_a_key(path: Path) -> None:
    """The newest text under a key is found again."""
    with Store.open(path) as store:
        assert store.kept("engine") is None
        store.keep("engine", '{"a": 1}')
        store.commit()
        store.keep("engine", '{"a": 2}')
        assert store.kept("engine") == '{"a": 2}'
        store.commit()
    with Store.open(path) as store:
        assert store.kept("engine") == '{"a": 2}'
