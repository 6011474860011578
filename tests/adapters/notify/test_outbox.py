from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Alarm, AlarmState, Priority, Transition
from monitor.notify import Delivery, Outbox
from monitor.store import Store

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from monitor.store import Letter

T0 = 1_770_000_000_000


class Hands:
    """A notifier whose results come when the test says so."""

    def __init__(self) -> None:
        self.letters: list[Letter] = []

    def deliver(self, letter: Letter) -> None:
        self.letters.append(letter)

    def titles(self) -> list[str]:
        return [letter.title for letter in self.letters]


def carry(outbox: Outbox, hands: Hands, now: int, *, ok: bool = True) -> None:
    """Hand out and settle, one letter after the other, until none is due."""
    while outbox.pump(now, hands):
        outbox.settle(Delivery(hands.letters[-1].id, ok=ok, error="" if ok else "refused"), now)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "swimup.db") as store:
        yield store


def rung(at: int = T0, vessel: str = "birch", priority: Priority = Priority.HIGH, *, notify: bool = True) -> Transition:
    alarm = Alarm(
        id=f"air-stopped:{vessel}",
        rule="air-stopped",
        subject=vessel,
        priority=priority,
        state=AlarmState.UNACKNOWLEDGED,
        since=at,
        changed=at,
        title=f"Air stopped in {vessel}",
        text="",
        todo="",
        reason="",
    )
    return Transition(at, alarm, AlarmState.NORMAL, notify, "held for 60 s")


def over(at: int, vessel: str = "birch", since: int = T0) -> Transition:
    before = rung(since, vessel)
    before = replace(before, time=at)
    return replace(before, alarm=replace(before.alarm, state=AlarmState.RETURNED), before=AlarmState.UNACKNOWLEDGED)


def test_a_transition_goes_to_every_channel(store: Store) -> None:
    """One letter a channel, handed out once, struck off when taken."""
    outbox, hands = Outbox(store), Hands()
    assert outbox.post(rung(), ["phone", "mail"]) == 2
    store.commit()
    assert outbox.pump(T0, hands) == 2
    assert outbox.pump(T0 + 1, hands) == 0
    assert outbox.in_flight == 2
    for letter in hands.letters:
        assert outbox.settle(Delivery(letter.id, ok=True), T0 + 2) == "told"
    assert store.undelivered() == []
    assert outbox.in_flight == 0


def test_a_transition_nobody_needs_to_hear_is_only_recorded(store: Store) -> None:
    """The decision to tell was made before; here it is only carried out."""
    outbox = Outbox(store)
    assert outbox.post(rung(notify=False), ["phone"]) == 0
    assert len(store.transitions(0)) == 1
    assert store.undelivered() == []


def test_a_failed_letter_comes_back_later_and_later(store: Store) -> None:
    """Each failure doubles the wait, from seconds to a quarter of an hour."""
    outbox, hands = Outbox(store), Hands()
    outbox.post(rung(), ["phone"])
    now, waits = T0, []
    for tries in range(12):
        outbox.pump(now, hands)
        assert len(hands.letters) == tries + 1
        assert outbox.settle(Delivery(1, ok=False, error="refused"), now) == "postponed"
        (letter,) = store.undelivered()
        waits.append(letter.next_try - now)
        assert outbox.pump(letter.next_try - 1, hands) == 0
        now = letter.next_try
    assert waits[0] <= 5 * SECOND
    assert 11 * MINUTE < waits[-1] <= 15 * MINUTE
    assert {letter.token for letter in hands.letters} == {hands.letters[0].token}
    assert outbox.failing == {"phone"}


def again(at: int) -> Transition:
    return replace(rung(), time=at, before=AlarmState.UNACKNOWLEDGED, reason="not acknowledged for 2 min")


def test_repeats_do_not_pile_up_behind_a_channel_that_is_down(store: Store) -> None:
    """A repeat takes the place of what still waits of its alarm; what is on its way, other alarms and "over" stay."""
    outbox, hands = Outbox(store), Hands()
    outbox.post(rung(T0 - HOUR), ["phone"])
    outbox.pump(T0 - HOUR, hands)
    outbox.settle(Delivery(1, ok=True), T0 - HOUR)
    outbox.post(over(T0 - MINUTE, since=T0 - HOUR), ["phone"])
    outbox.post(rung(), ["phone"])
    outbox.post(rung(vessel="ash"), ["phone"])
    carry(outbox, hands, T0, ok=False)
    for minutes in (2, 4, 6):
        outbox.post(again(T0 + minutes * MINUTE), ["phone"])
    assert [(letter.title, letter.created) for letter in store.undelivered()] == [
        ("Over: Air stopped in birch", T0 - MINUTE),
        ("Air stopped in ash", T0),
        ("Air stopped in birch", T0 + 6 * MINUTE),
    ]
    outbox.pump(T0 + 6 * MINUTE, hands)
    while hands.letters[-1].created != T0 + 6 * MINUTE:
        outbox.settle(Delivery(hands.letters[-1].id, ok=True), T0 + 6 * MINUTE)
        assert outbox.pump(T0 + 6 * MINUTE, hands) == 1
    outbox.post(again(T0 + 8 * MINUTE), ["phone"])
    assert [letter.created for letter in store.undelivered() if "birch" in letter.title] == [
        T0 + 6 * MINUTE,
        T0 + 8 * MINUTE,
    ]


def test_a_channel_that_asks_for_time_gets_it(store: Store) -> None:
    """After "too many" nothing goes to that channel before it said, not even a new letter; others go on."""
    outbox, hands = Outbox(store), Hands()
    outbox.post(rung(), ["phone"])
    outbox.pump(T0, hands)
    outbox.settle(Delivery(1, ok=False, error="too many", retry_after=60.0), T0)
    outbox.post(rung(T0 + SECOND, "ash"), ["phone", "mail"])
    outbox.pump(T0 + 59 * SECOND, hands)
    assert [letter.channel for letter in hands.letters] == ["phone", "mail"]
    carry(outbox, hands, T0 + 60 * SECOND)
    assert hands.titles()[2:] == ["Air stopped in birch", "Air stopped in ash"]


def test_the_end_never_overtakes_the_beginning(store: Store) -> None:
    """When trouble is over before it could be told, both are told, in order."""
    outbox, hands = Outbox(store), Hands()
    outbox.post(rung(), ["phone"])
    outbox.pump(T0, hands)
    outbox.settle(Delivery(1, ok=False, error="refused"), T0)
    store.postpone(1, T0 + HOUR, "refused")
    outbox.post(over(T0 + MINUTE), ["phone"])
    outbox.post(rung(T0 + 2 * MINUTE), ["phone"])
    carry(outbox, hands, T0 + 2 * MINUTE)
    assert [letter.id for letter in hands.letters] == [1, 1, 2, 3]


def test_what_may_not_overtake_waits_as_long(store: Store) -> None:
    """A letter that fails is not tried again and again because a later one of its alarm is due."""
    outbox, hands = Outbox(store), Hands()
    outbox.post(rung(), ["phone"])
    outbox.post(over(T0 + MINUTE), ["phone"])
    carry(outbox, hands, T0 + MINUTE, ok=False)
    assert [letter.id for letter in hands.letters] == [1]
    carry(outbox, hands, T0 + 2 * MINUTE)
    assert [letter.id for letter in hands.letters] == [1, 1, 2]


def test_a_channel_has_one_letter_in_hand(store: Store) -> None:
    """What a crash can repeat is one letter a channel: the next goes when the one before is struck off."""
    outbox, hands = Outbox(store), Hands()
    for vessel in ("ash", "birch"):
        outbox.post(rung(T0, vessel), ["phone", "mail"])
    assert outbox.pump(T0, hands) == 2
    assert [letter.channel for letter in hands.letters] == ["phone", "mail"]
    assert outbox.pump(T0, hands) == 0


def test_the_most_pressing_alarm_is_handed_out_first(store: Store) -> None:
    """In a bad minute the urgent one does not queue behind the rest."""
    outbox, hands = Outbox(store), Hands()
    outbox.post(rung(T0, "ash", Priority.LOW), ["phone"])
    outbox.post(rung(T0, "birch", Priority.MEDIUM), ["phone"])
    outbox.post(rung(T0, "cedar", Priority.HIGH), ["phone"])
    carry(outbox, hands, T0)
    assert [letter.alarm[-5:] for letter in hands.letters] == ["cedar", "birch", "d:ash"]


def test_when_a_channel_works_again_nothing_waits_any_longer(store: Store) -> None:
    """One letter that gets through brings all the others of its channel at once."""
    outbox, hands = Outbox(store), Hands()
    for vessel in ("ash", "birch", "cedar"):
        outbox.post(rung(T0, vessel), ["phone"])
    carry(outbox, hands, T0, ok=False)
    for number in (1, 2, 3):
        store.postpone(number, T0 + number * HOUR, "refused")
    outbox.pump(T0 + HOUR, hands)
    assert len(hands.letters) == 4
    outbox.settle(Delivery(1, ok=True), T0 + HOUR)
    assert outbox.failing == frozenset()
    carry(outbox, hands, T0 + HOUR)
    assert [letter.id for letter in hands.letters[4:]] == [2, 3]


@pytest.mark.parametrize(
    ("delivery", "later"),
    [
        (Delivery(1, ok=False, error="gone", transient=False), 0),
        (Delivery(1, ok=False, error="refused"), 7 * DAY + 1),
    ],
)
def test_a_letter_without_hope_is_given_up(store: Store, delivery: Delivery, later: int) -> None:
    """A channel that is gone, or a week of failures, ends a letter; it stays on record with the reason."""
    outbox, hands = Outbox(store), Hands()
    outbox.post(rung(), ["phone"])
    outbox.pump(T0 + later, hands)
    assert outbox.settle(delivery, T0 + later) == "given-up"
    assert store.undelivered() == []
    store.commit()
    row = store._connection.execute("SELECT state, error, tries FROM outbox").fetchone()
    assert row == ("given-up", delivery.error, 1)


def test_a_result_that_comes_twice_is_harmless(store: Store) -> None:
    """A late result of a notifier that was replaced changes nothing."""
    outbox, hands = Outbox(store), Hands()
    outbox.post(rung(), ["phone"])
    outbox.pump(T0, hands)
    outbox.recall()
    outbox.pump(T0, hands)
    assert len(hands.letters) == 2
    assert outbox.settle(Delivery(1, ok=True), T0) == "told"
    assert outbox.settle(Delivery(1, ok=True), T0) == "unknown"


def test_what_was_not_told_is_told_after_a_restart(tmp_path: Path) -> None:
    """Letters handed out but not settled before the end are handed out again, with the same token."""
    hands: Any = Hands()
    for _ in range(2):
        with Store.open(tmp_path / "again.db") as store:
            outbox = Outbox(store)
            if not hands.letters:
                outbox.post(rung(), ["phone"])
            store.commit()
            assert outbox.pump(T0, hands) == 1
    assert hands.letters[0] == hands.letters[1]
