from __future__ import annotations

import threading
from typing import TYPE_CHECKING

import pytest

from monitor.core.dispatch import Kind
from monitor.core.model import DAY, HOUR, MINUTE, Alarm, AlarmState, Ms, Priority, Refused, Transition
from monitor.service.burden import Reporter
from monitor.store import Draft, Store, StoreError
from monitor.store.past import Past, read_past

if TYPE_CHECKING:
    from pathlib import Path

NOW: Ms = 1_772_434_800_000 + 10 * HOUR
NORMAL, RINGS, SEEN = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED


class Still:
    """A clock that stands."""

    speed = None

    def now(self) -> Ms:
        return NOW

    def wall(self) -> Ms:
        return NOW

    def steady(self) -> float:
        return 0.0

    def jumped(self) -> Ms | None:
        return None


def alarm(name: str, state: AlarmState, since: Ms) -> Alarm:
    rule, _, subject = name.partition(":")
    return Alarm(name, rule, subject, Priority.MEDIUM, state, since, since, name, "", "", "")


def tell(store: Store, name: str, at: Ms, *, kind: Kind = Kind.TROUBLE, channel: str = "phone") -> None:
    number = store.put_alarm(Transition(at, alarm(name, RINGS, at), NORMAL, True, "why"))
    letter = store.enqueue(number, channel, Draft(name, name, "", Priority.MEDIUM, at, kind=kind))
    store.told(letter.id, at + 100, at + 50)


def beside(path: Path, since: Ms) -> Past:
    """Read in a thread that does not own the store."""
    found: list[Past] = []
    thread = threading.Thread(target=lambda: found.append(read_past(path, since, since)))
    thread.start()
    thread.join(10)
    return found[0]


def test_what_is_committed_is_read_beside_the_owner(path: Path) -> None:
    """Another thread sees transitions, letters that were taken, and what stands; nothing older, and nothing that waits."""
    with Store.open(path, now=NOW - 3 * DAY) as store:
        tell(store, "cold-snap:ash", NOW - 2 * DAY)
        tell(store, "cold-snap:birch", NOW - HOUR)
        store.enqueue(None, "phone", Draft("waits", "", "", Priority.LOW, NOW))
        store.commit()
        tell(store, "cold-snap:cedar", NOW)
        past = beside(path, NOW - DAY)
    assert [move.alarm.id for move in past.transitions] == ["cold-snap:birch"]
    assert [(one.went, one.channel, one.kind, one.alarms) for one in past.letters] == [
        (NOW - HOUR + 50, "phone", Kind.TROUBLE, ("cold-snap:birch",))
    ]
    assert [one.id for one in past.standing] == ["cold-snap:ash", "cold-snap:birch"]
    assert past.begun == NOW - 3 * DAY


def test_a_look_back_holds_up_no_commit(path: Path) -> None:
    """The owner writes while somebody reads, and reading changes nothing."""
    with Store.open(path, now=NOW - DAY) as store:
        tell(store, "cold-snap:ash", NOW - HOUR)
        store.commit()
        stop = threading.Event()
        failed: list[Exception] = []

        def look() -> None:
            while not stop.is_set():
                try:
                    read_past(path, 0, 0)
                except StoreError as error:
                    failed.append(error)

        reader = threading.Thread(target=look)
        reader.start()
        for n in range(50):
            tell(store, "cold-snap:ash", NOW + n * MINUTE)
            assert store.commit() > 0
        stop.set()
        reader.join(10)
        assert failed == []
        assert len(read_past(path, 0, 0).transitions) == 51


def test_a_store_that_is_not_there_is_a_plain_answer(tmp_path: Path) -> None:
    """The page is told that the record cannot be read, and no empty file is made."""
    reporter = Reporter(str(tmp_path / "none.sqlite3"), "Europe/Berlin", Still())
    with pytest.raises(Refused, match="cannot be read"):
        reporter.report(30)
    assert list(tmp_path.iterdir()) == []


def test_the_report_is_made_of_what_the_store_tells(path: Path) -> None:
    """Alarms, pushes, repeats and ready notices each find their place; the record begins with the store."""
    with Store.open(path, now=NOW - 2 * DAY) as store:
        for n in range(4):
            tell(store, f"cold-snap:v{n}", NOW - HOUR + n * MINUTE)
        tell(store, "ready:ash", NOW - 2 * HOUR)
        tell(store, "weekly-test:site", NOW - 3 * HOUR)
        tell(store, "cold-snap:v0", NOW - HOUR, channel="mail")
        again = Transition(NOW, alarm("cold-snap:v0", RINGS, NOW - HOUR), RINGS, True, "not acknowledged for 2 min")
        letter = store.enqueue(
            store.put_alarm(again), "phone", Draft("cold-snap:v0", "", "", Priority.HIGH, NOW, kind=Kind.REPEAT)
        )
        store.told(letter.id, NOW, NOW)
        store.commit()
        found = Reporter(str(path), "Europe/Berlin", Still()).report(30)
    assert (found["pushes"], found["repeats"], found["ready"], found["channel"]) == (4, 1, 1, "phone")
    assert found["alarms"] == 5
    assert len(found["days"]) == 3
    assert found["floods"][0]["alarms"] == [f"cold-snap:v{n}" for n in range(4)]
    assert {one["name"]: one["kept"] for one in found["targets"]}["A calm week"] is None
