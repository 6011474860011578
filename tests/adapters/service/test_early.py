"""Readings that come before the clock is set: with a real store and broker, by a clock that is set by hand."""

from __future__ import annotations

import threading
import time
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.engine import Engine
from monitor.core.model import (
    DAY,
    MINUTE,
    SECOND,
    AirRule,
    ClockSet,
    ClockUnset,
    Measures,
    Ms,
    ProbeSpec,
    Quality,
    Reading,
    Refused,
)
from monitor.intake.binding import Binding
from monitor.intake.incoming import Incoming
from monitor.intake.link import Link
from monitor.service.early import LONGEST_S, MARK, Early, not_set
from monitor.service.ingest import Ingest
from monitor.service.supervisor import Supervisor
from monitor.service.wiring import Wiring
from monitor.store import Store
from monitor.store.past import open_to_read
from tests.unit.core.worlds import site

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.conftest import BrokerFactory, Mosquitto

BOOT: Ms = 3 * DAY  # 1970-01-04
RIGHT: Ms = 1_772_434_800_000  # 2026-03-02T07:00:00Z
BINDING = Binding("shed/ash/water", "ash-water", "number", Measures.WATER)
PATIENCE_S = 30.0


class HandSet:
    """Real seconds from wherever it is set to."""

    speed = None

    def __init__(self, time_: Ms) -> None:
        self._offset = time_ - self._real()
        self._new = self._offset

    @staticmethod
    def _real() -> Ms:
        return time.monotonic_ns() // 1_000_000

    def set(self, time_: Ms) -> None:
        self._new = time_ - self._real()

    def now(self) -> Ms:
        return self._real() + self._offset

    def wall(self) -> Ms:
        return self.now()

    def steady(self) -> float:
        return time.monotonic()

    def jumped(self) -> Ms | None:
        if self._new == self._offset:
            return None
        was = self.now()
        self._offset = self._new
        return was


class Bench:
    """Store, engine and ingest, without a supervisor around them; time stands still."""

    def __init__(self, store: Store) -> None:
        self.time = BOOT
        self.seconds = 0.0
        self.unset = True
        self.store = store
        self.engine = Engine(site(), BOOT)
        self.early = Early(self, lambda _now: self.unset)
        self.ingest = Ingest(self.engine, store, [BINDING], self.early)
        assert self.early.begin()
        self.engine.step(ClockUnset(BOOT, unset=True))
        self.mid = 0

    speed = None

    def now(self) -> Ms:
        return self.time

    def wall(self) -> Ms:
        return self.time

    def steady(self) -> float:
        return self.seconds

    def jumped(self) -> Ms | None:
        return None

    def hears(self, value: str, *, dup: bool = False) -> None:
        self.mid += not dup
        arrived, payload = self.time, value.encode()
        message = Incoming("shed/ash/water", payload, 1, False, dup, self.mid, arrived, dup, 1, 1)
        self.ingest.take(message)

    def is_set_to(self, right: Ms) -> None:
        self.early.shift(right - self.time)
        self.engine.step(ClockSet(right, self.time))
        self.time = right

    def releases(self) -> list[Reading]:
        self.engine.step(ClockUnset(self.time, unset=False))
        self.ingest.release()
        self.store.commit()
        return list(self.store.readings(0))


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Callable[[], Bench]]:
    stores: list[Store] = []

    def make() -> Bench:
        stores.append(Store.open(tmp_path / "shed.sqlite3", now=RIGHT))
        return Bench(stores[-1])

    yield make
    for store in stores:
        store.close()


def test_what_came_before_the_clock_was_set_is_stored_with_its_right_time(bench: Callable[[], Bench]) -> None:
    """In two steps even: nothing is in the store before, all is dated by the last clock afterwards, and nothing is doubled."""
    shed = bench()
    for n in range(3):
        shed.time += 10 * SECOND
        shed.hears(f"24.{n}")
    shed.hears("24.2", dup=True)  # the link was lost and found again
    shed.store.commit()
    assert list(shed.store.readings(0)) == []
    assert (shed.early.held, shed.engine.state.vessels["ash"].water_c()) == (3, 24.2)
    shed.time += 30 * SECOND
    shed.is_set_to(RIGHT - 5 * DAY)
    shed.is_set_to(RIGHT)
    shed.unset = False
    assert shed.early.settled()
    found = shed.releases()
    assert [(one.time - RIGHT, one.value, one.reason) for one in found] == [
        (-50_000, 24.0, ""),
        (-40_000, 24.1, ""),
        (-30_000, 24.2, ""),
    ]
    shed.hears("24.2", dup=True)  # only its acknowledgement was lost
    shed.hears("24.3")
    shed.store.commit()
    assert [one.value for one in shed.store.readings(0)] == [24.0, 24.1, 24.2, 24.3]


def test_after_ten_minutes_readings_are_kept_as_they_are_with_a_mark(bench: Callable[[], Bench]) -> None:
    """Somebody without a network still has a record; what comes later under that clock is marked too, and usable."""
    shed = bench()
    shed.hears("24.0")
    shed.seconds = LONGEST_S - 1
    assert not shed.early.settled()
    shed.seconds = LONGEST_S
    assert shed.early.settled()
    shed.releases()
    shed.time += MINUTE
    shed.hears("24.5")
    shed.unset = False
    assert not shed.early.settled()
    shed.time += MINUTE
    shed.hears("24.6")
    shed.store.commit()
    found = [(one.time - BOOT, one.reason, one.quality) for one in shed.store.readings(0)]
    assert found == [(0, MARK, Quality.OK), (MINUTE, MARK, Quality.OK), (2 * MINUTE, "", Quality.OK)]


def test_a_probe_that_was_right_all_along_is_no_longer_held_for_ahead() -> None:
    """Its own time seemed to lie in the future while ours was behind."""
    early = Early(HandSet(BOOT), lambda _now: True)
    early.begin()
    message = Incoming("shed/ash/water", b"", 1, False, False, 1, BOOT, False, 1, 1)
    reading = Reading("ash-water", BOOT, 24_000, Quality.CLAMPED, "its own time is 9 s in the future", arrived=BOOT)
    early.take(message, reading, anonymous=True)
    early.shift(DAY)
    early.unset = False
    (held,) = early.release()
    assert held.reading == replace(reading, time=4 * DAY, arrived=4 * DAY, quality=Quality.OK, reason="")


def test_a_clock_is_known_to_be_unset_by_three_signs(tmp_path: Path) -> None:
    """It is before this program, behind an earlier run, or the time service has not set it yet."""
    nowhere, service = tmp_path / "none", tmp_path / "timesync"
    service.mkdir()
    assert not_set(BOOT, None, nowhere)
    assert not_set(BOOT, None, service)
    assert not not_set(RIGHT, None, nowhere)
    assert not not_set(RIGHT, RIGHT - MINUTE, nowhere)
    assert not_set(RIGHT, None, service)
    (service / "synchronized").touch()
    assert not not_set(RIGHT, RIGHT + DAY, service)


def test_simulated_time_is_always_set() -> None:
    """A demo of long ago waits for nothing."""
    clock = HandSet(BOOT)
    clock.speed = 60.0  # type: ignore[assignment]
    assert not Early(clock, lambda _now: True).begin()


def until(condition: Callable[[], object], what: str) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline, what
        time.sleep(0.02)


def shed_at(broker: Mosquitto, path: str, clock: HandSet, **how: Any) -> Supervisor:
    probes = {"ash-water": ProbeSpec("ash-water", Measures.WATER, "ash", 10 * SECOND, -5, 50, 1.0, AirRule())}
    link = Link(broker.host, broker.port, "swimup-shed", **how)
    return Supervisor(Wiring(site(probes=probes), [BINDING], link, [], path, SECOND, clock))


@contextmanager
def running(shed: Supervisor) -> Iterator[None]:
    """It works in a thread of its own, with a link to the broker."""
    thread = threading.Thread(target=shed.run, daemon=True)
    thread.start()
    try:
        until(lambda: shed.desk.bench().get("broker", {}).get("connected"), "no link")
        yield
    finally:
        shed.stop()
        thread.join(20)
    assert not thread.is_alive()


@pytest.mark.broker
def test_a_board_that_starts_in_1970_keeps_its_first_readings_at_their_right_time(
    tmp_path: Path, brokers: BrokerFactory
) -> None:
    """They are seen on the bench at once, with a word about the clock, and stored once it is set."""
    broker, clock, path = brokers(), HandSet(BOOT), str(tmp_path / "shed.sqlite3")
    shed = shed_at(broker, path, clock)
    with running(shed):
        assert shed.desk.bench()["clock_set"] is False
        broker.publish("shed/ash/water", "24.1")
        broker.publish("shed/ash/water", "24.2")
        until(lambda: (shed.desk.bench()["vessels"][0]["water"] or {}).get("value") == 24.2, "not on the bench")
        time.sleep(1.5)  # longer than the interval of commits
        assert stored(path) == []
        clock.set(RIGHT)
        until(lambda: shed.desk.bench()["clock_set"], "not settled")
        until(lambda: len(stored(path)) == 2, "not stored")
        assert all(RIGHT - PATIENCE_S * 1000 < at < RIGHT for at in stored(path))
        water = shed.desk.bench()["vessels"][0]["water"]
        assert (water["fresh"], water["time"][:10]) == (True, "2026-03-02")


def test_nothing_is_noted_under_a_clock_of_1970(bench: Callable[[], Bench]) -> None:
    """A batch begun then would be decades old as soon as the clock is set; what is refused says why, and what to do."""
    made = bench()
    with pytest.raises(Refused, match=r"it says 1970.*try again"):
        made.early.check_entry()
    made.time = RIGHT
    made.early.check_entry()


@pytest.mark.broker
def test_an_early_reading_outlives_the_run_that_held_it(tmp_path: Path, brokers: BrokerFactory) -> None:
    """Held is not stored, so it is not acknowledged: the next run gets it again, and stores it once."""
    broker, path = brokers(), str(tmp_path / "shed.sqlite3")
    first = shed_at(broker, path, HandSet(BOOT))
    with running(first):
        broker.publish("shed/ash/water", "24.1")
        until(lambda: (first.desk.bench()["vessels"][0]["water"] or {}).get("value") == 24.1, "not on the bench")
    assert stored(path) == []
    with running(shed_at(broker, path, HandSet(RIGHT))):
        until(lambda: len(stored(path)) == 1, "the broker did not send it again")
    assert len(stored(path)) == 1


@pytest.mark.broker
def test_a_broker_that_would_send_no_more_ends_the_wait(tmp_path: Path, brokers: BrokerFactory) -> None:
    """With MQTT 3.1.1 few messages are sent unacknowledged: from ten on they are kept as they are."""
    broker, path = brokers(), str(tmp_path / "shed.sqlite3")
    with running(shed_at(broker, path, HandSet(BOOT), version="3.1.1")):
        broker.publish("shed/ash/water", *(f"24.{n:02d}" for n in range(12)))
        until(lambda: len(stored(path)) == 12, "they are held for ever")
    assert max(stored(path)) < BOOT + DAY


def stored(path: str) -> list[Ms]:
    """When, of all readings that are on the disk."""
    with closing(open_to_read(Path(path))) as connection:
        return [row[0] for row in connection.execute("SELECT time FROM reading ORDER BY at")]
