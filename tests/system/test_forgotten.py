"""A batch that nobody wrote of, over the ends and starts of the real process."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from monitor.core.log import Harvest, Lapse, LogEntry, Start
from monitor.core.model import HOUR, Alarm, AlarmState, Ms, Priority, Transition
from monitor.store import Store
from tests.system.daemon import configuration, until, water

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon

pytestmark = [pytest.mark.system, pytest.mark.broker]


def asked_in_vain(path: Path, now: Ms) -> None:
    """A store in which ash was begun four days ago and asked for thirteen hours ago."""
    path.parent.mkdir(parents=True, exist_ok=True)
    alarm = Alarm(
        id="unlogged:ash",
        rule="unlogged",
        subject="ash",
        priority=Priority.LOW,
        state=AlarmState.UNACKNOWLEDGED,
        since=now - 13 * HOUR,
        changed=now - 13 * HOUR,
        title="What became of b1?",
        text="",
        todo="",
        reason="",
    )
    with Store.open(str(path), now=now) as store:
        store.log(Start(now - 96 * HOUR, now - 96 * HOUR, "b1", "ash", "tin-7", 1.0, 1.5, 25.0))
        store.put_alarm(Transition(alarm.changed, alarm, AlarmState.NORMAL, True, ""))
        store.commit()


def entries(path: Path, now: Ms) -> list[LogEntry]:
    with Store.open(str(path), now=now) as store:
        return store.entries()


def test_what_the_monitor_closed_stays_closed_until_the_keeper_tells(
    mosquitto: Mosquitto, daemons: Callable[[str], Daemon]
) -> None:
    """Asked for in vain it is closed, with an entry in the log that a kill does not lose; a late harvest takes its place."""
    now = int(time.time() * 1000)
    daemon = daemons(configuration(mosquitto.url, water("ash")))
    asked_in_vain(daemon.store, now)
    daemon.start()
    until(lambda: daemon.logged("log.entry"), "nothing was closed")
    until(lambda: daemon.rows("SELECT 1 FROM event WHERE kind = 'lapse'"), "the entry was not kept")
    until(lambda: daemon.vessel()["batch"] is None, "the vessel is not shown as free")
    assert daemon.alarm("unlogged:ash") is None
    daemon.kill()

    daemon.start()
    until(daemon.connected)
    assert daemon.vessel()["batch"] is None
    assert "b1 is harvested" in daemon.told("batch", "harvest", "b1", "--fraction", "60 %")
    assert daemon.vessel()["batch"] is None
    assert daemon.terminate() == 0

    kept = entries(daemon.store, now)
    assert [type(entry) for entry in kept] == [Start, Lapse, Harvest]
    harvest = kept[2]
    assert isinstance(harvest, Harvest)
    assert replace(harvest, time=0, logged=0) == Harvest(0, 0, "b1", 0.6)
