"""Faults against: stale is never fresh."""

from __future__ import annotations

import json
import threading
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from tests.system.daemon import configuration, send, until, water
from tests.system.fire.fault import Fault
from tests.system.fire.kept import transitions
from tests.system.fire.speaker import Speaker, counted_water

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.system.daemon import Daemon
    from tests.system.fire.fault import Ground

SPEED: Final = 40
EPOCH: Final = "2026-02-03T09:00:00Z"
PERIOD_S: Final = 60
MARKED_S: Final = 2 * PERIOD_S
ALARM_S: Final = 3 * PERIOD_S + 60
SILENT: Final = "probe-silent:ash-water"
LOOK_EVERY_S: Final = 0.1


@dataclass(slots=True)
class Watch:
    """Reads the bench again and again, and holds each against its own clock."""

    daemon: Daemon
    seen: int = 0
    fresh: bool = False
    stale_before_alarm: bool = False
    wrong: list[str] = field(default_factory=list)

    def look(self) -> dict[str, Any]:
        time.sleep(LOOK_EVERY_S)
        bench = self.daemon.bench()
        vessel = next(one for one in bench["vessels"] if one["id"] == "ash")
        probe = next(one for one in bench["probes"] if one["id"] == "ash-water")["newest"]
        for shown in (vessel["water"], probe):
            if shown is not None:
                self._judge(bench["now_ms"], shown)
        batch = vessel["batch"]
        if batch is not None and vessel["water"] is not None and batch["fresh"] and not vessel["water"]["fresh"]:
            self.wrong.append(f"its estimate counts as fresh over stale water at {bench['now']}")
        self.seen += 1
        self.fresh = bool(vessel["water"] and vessel["water"]["fresh"])
        alarm = any(one["id"] == SILENT for one in bench["alarms"])
        self.stale_before_alarm |= not self.fresh and not alarm
        return bench

    def _judge(self, now_ms: int, shown: dict[str, Any]) -> None:
        told = datetime.fromisoformat(shown["time"]).timestamp()
        age = now_ms / 1000 - told
        may_be_fresh = age <= MARKED_S + 1  # times are shown in whole seconds
        if shown["fresh"] and not may_be_fresh:
            self.wrong.append(f"{shown['value']} C, {age:.0f} s old, is shown as fresh")

    def until(self, found: Callable[[dict[str, Any]], object], what: str) -> None:
        until(lambda: found(self.look()), what)
        assert not self.wrong, self.wrong


def rang_after_s(daemon: Daemon) -> float:
    """How long after the last reading before it the alarm of a silent probe rang, in seconds of the daemon's clock."""
    ((rang,),) = daemon.rows(f"SELECT time FROM transition WHERE alarm = '{SILENT}' AND after = 'unacknowledged'")  # noqa: S608
    query = "SELECT max(time) FROM reading JOIN series ON series.id = series WHERE probe = 'ash-water' AND time < {}"
    ((last,),) = daemon.rows(query.format(rang))
    return float(rang - last) / 1000


def end_well(daemon: Daemon) -> None:
    """One alarm and one word that it is over, each to be told once; and of no other alarm is anybody told."""
    until(lambda: len(transitions(daemon, SILENT)) >= 2, "that the probe is back is no news")
    assert daemon.terminate() == 0
    assert transitions(daemon, SILENT) == [("unacknowledged", 1), ("returned-unacknowledged", 1)]
    assert daemon.rows("SELECT count(*) FROM transition WHERE notify") == [(2,)]
    assert daemon.rows("SELECT DISTINCT alarm FROM outbox") == [(SILENT,)]
    assert rang_after_s(daemon) >= ALARM_S


def silence(ground: Ground) -> None:
    """A silent probe: marked after two periods, an alarm after three and a minute, its estimate labelled, one word at the end."""
    broker, phone = ground.broker(), ground.phone()
    probes = [counted_water(vessel) for vessel in ("ash", "birch", "cedar")]
    daemon = ground.quick_daemon(configuration(broker.url, *probes, vessels=("ash", "birch", "cedar"), phone=phone.url))
    daemon.start("--sim-epoch", EPOCH, "--sim-speed", str(SPEED))
    until(daemon.connected)
    ash, *_ = [Speaker(ground, broker, vessel) for vessel in ("ash", "birch", "cedar")]
    daemon.post("batches", vessel="ash", lot="tin-7", cysts_g=2.0)
    watch = Watch(daemon)
    watch.until(lambda bench: watch.fresh and bench["vessels"][0]["batch"], "no fresh water is shown")
    ash.silence()
    watch.until(lambda _: not watch.fresh, "silence is not marked")
    watch.until(lambda _: daemon.alarm(SILENT), "a silent probe is no alarm")
    assert watch.stale_before_alarm, "it was marked no earlier than its alarm rang"
    Speaker(ground, broker, "ash")
    watch.until(lambda _: watch.fresh, "what it says is not fresh again")
    end_well(daemon)


def told_again_and_again(ground: Ground) -> None:
    """A probe that repeats one old reading, its own time with it, is as silent as one that says nothing."""
    broker, phone = ground.broker(), ground.phone()
    probes = [water("ash", decoder="json", pointer="/c", time_pointer="/at", every=f"{PERIOD_S} s")]
    probes += [counted_water(vessel) for vessel in ("birch", "cedar")]
    daemon = ground.quick_daemon(configuration(broker.url, *probes, vessels=("ash", "birch", "cedar"), phone=phone.url))
    daemon.start("--sim-epoch", EPOCH, "--sim-speed", str(SPEED))
    until(daemon.connected)
    for vessel in ("birch", "cedar"):
        Speaker(ground, broker, vessel)
    daemon.post("batches", vessel="ash", lot="tin-7", cysts_g=2.0)
    watch, hung = Watch(daemon), threading.Event()

    def now() -> str:
        return datetime.fromtimestamp(daemon.bench()["now_ms"] / 1000, UTC).isoformat()

    def repeat(at: str) -> None:
        while not hung.wait(0.2):
            send(broker, [("shed/ash/water", json.dumps({"c": 24.5, "at": at}))])

    parrot = threading.Thread(target=repeat, args=(now(),), name="parrot", daemon=True)
    ground.when_done(hung.set)
    parrot.start()
    watch.until(lambda _: watch.fresh, "the first of it is not fresh")
    watch.until(lambda _: not watch.fresh, "repeating is taken for news")
    watch.until(lambda _: daemon.alarm(SILENT), "a probe that hangs is no alarm")
    assert watch.stale_before_alarm
    hung.set()
    parrot.join()
    send(broker, [("shed/ash/water", json.dumps({"c": 24.6, "at": now()}))])
    end_well(daemon)
    assert daemon.stored("ash-water") == [24_500, 24_600]


def kept_by_the_broker(ground: Ground) -> None:
    """What the broker kept of yesterday is shown at a start as what it is, and never as fresh; the first live word is."""
    broker, phone = ground.broker(), ground.phone()
    value = round(ground.random.uniform(20.0, 28.0), 2)
    broker.publish("shed/ash/water", str(value), retain=True)
    daemon = ground.quick_daemon(configuration(broker.url, water("ash", every=f"{PERIOD_S} s"), phone=phone.url))
    daemon.start()
    watch = Watch(daemon)
    daemon.post("batches", vessel="ash", lot="tin-7", cysts_g=2.0)
    until(lambda: daemon.stored("ash-water"), "what was kept is not stored")
    for crashed in (False, True):  # what is known after a crash is no better than what was known before
        if crashed:
            daemon.kill()
            daemon.start()
        watch.until(lambda bench: bench["vessels"][0]["batch"], "no estimate")
        assert not watch.fresh
        assert daemon.vessel()["batch"]["water_time"] is None, "the estimate rests on a value of unknown age"
    until(daemon.connected)
    assert daemon.rows("SELECT DISTINCT mark & 7 FROM reading") == [(2,)], "of unknown age"
    broker.publish("shed/ash/water", str(value))
    watch.until(lambda _: watch.fresh, "what is said now is not fresh")
    assert daemon.terminate() == 0


FAULTS: Final = (
    Fault("a probe falls silent", "stale", silence),
    Fault("a probe repeats an old reading", "stale", told_again_and_again),
    Fault("an old value kept by the broker", "stale", kept_by_the_broker),
)
