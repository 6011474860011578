"""How fast readings go from the broker to committed and decided, beside a bare and a naive consumer; prints tables for people.

    python -m tests.bench.measure_ingest

It needs mosquitto on the PATH, and a temporary folder on a real disk. Three minutes. Nothing here is asserted: a loaded machine
measures itself; processor time and ratios within the run tell more there than rates. Rounds of all consumers take turns, each on topics
of its own with all the others idle. Of a round counts what was taken when it was last looked at, from the first byte published on; of
the service, only what is committed. See ``consumers`` for those beside it. The service is ``swimup run`` with thirty probes, a batch in
six of ten vessels, its page up and a webhook; for the time to a decision ``timed_run``, which is the same with a note of times.
"""

from __future__ import annotations

import json
import os
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack, closing
from dataclasses import dataclass, field
from itertools import count, cycle, islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from tests.bench.consumers import written_bytes
from tests.bench.wire_publisher import WirePublisher
from tests.conftest import Mosquitto
from tests.system.daemon import HERE_ONLY, Daemon, Phone, configuration, probe, quiet_port, table, until
from tests.system.shed_of_ten import BATCHES, VESSELS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

ROUNDS: Final = 5
BARE: Final = 15_000
NAIVE: Final = 250
SWIMUP: Final = 15_000
BEYOND: Final = 2_500  # published on top, so that the broker has more to give to the end
RATE: Final = 100  # readings a second while times are taken
TIMED_S: Final = 4.0  # of each turn
TURNS: Final = 5
PUSHES: Final = 120
PUSH_EVERY_S: Final = 0.3
HOME_COMMITS: Final = 6
COMMIT_S: Final = 6
HOME_RATE: Final = (
    30  # with a commit each 6 s it is 180 readings a commit, as thirty probes at 10 s and a commit each minute
)
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
    return configuration(broker, *probes, hook, vessels=VESSELS, commit_every=f"{COMMIT_S} s", alarms=delays)


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

    def start(self, *arguments: str, ready: bool = True) -> None:
        if self.timed is None:
            super().start(*arguments, ready=ready)
            return
        command = [sys.executable, "-m", "tests.bench.timed_run", str(self.timed), "run", "--config", str(self.config)]
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log, env=HERE_ONLY)
        until(self._answers, "the daemon does not answer")

    def cpu_s(self) -> float:
        fields = Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / TICKS

    def kept(self) -> int:
        """How many readings are committed."""
        return int(self.rows("SELECT count(*) FROM reading")[0][0])

    def until_kept(self, number: int) -> int:
        """Wait for at least so many readings; look only when there was a commit."""
        deadline = time.monotonic() + 120
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
        before, cpu, written = self.kept(), self.cpu_s(), written_bytes(str(self.pid))
        began = time.perf_counter()
        wire.send(frames, published)
        kept = self.until_kept(before + number) - before
        seconds = time.perf_counter() - began
        pace.add(kept, seconds, self.cpu_s() - cpu, written_bytes(str(self.pid)) - written)
        self.until_kept(before + published)


def at_rate(wire: WirePublisher, messages: Iterator[tuple[str, bytes]], rate: float, seconds: float) -> dict[str, int]:
    """Publish evenly; when each payload was, ns of the monotonic clock."""
    sent = {}
    begin = time.monotonic()
    for number in range(round(rate * seconds)):
        time.sleep(max(begin + number / rate - time.monotonic(), 0.0))
        topic, payload = next(messages)
        frame = wire.frame(topic, payload)
        sent[payload.decode()] = time.monotonic_ns()
        wire.send(frame, 1)
    return sent


def delays_ms(sent: dict[str, int], came: list[tuple[str, int]]) -> list[float]:
    """From published to there, of all that was timed. Raises when something did not come."""
    first: dict[str, int] = {}
    for payload, at in came:
        first.setdefault(payload, at)
    return [(first[payload] - at) / 1e6 for payload, at in sent.items()]


def quantiles(values: list[float]) -> tuple[float, float, float]:
    """Half, 99 of 100, and the worst."""
    cuts = statistics.quantiles(values, n=100, method="inclusive")
    return cuts[49], cuts[98], max(values)


class TimedPhone(Phone):
    """It notes when each letter came."""

    def wait_for(self, number: int, patience_s: float = 10.0) -> int:
        deadline = time.monotonic() + patience_s
        while len(self.letters) < number:
            if time.monotonic() > deadline:
                raise RuntimeError(f"{number} letters were awaited, {len(self.letters)} came")
            time.sleep(0.0002)
        return time.monotonic_ns()


def pushes_ms(wire: WirePublisher, readings: Readings, phone: TimedPhone) -> list[float]:
    """From the reading that decides it to the push at the catcher, with 100 readings a second beside.

    The water of a vessel jumps above 40 C, where the time that is left is none, so that no push gathers others; of three such
    readings the third is believed. Then the water is back.
    """
    others = readings.under("shed", tuple(vessel for vessel in VESSELS if vessel not in BATCHES))
    found = []
    for number, vessel in enumerate(islice(cycle(BATCHES), PUSHES)):
        at_rate(wire, others, RATE, PUSH_EVERY_S)
        for celsius in (41.0, 41.01):
            wire.send(wire.frame(*readings.water(vessel, celsius)), 1)
            time.sleep(0.004)
        already = len(phone.about("Too hot in"))
        began = time.monotonic_ns()
        wire.send(wire.frame(*readings.water(vessel, 41.02)), 1)
        while len(phone.about("Too hot in")) == already:
            if time.monotonic_ns() - began > 10_000_000_000:
                raise RuntimeError(f"push {number} about {vessel} did not come: {phone.titles[-3:]}")
            time.sleep(0.0003)
        found.append((time.monotonic_ns() - began) / 1e6)
        for celsius in (25.0, 25.01, 25.02):
            wire.send(wire.frame(*readings.water(vessel, celsius)), 1)
            time.sleep(0.004)
    return found


class Bench:
    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self.folder = folder
        self._stack = stack
        lines = ["persistence false", "autosave_on_changes false", "set_tcp_nodelay true"]
        self.broker = Mosquitto(folder / "broker", lines)
        self.broker.start()
        stack.callback(self.broker.kill)
        self.phone = TimedPhone()
        self.phone.start()
        stack.callback(self.phone.stop)
        self.readings = Readings()
        self.wire = WirePublisher(self.broker.host, self.broker.port)
        stack.callback(self.wire.close)

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
        for vessel in BATCHES:
            made.told("batch", "start", vessel, "--cysts", "2 g")
        return made


def rates(bench: Bench, daemon: Watched) -> dict[str, Pace]:
    bare, naive = bench.consumer("count"), bench.consumer("insert")
    paces = {name: Pace() for name in ("bare", "naive", "swimup")}
    for _ in range(ROUNDS):
        naive.round(bench.readings, NAIVE, paces["naive"])
        bare.round(bench.readings, BARE, paces["bare"])
        daemon.round(bench.wire, bench.readings, SWIMUP, paces["swimup"])
    return paces


def home_bytes(bench: Bench, daemon: Watched) -> float:
    """Bytes written a reading when as few readings share a commit as at home."""
    kept, written = daemon.kept(), written_bytes(str(daemon.pid))
    at_rate(bench.wire, bench.readings.under("shed"), HOME_RATE, COMMIT_S * HOME_COMMITS)
    daemon.until_kept(kept + HOME_RATE * COMMIT_S * HOME_COMMITS)
    return (written_bytes(str(daemon.pid)) - written) / (daemon.kept() - kept)


def decisions(bench: Bench) -> tuple[list[float], list[float]]:
    """Times to the bare consumer and to the decision, ms, in turns."""
    file = bench.folder / "decided.json"
    daemon = bench.daemon("timed", file)
    bare = bench.consumer("time")
    for_bare, for_swimup = bench.readings.under(bare.prefix), bench.readings.under("shed")
    sent_bare: dict[str, int] = {}
    sent: dict[str, int] = {}
    for _ in range(TURNS):
        sent_bare |= at_rate(bench.wire, for_bare, RATE, TIMED_S)
        sent |= at_rate(bench.wire, for_swimup, RATE, TIMED_S)
    time.sleep(1)
    daemon.terminate()
    return delays_ms(sent_bare, bare.told()["came"]), delays_ms(sent, json.loads(file.read_text()))


def measure(folder: Path, say: Callable[[str], None]) -> None:
    with ExitStack() as stack:
        bench = Bench(folder, stack)
        daemon = bench.daemon("daemon")
        paces = rates(bench, daemon)
        tell_rates(paces, say)
        written = home_bytes(bench, daemon)
        tell_bytes(paces, written, say)
        pushed = pushes_ms(bench.wire, bench.readings, bench.phone)
        daemon.terminate()
        bare, decided = decisions(bench)
        tell_times(
            {"published to counted, bare": bare, "published to decided": decided, "published to pushed": pushed}, say
        )


def tell_rates(paces: dict[str, Pace], say: Callable[[str], None]) -> None:
    say(
        "| consumer | readings a second | of the bare | processor time a reading | of the bare |\n|---|---:|---:|---:|---:|"
    )
    bare = paces["bare"]
    for name, pace in paces.items():
        times = statistics.median(mine / its for mine, its in zip(pace.rates, bare.rates, strict=True))
        work = statistics.median(mine / its for mine, its in zip(pace.cpu_us, bare.cpu_us, strict=True))
        rate, cpu = statistics.median(pace.rates), statistics.median(pace.cpu_us)
        say(
            f"| {name} | {rate:,.0f} ({min(pace.rates):,.0f}-{max(pace.rates):,.0f}) | {times:.3g} | {cpu:.0f} µs | {work:.2f} |"
        )
    faster = statistics.median(
        mine / its for mine, its in zip(paces["swimup"].rates, paces["naive"].rates, strict=True)
    )
    say(f"\nTo committed and decided {faster:.0f} times as fast as naive; medians of {ROUNDS} rounds in turns.\n")


def tell_bytes(paces: dict[str, Pace], home: float, say: Callable[[str], None]) -> None:
    naive, flood = (statistics.median(paces[name].written) for name in ("naive", "swimup"))
    say("| bytes written a reading | | naive has |\n|---|---:|---:|")
    say(f"| naive, {ROUNDS * NAIVE} readings | {naive:,.0f} | |")
    say(f"| 180 readings a commit, as at home; {HOME_COMMITS} commits | {home:,.0f} | {naive / home:.0f} times |")
    say(f"| at full speed | {flood:,.0f} | {naive / flood:.0f} times |")
    say("")


def tell_times(found: dict[str, list[float]], say: Callable[[str], None]) -> None:
    say(f"| at {RATE} readings a second | times | half within | 99 of 100 | worst |\n|---|---:|---:|---:|---:|")
    for name, values in found.items():
        half, most, worst = quantiles(values)
        say(f"| {name} | {len(values)} | {half:.1f} ms | {most:.1f} ms | {worst:.1f} ms |")


def main() -> None:
    with tempfile.TemporaryDirectory(prefix="swimup-measure-", dir="/var/tmp") as folder:
        measure(Path(folder), lambda line: print(line, flush=True))  # noqa: T201  (its purpose)


if __name__ == "__main__":
    main()
