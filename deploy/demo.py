"""The demo: an embedded broker, a simulated shed at 60 times real speed, the monitor, its page, and a phone to ring.

Everything listens on the loopback address only and is gone afterwards. Run it through ``deploy/demo.sh``.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from datetime import datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.error import URLError
from urllib.request import urlopen

import click

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import FrameType

HERE = Path(__file__).resolve().parent.parent
EPOCH = "2026-03-03T18:00:00Z"
SPEED = 60
BEGIN, NEARLY = "2026-02-28T18:00:00Z", "2026-03-03T17:50:00Z"
HISTORY = "3 d"  # from BEGIN to EPOCH
STILL_S = 120.0  # real seconds in which nothing has come: however slow the machine, something is wrong
LEAD_S = (
    25.0  # real seconds for three days of history to be told before simulated time begins; half of it on a fast machine
)
LOGGED = (  # what a keeper logged before the demo opens; words of ``swimup batch``, and when
    ("start ash --lot tin-7 --cysts 2g --litres 1.5 --salinity 25", "2026-02-28T20:00:00Z"),
    ("start birch --lot tin-8 --cysts 2.5g --litres 2 --salinity 25", "2026-02-28T22:00:00Z"),
    ("seen ash-2026-02-28 first", "2026-03-01T13:00:00Z"),
    ("seen birch-2026-02-28 some", "2026-03-01T15:20:00Z"),
    ("harvest birch-2026-02-28 --nauplii 390000", "2026-03-01T20:00:00Z"),
    ("harvest ash-2026-02-28 --nauplii 290000", "2026-03-01T21:00:00Z"),
    ("start birch --lot tin-8 --cysts 3g --litres 2 --salinity 25", "2026-03-02T17:00:00Z"),
    ("start ash --lot tin-7 --cysts 2g --litres 1.5 --salinity 25", "2026-03-02T21:00:00Z"),
    ("start cedar --lot tin-8 --cysts 1g --litres 1 --salinity 25", "2026-03-03T16:00:00Z"),
)
FOOD = (  # what the keeper tells of who eats; words of ``swimup``
    "brood add killi-3 --fish annual-killifish --larvae 60 --spawned 2026-02-10 --swam-up 2026-02-27",
    "brood add cichlid-2 --fish dwarf-cichlid --larvae 90 --spawned 2026-02-24",
    "brood add gourami-1 --fish gourami --larvae 200 --spawned 2026-03-01",
    "eater set adults 8000",
    "store chill fridge --nauplii 180000 --litres 0.5 --batch birch-2026-02-28",
)
STORY = """
What will happen (one minute here is one hour in the shed):
  now     ash is near its hatch; birch has hatched and waits to be harvested; cedar was started two hours ago
  0:30    the probe in birch tells 85 C once: its power-on value, kept aside, no alarm
  1:00    birch's air pump stops over hatched nauplii: the phone rings within moments, with the minutes left
  2:00    the hose of cedar kinks: the page says that its air is weak; no phone rings while its cysts have enough
  3:00    the shed's heating fails and a cold night begins: how late will cedar be?
  6:00    the probe in cedar's water falls silent for four hours
Who eats is told too: three broods and some adults. The page Food says what to start when, so that no meal is short.
Try on the page: "Settling", "I see ...", "Harvested", and acknowledge an alarm. Ctrl-C ends it all.
"""


@dataclass
class Phone:
    """Catches what the monitor sends to a phone, over HTTP on the loopback address."""

    told: list[str] = field(default_factory=list)

    def serve(self) -> ThreadingHTTPServer:
        told = self.told

        class Catcher(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = json.loads(self.rfile.read(int(self.headers.get("Content-Length", 0))))
                told.append(body.get("title", ""))
                lines = [line for line in body.get("message", "").splitlines() if line and not line.startswith("ref ")]
                sys.stdout.write(f"\n  [phone] {body.get('title', '')}\n" + "".join(f"          {x}\n" for x in lines))
                sys.stdout.flush()
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: Any) -> None:
                """Nothing: the phone's own line is enough."""

        server = ThreadingHTTPServer(("127.0.0.1", 0), Catcher)
        threading.Thread(target=server.serve_forever, name="phone", daemon=True).start()
        return server


def free_port(wanted: int = 0) -> int:
    """``wanted`` if nobody listens there, else any free port of the loopback address."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", wanted))
        except OSError:
            probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextlib.contextmanager
def broker(folder: Path, *, embedded: bool) -> Iterator[int]:
    """Mosquitto when it is on the PATH, else the broker that comes as a Python package; yields its port."""
    port = free_port()
    path = os.pathsep.join([os.environ.get("PATH", ""), "/usr/sbin"])
    found = None if embedded else shutil.which("mosquitto", path=path)
    if found is None:
        from iotcore import Broker  # noqa: PLC0415  (only needed here)

        with Broker(port=port, listen="127.0.0.1"):
            print(f"Broker: embedded, on 127.0.0.1:{port}")
            yield port
        return
    config = folder / "mosquitto.conf"
    config.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\n"
        "max_inflight_messages 2000\nmax_queued_messages 100000\n"
    )
    with subprocess.Popen([found, "-c", str(config)], stderr=subprocess.DEVNULL) as process:
        print(f"Broker: mosquitto, on 127.0.0.1:{port}")
        try:
            yield port
        finally:
            process.terminate()


@contextlib.contextmanager
def child(name: str, command: list[str], log: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A program that is ended with SIGTERM when the demo ends."""
    with log.open("wb") as sink, subprocess.Popen(command, stdout=sink, stderr=sink) as process:
        try:
            yield process
        finally:
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)
                try:
                    process.wait(15)
                except subprocess.TimeoutExpired:
                    print(f"{name} did not end in time")
                    process.kill()


def configuration(folder: Path, broker_port: int, page_port: int, phone_port: int) -> Path:
    """The shed's configuration with the demo's own broker, store, page and phone."""
    text = (HERE / "config/shed.toml").read_text()
    text = text.replace("mqtt://127.0.0.1:1883", f"mqtt://127.0.0.1:{broker_port}")
    text += (
        f'\n[store]\npath = "{folder / "shed.sqlite3"}"\ncommit_every = "10 s"\n'
        f"\n[web]\nport = {page_port}\n"
        '\n[[cold_store]]\nid = "fridge"\n'  # the simulated world has none: life in it is reckoned for a refrigerator
        f'\n[[channel]]\nid = "phone"\nurl = "json://127.0.0.1:{phone_port}/"\n'
    )
    path = folder / "shed.toml"
    path.write_text(text)
    return path


def bench(url: str) -> dict[str, Any] | None:
    """The monitor's view of the bench; ``None`` while it does not answer."""
    try:
        with urlopen(f"{url}/api/v1/bench", timeout=2) as answer:
            view: dict[str, Any] = json.load(answer)
            return view
    except (URLError, OSError, ValueError):
        return None


def wait_for(what: str, ready: Any, seconds: float, *children: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + seconds
    while not ready():
        if any(process.poll() is not None for process in children):
            raise SystemExit(f"{what}: a part of the demo ended early")
        if time.monotonic() > until:
            raise SystemExit(f"{what}: nothing came for {seconds:g} s")
        time.sleep(0.1)


def history_told(url: str) -> float:
    """How much of the history is in, from 0 to 1: of the vessel of whose water the least is."""
    view = bench(url)
    waters = [] if view is None else [vessel["water"] for vessel in view["vessels"]]
    if not waters or None in waters:
        return 0.0
    begin, nearly = (datetime.fromisoformat(end) for end in (BEGIN, NEARLY))
    least = min(datetime.fromisoformat(water["time"]) for water in waters)
    return min(max((least - begin) / (nearly - begin), 0.0), 1.0)


def hear_history(url: str, *children: subprocess.Popen[bytes]) -> None:
    """Until every vessel has a water temperature from close to the start."""
    told = 0.0
    with click.progressbar(length=100, label="Loading three days of the shed's history", file=sys.stdout) as bar:
        while told < 1.0:
            wait_for("The history", lambda before=told: history_told(url) > before, STILL_S, *children)
            told = max(history_told(url), told)
            bar.update(round(100 * told) - bar.pos)


def swimup(*arguments: str) -> list[str]:
    return [str(Path(sys.executable).with_name("swimup")), *arguments]


def log_before(config: Path) -> None:
    """What the keeper had logged before, batches and who eats; through the same commands a keeper uses, loaded once for all."""
    from monitor.cli import swimup as commands  # noqa: PLC0415  (the monitor is to start first)

    told = [["batch", *words.split(), "--time", when] for words, when in LOGGED] + [words.split() for words in FOOD]
    with click.progressbar(told, label="Logging what the keeper did", file=sys.stdout) as each:
        for arguments in each:
            try:
                with contextlib.redirect_stdout(io.StringIO()):
                    commands.main([*arguments, "--config", str(config)], prog_name="swimup", standalone_mode=False)
            except click.ClickException as refused:
                raise SystemExit(f"swimup {' '.join(arguments)}: {refused.format_message()}") from refused


def watch(url: str, seconds: float | None, halt: threading.Event) -> int:
    """Until the time is over or Ctrl-C; counts the times an ETA was on the bench, and shows how far it is."""
    seen: set[tuple[str, str]] = set()
    began = time.monotonic()
    while not halt.wait(1.0):
        view = bench(url)
        for vessel in () if view is None else view["vessels"]:
            batch = vessel["batch"]
            if batch is not None and batch["ready"]["mid"] is not None:
                seen.add((batch["id"], batch["ready"]["mid"]))
        passed = time.monotonic() - began
        if seconds is not None and passed >= seconds:
            break
        if sys.stdout.isatty() and view is not None:
            end = "" if seconds is None else f" of {seconds / 60:g} min"
            print(f"\r  in the shed it is {view['now'][11:16]} UTC; {passed / 60:.1f} min{end} ", end="", flush=True)
    return len(seen)


def run(minutes: float | None, folder: Path, halt: threading.Event, *, embedded: bool) -> int:
    phone = Phone()
    catcher = phone.serve()
    page_port = free_port(8417)
    url = f"http://127.0.0.1:{page_port}"
    anchor = str(time.time() + LEAD_S)
    sim = ["--sim-epoch", EPOCH, "--sim-speed", str(SPEED), "--sim-anchor", anchor]
    with contextlib.ExitStack() as stack:
        port = stack.enter_context(broker(folder, embedded=embedded))
        config = configuration(folder, port, page_port, catcher.server_address[1])
        monitor_log, world_log = folder / "monitor.log", folder / "world.log"
        monitor = stack.enter_context(child("the monitor", swimup("run", "--config", str(config), *sim), monitor_log))
        wait_for("The monitor", lambda: bench(url) is not None, STILL_S, monitor)
        world_command = [
            str(Path(sys.executable).with_name("swimup-sim")),
            "run",
            str(HERE / "config/shed.scenario.toml"),
        ]
        world_command += ["--broker", f"mqtt://127.0.0.1:{port}", "--history", HISTORY, *sim]
        world_command += ["--truth", str(folder / "truth.jsonl")]
        world = stack.enter_context(child("the simulated shed", world_command, world_log))
        hear_history(url, monitor, world)
        log_before(config)
        print(f"\nThe page: {url}/\n{STORY}")
        etas = watch(url, None if minutes is None else minutes * 60, halt)
        ended_early = monitor.poll() is not None or world.poll() is not None
    catcher.shutdown()
    print(f"\nSummary: {etas} different ETAs were shown, {len(phone.told)} alerts reached the phone:")
    for title in phone.told:
        print(f"  - {title}")
    if ended_early or monitor.returncode:
        print(
            "A part of the demo ended early:", monitor_log.read_text()[-2000:], world_log.read_text()[-2000:], sep="\n"
        )
        return 1
    if halt.is_set():
        return 0
    return 0 if etas and phone.told else 1


def main() -> int:
    parser = argparse.ArgumentParser(description="swimup in an invented shed, on this machine alone")
    parser.add_argument("--minutes", type=float, help="end by itself after so many minutes, with a summary")
    parser.add_argument("--embedded", action="store_true", help="the Python broker, even where mosquitto is installed")
    arguments = parser.parse_args()
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(line_buffering=True)
    halt = threading.Event()

    def end(_signal: int, _frame: FrameType | None) -> None:
        halt.set()

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, end)
    with tempfile.TemporaryDirectory(prefix="swimup-demo-") as folder:
        return run(arguments.minutes, Path(folder), halt, embedded=arguments.embedded)


if __name__ == "__main__":
    sys.exit(main())
