"""What ``measure_ingest`` measures with: a broker, the service in a shed with thirty probes, and consumers beside it."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import time
from contextlib import ExitStack, closing
from dataclasses import dataclass, field
from itertools import count, cycle, islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor.cli.client import Client
from tests.bench.consumers import written_bytes
from tests.bench.wire_publisher import WirePublisher
from tests.conftest import Mosquitto
from tests.system.daemon import HERE_ONLY, PATIENCE_S, Daemon, Phone, configuration, probe, table, until
from tests.system.shed_of_ten import BATCHES, VESSELS

if TYPE_CHECKING:
    from collections.abc import Iterator

COMMIT_S: Final = 6
TOO_HOT_C: Final = 40
BEYOND: Final = 2_500  # published on top of a round, so that the broker has more to give to its end
LONGEST_ROUND_S: Final = 180.0
SECRET: Final = "a bench is no secret"
TICKS: Final = os.sysconf("SC_CLK_TCK")


def shed(broker: str, phone: str) -> str:
    """In each vessel water as JSON with a running number, a second one of SenML, and air as a word in JSON."""
    probes = []
    for vessel in VESSELS:
        here = {"vessel": vessel, "decoder": "json"}
        probes += [
            probe(
                f"{vessel}-water", f"shed/{vessel}/water", measures="water", pointer="/c", sequence_pointer="/n", **here
            ),
            probe(f"{vessel}-air", f"shed/{vessel}/air", measures="air", pointer="/air", **here),
            probe(f"{vessel}-low", f"shed/{vessel}/low", measures="water", vessel=vessel, decoder="senml"),
        ]
    hook = table("channel", id="hook", kind="webhook", url=f"http://127.0.0.1:{phone}/", secret_file="hook.secret")
    delays = 'on_delay = "0 s"\noff_delay = "0 s"'
    vessels = [table("vessel", id=vessel, litres=1.5, hot_above=f"{TOO_HOT_C} C") for vessel in VESSELS]
    return configuration(broker, *vessels, *probes, hook, vessels=(), commit_every=f"{COMMIT_S} s", alarms=delays)


class Readings:
    """What thirty probes say in turns, without end; each payload is another, and any JSON parser can read it."""

    def __init__(self) -> None:
        self._number = count()

    def under(self, prefix: str, vessels: tuple[str, ...] = VESSELS) -> Iterator[tuple[str, bytes]]:
        for place, vessel in enumerate(cycle(vessels)):
            n = next(self._number)
            celsius = 25 + place % 10 / 10 + n % 200 / 1000
            yield f"{prefix}/{vessel}/water", b'{"c": %.3f, "n": %d}' % (celsius, n)
            yield f"{prefix}/{vessel}/low", b'[{"u": "Cel", "v": %.3f, "k": %d}]' % (celsius - 0.3, n)
            yield f"{prefix}/{vessel}/air", b'{"air": "on", "k": %d}' % n

    def water(self, vessel: str, celsius: float) -> tuple[str, bytes]:
        return f"shed/{vessel}/water", b'{"c": %.3f, "n": %d}' % (celsius, next(self._number))


@dataclass(slots=True)
class Pace:
    """Of one consumer, a figure a round: readings a second, processor time and bytes written a reading."""

    rates: list[float] = field(default_factory=list)
    cpu_us: list[float] = field(default_factory=list)
    written: list[float] = field(default_factory=list)

    def add(self, readings: int, seconds: float, cpu_s: float, written: int) -> None:
        self.rates.append(readings / seconds)
        self.cpu_us.append(1e6 * cpu_s / readings)
        self.written.append(written / readings)


class Consumer:
    """A child of ``consumers``."""

    def __init__(self, kind: str, broker: Mosquitto, folder: Path) -> None:
        self.prefix = f"bench-{kind}"
        self._wire = WirePublisher(broker.host, broker.port)
        command = [sys.executable, "-m", "tests.bench.consumers", kind, broker.host, str(broker.port), self.prefix]
        file = folder / f"{kind}.sqlite3"
        self._process = subprocess.Popen([*command, str(file)], stdout=subprocess.PIPE, text=True, env=HERE_ONLY)
        self.before = self._told()

    def _told(self) -> dict[str, Any]:
        assert self._process.stdout is not None
        told: dict[str, Any] = json.loads(self._process.stdout.readline())
        return told

    def told(self) -> dict[str, Any]:
        """What it has done when it has taken all that was published before."""
        self._wire.send(self._wire.frame(f"{self.prefix}/mark", b"mark"), 1)
        return self._told()

    def round(self, readings: Readings, number: int, pace: Pace) -> None:
        frames, _ = self._wire.frames(islice(readings.under(self.prefix), number))
        before = self.told()
        began = time.perf_counter()
        self._wire.send(frames, number)
        after = self.told()
        seconds = time.perf_counter() - began
        taken, cpu, written = (after[key] - before[key] for key in ("count", "cpu_s", "written"))
        pace.add(taken, seconds, cpu, written)

    def close(self) -> None:
        self._process.kill()
        self._process.wait(10)
        assert self._process.stdout is not None
        self._process.stdout.close()
        self._wire.close()


class Watched(Daemon):
    """The service, whose store and processor time are looked at from outside."""

    timed: Path | None = None
    _brought = 0

    def start(self, *arguments: str, ready: bool = True) -> None:
        if self.timed is None:
            super().start(*arguments, ready=ready)
            return
        command = [sys.executable, "-m", "tests.bench.timed_run", str(self.timed), "run", "--config", str(self.config)]
        with self.log_file.open("ab") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log, env=HERE_ONLY)
        until(self.answers, "the daemon does not answer")

    def cpu_s(self) -> float:
        fields = Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / TICKS

    def written(self) -> int:
        """Bytes handed to block devices so far, with those of bringing what lies in SQLite's log to its place.

        That is done here, so that none of it is left to be done later and uncounted.
        """
        before = written_bytes()
        with closing(sqlite3.connect(self.store, timeout=10)) as store:
            store.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()
        self._brought += written_bytes() - before
        return written_bytes(str(self.pid)) + self._brought

    def kept(self) -> int:
        """How many readings are committed."""
        return int(self.rows("SELECT count(*) FROM reading")[0][0])

    def until_kept(self, number: int) -> int:
        """Wait for at least so many readings; look only when there was a commit."""
        deadline = time.monotonic() + LONGEST_ROUND_S
        with closing(sqlite3.connect(f"file:{self.store}?mode=ro", uri=True)) as rows:
            version = None
            while time.monotonic() < deadline:
                (newest,) = rows.execute("PRAGMA data_version").fetchone()
                if newest != version:
                    version = newest
                    (kept,) = rows.execute("SELECT count(*) FROM reading").fetchone()
                    if kept >= number:
                        return int(kept)
                time.sleep(0.005)
        raise RuntimeError(f"not kept in time:\n{self.log[-2000:]}")

    def round(self, wire: WirePublisher, readings: Readings, number: int, pace: Pace) -> None:
        frames, published = wire.frames(islice(readings.under("shed"), number + BEYOND))
        before, written, cpu = self.kept(), self.written(), self.cpu_s()
        began = time.perf_counter()
        wire.send(frames, published)
        kept = self.until_kept(before + number) - before
        seconds = time.perf_counter() - began
        pace.add(kept, seconds, self.cpu_s() - cpu, self.written() - written)
        self.until_kept(before + published)


class Catcher(Phone):
    def until_about(self, text: str, number: int) -> None:
        """Return as soon as so many letters about it have come."""
        deadline = time.monotonic() + PATIENCE_S
        while len(self.about(text)) < number:
            if time.monotonic() > deadline:
                raise RuntimeError(f"push {number} did not come; before it: {self.titles[-3:]}")
            time.sleep(0.0003)


class Bench:
    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self.folder = folder
        self._stack = stack
        lines = ["persistence false", "autosave_on_changes false", "set_tcp_nodelay true"]
        self.broker = Mosquitto(folder / "broker", lines)
        self.broker.start()
        stack.callback(self.broker.kill)
        self.phone = Catcher()
        self.phone.start()
        stack.callback(self.phone.stop)
        self.readings = Readings()
        self.wire = WirePublisher(self.broker.host, self.broker.port)
        stack.callback(self.wire.close)

    def say_water(self, vessel: str, celsius: float) -> None:
        self.wire.send(self.wire.frame(*self.readings.water(vessel, celsius)), 1)

    def consumer(self, kind: str) -> Consumer:
        made = Consumer(kind, self.broker, self.folder)
        self._stack.callback(made.close)
        return made

    def daemon(self, name: str, timed: Path | None = None) -> Watched:
        folder = self.folder / name
        folder.mkdir()
        secret = folder / "hook.secret"
        secret.write_text(SECRET)
        secret.chmod(0o600)
        made = Watched(folder, shed(self.broker.url, str(self.phone.port)))
        made.timed = timed
        self._stack.callback(made.tear_down)
        made.start()
        until(made.connected)
        with Client(made.config) as client:
            for vessel in BATCHES:
                client.post("/batches", {"vessel": vessel, "cysts_g": 2})
        return made
