"""Faults against: a hang is noticed."""

from __future__ import annotations

import os
import signal
from typing import TYPE_CHECKING, Final

from monitor.service.house import LOOK_EVERY_S
from tests.system.daemon import configuration, send, until, water
from tests.system.fire.fault import Fault
from tests.system.fire.manager import Lifeline, Manager, hanging

if TYPE_CHECKING:
    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon
    from tests.system.fire.fault import Ground

PERIOD_S: Final = 4.0
"""Of the watchdog: a ping is due each quarter of it, and comes with the tick of a second."""
AWAY: Final = "the broker is not reached"
SIGN_EVERY_S: Final = round(LOOK_EVERY_S) + 2
"""A little longer than from one judgement to the next, so that each sign goes by the newest, not by the one before it."""


def shed(ground: Ground) -> tuple[Mosquitto, Daemon, Manager]:
    broker = ground.broker()
    daemon = ground.daemon(configuration(broker.url, water("ash")))
    return broker, daemon, Manager(ground, daemon, PERIOD_S)


def begin(daemon: Daemon, manager: Manager) -> None:
    daemon.start()
    until(daemon.connected)
    assert "READY=1" in manager.words
    until(manager.pinged, "the manager is never told that all is well")


def process_stopped(ground: Ground) -> None:
    """A process that stands still pings nobody, so that it is ended and started anew; what came meanwhile is stored once."""
    broker, daemon, manager = shed(ground)
    begin(daemon, manager)
    send(broker, [("shed/ash/water", "24.001")])
    os.kill(daemon.pid, signal.SIGSTOP)
    until(lambda: not manager.pinged(), "it pings while it is stopped")
    send(broker, [("shed/ash/water", "24.002")])
    if ground.random.random() < 0.5:  # nobody looks after it, and it goes on by itself
        os.kill(daemon.pid, signal.SIGCONT)
    else:
        daemon.kill()
        daemon.start()
    until(manager.pinged, "the manager hears no more of it")
    until(lambda: daemon.stored("ash-water") == [24_001, 24_002], "not all readings were stored")
    assert daemon.terminate(10.0) == 0
    assert manager.words[-1] == "STOPPING=1"


def decisions_hang(ground: Ground) -> None:
    """When only the thread of decisions hangs the pings end as well; when it goes on so do they, and nothing is lost."""
    broker, daemon, manager = shed(ground)
    begin(daemon, manager)
    with hanging(daemon.pid):  # the first thread has the process's number, and decides
        until(lambda: not manager.pinged(), "it pings though nothing is decided")
        send(broker, [("shed/ash/water", "24.001")])
    until(manager.pinged, "the manager hears no more of it")
    until(lambda: daemon.stored("ash-water") == [24_001], "what came meanwhile was not stored")
    assert daemon.terminate(10.0) == 0


def broker_away(ground: Ground) -> None:
    """The sign of life goes out while the whole chain is healthy, not while the broker is away, and again when it is back."""
    broker = ground.broker()
    line = Lifeline(ground)
    text = configuration(broker.url, water("ash")) + f'\n[heartbeat]\nurl = "{line.url}"\nevery = "{SIGN_EVERY_S} s"\n'
    daemon = ground.daemon(text)
    daemon.start()
    until(daemon.connected)
    assert line.signs == 0, "it was sent before any probe was heard of"
    send(broker, [("shed/ash/water", "24.001")])
    until(lambda: line.signs, "no sign of life")
    broker.stop()
    until(lambda: AWAY in str(daemon.logged("heartbeat.withheld")), "the sign of life is not withheld")
    daemon.post(
        "batches", vessel="ash", lot="tin-7", cysts_g=2.0
    )  # news: without any the bench is made anew more rarely
    until(lambda: sign(daemon) == ("withheld", AWAY), "the bench does not say so")
    before = line.signs
    broker.start()
    until(lambda: line.signs > before, "the sign of life does not come back")
    assert daemon.terminate(10.0) == 0


def sign(daemon: Daemon) -> tuple[str, str]:
    """How the sign of life fares, by the bench, and why."""
    found = daemon.bench()["heartbeat"]
    return found["state"], found["reason"]


FAULTS: Final = (
    Fault("process stopped", "hang", process_stopped, long=20),
    Fault("decisions hang", "hang", decisions_hang, long=20),
    Fault("broker away, sign of life", "hang", broker_away, long=5),
)
