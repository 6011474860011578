"""A shed in use: readings without and with numbers of their own, a keeper's entries and air that stops; and the account of it."""

from __future__ import annotations

import json
import threading
import time
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final, Self

import click
from paho.mqtt.client import Client as Mqtt
from paho.mqtt.client import MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion

from monitor.cli.client import Client
from tests.system.daemon import PATIENCE_S, air, configuration, probe, retained, until

if TYPE_CHECKING:
    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon, Phone
    from tests.system.fire.fault import Ground
    from tests.system.quick import QuickDaemon

VESSELS: Final = tuple(f"tub-{number}" for number in range(14))
"""Each with a batch that hatches, so that air which stops is urgent and told at once."""
NAMES: Final = ("bare", "numbered")
"""Probes: of one each message is told from others by its delivery only."""
FIRST_MILLI: Final = 20_000
READ_EVERY_S: Final = 0.02  # both probes
AIR_EVERY: Final = 40  # readings; a probe repeats itself: what waited at the broker while nobody listened is no news
NOTE_EVERY_S: Final = 0.1
GATHERING_MS: Final = 10_000  # so long at most a letter waits for others of its kind
STOPPED: Final = "air-stopped"


def shed(broker: str, phone: str, *parts: str, commit_every: str = "1 s") -> str:
    """The configuration of it."""
    probes = [
        probe("bare", "shed/bare", measures="room"),
        probe("numbered", "shed/numbered", measures="room", decoder="json", pointer="/c", sequence_pointer="/n"),
    ]
    for number, vessel in enumerate(VESSELS):
        past = {"decoder": "json", "pointer": f"/c/{number}", "time_pointer": "/at"}
        probes += [air(vessel), probe(f"{vessel}-past", "shed/past", measures="water", vessel=vessel, **past)]
    food = '[food]\nsoon = "1 s"\n'
    return configuration(
        broker,
        *probes,
        food,
        *parts,
        vessels=VESSELS,
        phone=phone,
        commit_every=commit_every,
        alarms='air_on_delay = "0 s"',
    )


def in_use(ground: Ground, *parts: str) -> tuple[QuickDaemon, Traffic]:
    """All of it under way: the daemon runs, in each vessel is a batch that hatches, and its air runs."""
    broker, phone = ground.broker(), ground.phone()
    daemon = ground.quick_daemon(shed(broker.url, phone.url, *parts))
    daemon.start()
    until(daemon.connected)
    traffic = Traffic(broker, daemon, phone)
    traffic.begin()
    return daemon, traffic


class Traffic:
    """Made beside a daemon that runs and is connected. Within ``with`` it goes on, whatever becomes of the daemon."""

    def __init__(self, broker: Mosquitto, daemon: Daemon, phone: Phone) -> None:
        self._broker = broker
        self._daemon = daemon
        self._phone = phone
        self._mqtt = Mqtt(CallbackAPIVersion.VERSION2)
        self._mqtt.max_inflight_messages_set(1000)
        self._mqtt.connect(broker.host, broker.port)
        self._said: list[MQTTMessageInfo] = []
        self._halt = threading.Event()
        self._threads = [threading.Thread(target=one, name=one.__name__) for one in (self._read, self._note)]
        self._running: list[str] = []  # vessels whose air still runs
        self.readings: list[int] = []  # thousandths, of either probe
        self.noted: list[float] = []  # what the monitor said is noted
        self.unsure: list[float] = []  # what it gave no answer to
        self.stopped: list[str] = []

    def begin(self) -> None:
        """Batches that hatch in all vessels, with their air running."""
        now = datetime.now(UTC)
        hours = [now - timedelta(hours=ago) for ago in range(18, -1, -1)]
        self._mqtt.loop_start()
        for hour in hours:
            self._say("shed/past", json.dumps({"c": [28.0] * len(VESSELS), "at": hour.isoformat()}))
        self._running = list(VESSELS)
        self._tell_air()
        until(lambda: all(one["air"] for one in self._daemon.bench()["vessels"]), "the air is not shown")
        with Client(self._daemon.config) as client:
            for vessel in VESSELS:
                began = hours[0].isoformat(timespec="seconds")
                client.post("/batches", {"vessel": vessel, "cysts_g": 2.0, "lot": "tin-7", "time": began})

    def __enter__(self) -> Self:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end()
        self._mqtt.disconnect()
        self._mqtt.loop_stop()

    def _end(self) -> None:
        self._halt.set()
        for thread in self._threads:
            thread.join(PATIENCE_S)

    def stop_air(self) -> None:
        """In one more vessel, while there is one."""
        if self._running:
            self.stopped.append(self._running.pop())

    def until_it_rang(self) -> None:
        """Wait until all air that stopped has rung."""
        until(lambda: set(self.stopped) <= set(self._rang()), "not all air that stopped has rung")

    def until_it_shows(self) -> None:
        """Wait until the broker keeps each alarm about air as the store has it: who looks there alone must not be misled."""
        until(lambda: not self._misleading(), "the broker keeps alarms as they are no more")

    def _misleading(self) -> list[str]:
        query = f"SELECT alarm, after, max(id) FROM transition WHERE alarm LIKE '{STOPPED}:%' GROUP BY alarm"  # noqa: S608
        stands = {alarm: after for alarm, after, _ in self._daemon.rows(query)}
        return [
            alarm
            for alarm, after in stands.items()
            if retained(self._broker, f"swimup/shed/alarm/{alarm}").get("state") != after
        ]

    def set_eater(self, nauplii: int) -> None:
        """Others who eat, so that there is something to plan; with none it ends."""
        with Client(self._daemon.config) as client:
            client.post("/eaters", {"eater": "adults", "nauplii_per_day": nauplii})

    def _say(self, topic: str, payload: str) -> None:
        self._said.append(self._mqtt.publish(topic, payload, qos=1))

    def _read(self) -> None:
        while not self._halt.wait(READ_EVERY_S):
            milli = FIRST_MILLI + len(self.readings)
            self._say("shed/bare", f"{milli / 1000:.3f}")
            self._say("shed/numbered", json.dumps({"c": milli / 1000, "n": len(self.readings)}))
            self.readings.append(milli)
            if len(self.readings) % AIR_EVERY == 0:
                self._tell_air()

    def _tell_air(self) -> None:
        for vessel in VESSELS:
            self._say(f"shed/{vessel}/air", "on" if vessel in self._running else "off")

    def _note(self) -> None:
        """Weighs a tin again and again, each time another amount, and never says the same twice."""
        with Client(self._daemon.config) as client:
            while not self._halt.wait(NOTE_EVERY_S):
                grams = float(1 + len(self.noted) + len(self.unsure))
                try:
                    client.post("/tins/tin-7/weighed", {"grams": grams})
                except click.ClickException:
                    self.unsure.append(grams)
                else:
                    self.noted.append(grams)

    # -- the account, when nothing happens any more and the daemon runs

    def settle(self) -> None:
        """End it all: each is kept once and told; AssertionError when it is not. Ends the daemon in good order."""
        daemon = self._daemon
        self._end()
        self._tell_air()
        for message in self._said:
            message.wait_for_publish(PATIENCE_S)
        until(
            lambda: all(len(daemon.stored(name)) >= len(self.readings) for name in NAMES), "not all readings are stored"
        )
        self.until_it_rang()
        until(lambda: not self._waiting(), f"letters wait: {self._waiting()}")
        self.until_it_shows()
        assert daemon.terminate() == 0
        assert daemon.rows("PRAGMA integrity_check") == [("ok",)]
        for name in NAMES:
            assert daemon.stored(name) == self.readings, f"of {name} not each is stored once"
        self._check_notes()
        self._check_told()

    def _check_notes(self) -> None:
        rows = self._daemon.rows("SELECT fields FROM event WHERE kind = 'weighed' ORDER BY id")
        kept = [json.loads(fields)["grams"] for (fields,) in rows]
        assert len(kept) == len(set(kept)), "an entry is kept twice"
        assert set(self.noted) <= set(kept), "an entry that was noted is not kept"
        assert set(kept) <= {*self.noted, *self.unsure}

    def _check_told(self) -> None:
        """Each time air stopped is one transition, and one letter at least was taken by the phone that names the vessel."""
        rang = self._rang()
        assert sorted(rang) == sorted(self.stopped), "air that stopped once has rung another number of times"
        text = " ".join(f"{letter['title']} {letter['message']}" for letter in self._phone.letters)
        assert all(vessel in text for vessel in self.stopped), f"not told: {set(self.stopped)}, but {text}"
        told = {title for (title,) in self._daemon.rows("SELECT title FROM outbox WHERE state = 'told'")}
        assert told <= set(self._phone.titles), "a letter counts as told that the phone never got"
        untold = """SELECT t.alarm, t.after FROM transition t WHERE notify
            AND NOT EXISTS (SELECT 1 FROM outbox o WHERE o.transition_id = t.id)"""
        assert self._daemon.rows(untold) == [], "of a transition there is no letter"

    def _rang(self) -> list[str]:
        query = f"SELECT alarm FROM transition WHERE alarm LIKE '{STOPPED}:%' AND before = 'normal'"  # noqa: S608
        return [alarm.partition(":")[2] for (alarm,) in self._daemon.rows(query)]

    def _waiting(self) -> list[Any]:
        """Letters whose time has come, or comes in a moment."""
        now = time.time_ns() // 1_000_000
        query = f"SELECT alarm, title, cause FROM outbox WHERE state = 'waiting' AND hold <= {now} + {GATHERING_MS}"  # noqa: S608
        return self._daemon.rows(query)
