"""Faults against: clocks and time zones."""

from __future__ import annotations

import json
import time
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final
from urllib.error import HTTPError

import pytest

from monitor.service.house import TASK_STUCK_S
from tests.system.daemon import air, configuration, probe, send, until, water
from tests.system.fire.faketime import SystemTime
from tests.system.fire.fault import Fault
from tests.system.fire.kept import sound
from tests.system.fire.manager import Manager

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon, Phone
    from tests.system.fire.fault import Ground

HOUR_S: Final = 3600.0
LATE_MS: Final = 15_000
"""Between what a clock said when a reading was sent, and the time that it got: a loaded machine may take so long."""
FEW: Final = 20
AIR_DELAY_S: Final = 3.0
FORECAST_S: Final = 900.0
"""What a forecast may move by what was read meanwhile; the clock moves an hour."""


def shed(
    ground: Ground,
    aired: Iterable[str] = ("ash", "birch"),
    alarms: str = f'air_on_delay = "{AIR_DELAY_S:g} s"',
    **site: Any,
) -> tuple[Mosquitto, Phone, Daemon, SystemTime]:
    """Two vessels; the air is watched of those in ``aired``, the water of ash, also as it was before. Not yet started."""
    broker, phone = ground.broker(), ground.phone()
    past = probe(
        "ash-past", "shed/ash/past", measures="water", vessel="ash", decoder="json", pointer="/c", time_pointer="/at"
    )
    parts = [past, water("ash"), *map(air, aired)]
    text = configuration(broker.url, *parts, vessels=("ash", "birch"), phone=phone.url, alarms=alarms, **site)
    daemon = ground.daemon(text)
    return broker, phone, daemon, SystemTime(daemon)


def told_of(broker: Mosquitto, moments: Iterable[datetime]) -> None:
    """The water of ash at those, as a probe with a clock of its own tells it afterwards."""
    send(broker, [("shed/ash/past", json.dumps({"c": 26.0, "at": moment.isoformat()})) for moment in moments])


def begin(broker: Mosquitto, daemon: Daemon, clock: SystemTime) -> None:
    """A batch of twelve hours at 26 C in ash, its water and air heard of."""
    daemon.start()
    until(daemon.connected)
    hours = [clock.now() - timedelta(hours=ago) for ago in range(12, -1, -1)]
    told_of(broker, hours)
    send(broker, [("shed/ash/air", "on"), ("shed/birch/air", "on")])
    until(lambda: daemon.vessel("birch")["air"], "the air is not shown")
    daemon.post(
        "batches", vessel="ash", lot="tin-7", cysts_g=2.0, batch="ash", time=hours[0].isoformat(timespec="seconds")
    )
    daemon.post("batches", vessel="birch", lot="tin-7", cysts_g=2.0, batch="birch")


def a_few(broker: Mosquitto, clock: SystemTime, first: int) -> list[tuple[int, int]]:
    """Some readings; what the clock said when each was sent, and its value in thousandths."""
    sent = []
    for value in range(first, first + FEW):
        sent.append((clock.now_ms(), value))
        send(broker, [("shed/ash/water", f"{value / 1000:.3f}")])
    return sent


def times(daemon: Daemon) -> dict[int, list[int]]:
    """When each value was read, by what is stored."""
    found: dict[int, list[int]] = {}
    query = "SELECT time, milli FROM reading JOIN series ON series.id = series WHERE probe = 'ash-water'"
    for moment, milli in daemon.rows(query):
        found.setdefault(milli, []).append(moment)
    return found


def dated_rightly(daemon: Daemon, sent: list[tuple[int, int]]) -> None:
    """Each is there once, at the time that the clock said, and no slot is there twice."""
    stored = times(daemon)
    for moment, value in sent:
        assert len(stored.get(value, [])) == 1, f"{value} is stored {len(stored.get(value, []))} times"
        assert moment - 1000 <= stored[value][0] <= moment + LATE_MS, f"{value}: {stored[value][0] - moment} ms off"
    sound(daemon)


def rang(daemon: Daemon) -> set[str]:
    """Which alarms there have been."""
    return {alarm for (alarm,) in daemon.rows("SELECT DISTINCT alarm FROM transition")}


def set_by(seconds: float) -> Callable[[Ground], None]:
    def attempt(ground: Ground) -> None:
        """Set by an hour while it runs: readings are dated rightly, waits go on, the forecast holds, and nothing rings for it."""
        broker, phone, daemon, clock = shed(ground)
        begin(broker, daemon, clock)
        sent = a_few(broker, clock, 25_900)
        until(lambda: len(times(daemon)) == FEW, "the first readings were not stored")
        ready = daemon.ready_s()
        off = time.monotonic()
        send(broker, [("shed/birch/air", "off")])
        until(lambda: (daemon.vessel("birch")["air"] or {}).get("value") == "stopped")
        clock.jump(seconds)
        until(lambda: daemon.logged("clock.set"), "it has not seen that the clock was set")
        sent += a_few(broker, clock, 26_000)
        until(lambda: phone.about("Air stopped in birch"), "nobody was told that the air stopped")
        assert time.monotonic() - off >= AIR_DELAY_S - 0.5  # gone with the clock, it had been at once, or in an hour
        until(lambda: len(times(daemon)) == 2 * FEW, "what came after the jump was not stored")
        assert abs(daemon.ready_s() - ready) < FORECAST_S, "the forecast went with the clock"
        assert rang(daemon) == {"air-stopped:birch"}
        assert len(phone.letters) == 1, phone.titles
        assert daemon.terminate(10.0) == 0
        dated_rightly(daemon, sent)

    return attempt


def never_set_at_boot(ground: Ground) -> None:
    """Begun again in 1970, it watches at once and keeps what it hears until the clock is set; then all has its right time."""
    broker, phone, daemon, clock = shed(ground)
    begin(broker, daemon, clock)
    if ground.random.random() < 0.5:
        daemon.kill()
    else:
        assert daemon.terminate(10.0) == 0
    clock.put_at(datetime(1970, 1, 1, 0, 0, 20, tzinfo=UTC))
    daemon.start()
    until(daemon.connected)
    wrong = clock.now_ms()
    with pytest.raises(HTTPError, match=r"\b(409|422)\b"):
        daemon.post("batches/ash/seen", what="first")  # it would be of 1970
    send(broker, [("shed/birch/air", "off")])
    sent = [(moment - wrong, value) for moment, value in a_few(broker, clock, 25_900)]
    until(lambda: phone.about("Air stopped in birch"), "nobody was told that the air stopped")
    assert times(daemon) == {}, "a reading was stored with the wrong time"
    if ground.random.random() < 0.5:
        daemon.kill()
        daemon.start()
        until(daemon.connected)
    right = round(time.time() * 1000) - (clock.now_ms() - wrong)
    clock.put(0.0)
    until(lambda: daemon.logged("clock.settled"), "it has not seen that the clock was set")
    until(lambda: len(times(daemon)) == FEW, "not all readings were stored")
    sent = [(right + moment, value) for moment, value in sent]
    sent += a_few(broker, clock, 26_000)
    until(lambda: len(times(daemon)) == 2 * FEW, "what came after was not stored")
    daemon.post("batches/ash/seen", what="first")
    assert rang(daemon) <= {"air-stopped:birch", "restarted:site"}
    assert daemon.terminate(10.0) == 0
    dated_rightly(daemon, sent)


def set_back_under_a_watchdog(ground: Ground) -> None:
    """Set back by an hour it goes on telling its manager that all is well, for longer than any task may be silent."""
    broker, _, daemon, clock = shed(ground)
    manager = Manager(ground, daemon, 20.0)
    begin(broker, daemon, clock)
    until(manager.pinged, "the manager is never told that all is well")
    clock.jump(-HOUR_S)
    end = time.monotonic() + TASK_STUCK_S + 30.0
    while time.monotonic() < end:
        assert manager.pinged(), f"the manager would have ended it\n{daemon.log[-2000:]}"
        time.sleep(0.5)
    assert not daemon.logged("watchdog.withheld")
    assert daemon.terminate(10.0) == 0


FAULTS: Final = (
    Fault("clock set ahead by an hour", "clock", set_by(HOUR_S), long=10),
    Fault("clock set back by an hour", "clock", set_by(-HOUR_S), long=10),
    Fault("clock set back under a watchdog", "clock", set_back_under_a_watchdog, short=0, long=2),
    Fault("clock not set at boot", "clock", never_set_at_boot, long=20),
)
