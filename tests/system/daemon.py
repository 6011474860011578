"""The monitor as a keeper runs it: the installed command, its own folder, and a phone that catches what it is sent."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import traceback
from contextlib import closing
from datetime import datetime
from http.client import HTTPException
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Protocol
from urllib.error import URLError
from urllib.request import ProxyHandler, Request, build_opener

from click.testing import CliRunner
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from monitor.cli import swimup as group
from tests.conftest import free_port

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from tests.conftest import Mosquitto

SWIMUP: Final = str(Path(sys.executable).with_name("swimup"))
UNCOMPILED: Final = "PYTHONDONTWRITEBYTECODE"
PROXYLESS: Final = {"NO_PROXY": "127.0.0.1", "no_proxy": "127.0.0.1"}
HERE_ONLY: Final = {name: value for name, value in os.environ.items() if name != UNCOMPILED} | PROXYLESS
"""What a process finds: no proxy on the way, and modules that are compiled once, as an installed command's are."""
OPENER: Final = build_opener(ProxyHandler({}))  # whatever proxy the environment names is not on the way
PATIENCE_S: Final = 60.0
"""Far longer than a healthy machine needs for anything here; reaching it is a failure, not a measurement."""


def quiet_port() -> int:
    """A port that stays free until it is bound."""
    return free_port()


def until(condition: Callable[[], object], what: str = "the awaited did not come", patience: float = PATIENCE_S) -> Any:
    """Return what the condition gives as soon as that is true; AssertionError when it never is.

    What takes long is asked more rarely, a fiftieth of the time late at most: to be asked is work for a daemon, too.
    """
    began = time.monotonic()
    while not (found := condition()):
        waited = time.monotonic() - began
        if waited > patience:
            raise AssertionError(what)
        time.sleep(min(max(0.02, waited / 50), 0.2))
    return found


def swimup(*arguments: str, stdin: str | None = None) -> subprocess.CompletedProcess[str]:
    """Run the command to its end."""
    command = [SWIMUP, *arguments]
    return subprocess.run(
        command, input=stdin, capture_output=True, text=True, timeout=PATIENCE_S, check=False, env=HERE_ONLY
    )


def said(*arguments: str) -> subprocess.CompletedProcess[str]:
    """What ``swimup`` says and ends with, run in this process: to load it anew takes longer than most of what it does."""
    done = CliRunner(env=PROXYLESS).invoke(group, arguments, prog_name="swimup")
    error = done.stderr
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        error += "".join(traceback.format_exception(done.exception))
    return subprocess.CompletedProcess(["swimup", *arguments], done.exit_code, done.stdout, error)


def send(broker: Mosquitto, messages: Iterable[tuple[str, str]], pause_s: float = 0.0) -> None:
    """Publish (topic, payload) after each other at QoS 1, and return when the broker has taken all."""
    client = Client(CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(1000)
    client.connect(broker.host, broker.port)
    client.loop_start()
    try:
        sent = []
        for topic, payload in messages:
            sent.append(client.publish(topic, payload, qos=1))
            time.sleep(pause_s)
        for message in sent:
            message.wait_for_publish(PATIENCE_S)
            assert message.is_published(), "the broker did not take a message"
    finally:
        client.disconnect()
        client.loop_stop()


def retained(broker: Mosquitto, topic: str) -> dict[str, Any]:
    """The JSON document kept at the broker under a topic; empty when there is none yet."""
    command = ["mosquitto_sub", "-h", broker.host, "-p", str(broker.port), "-t", topic]
    command += ["-C", "1", "-W", "1", "--retained-only"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=False)
    document: dict[str, Any] = json.loads(done.stdout or "{}")
    return document


def table(kind: str, /, **options: object) -> str:
    """One entry of a list of tables in TOML, such as ``[[probe]]``."""
    lines = [f"{key} = {json.dumps(value)}" for key, value in options.items()]
    return "\n".join([f"[[{kind}]]", *lines, ""])


def water(vessel: str, /, **options: object) -> str:
    """A probe of bare numbers; ``every`` is long, so that it falls silent in no test that does not ask for it."""
    return probe(f"{vessel}-water", f"shed/{vessel}/water", measures="water", vessel=vessel, **options)


def air(vessel: str, /, **options: object) -> str:
    return probe(f"{vessel}-air", f"shed/{vessel}/air", measures="air", vessel=vessel, **options)


def probe(identity: str, topic: str, /, **options: object) -> str:
    return table("probe", **{"id": identity, "topic": topic, "every": "20 min", **options})


def configuration(
    broker: str,
    *parts: str,
    vessels: Iterable[str] = ("ash",),
    phone: str | None = None,
    commit_every: str = "1 s",
    port: int | None = None,
    alarms: str = "",
    timezone: str = "Europe/Berlin",
    meals: Iterable[str] = ("07:00", "18:00"),
) -> str:
    """A shed with its vessels and the tin-7; ``parts`` are further tables, such as probes.

    It has no quiet hours and no weekly test unless ``alarms`` says so: a test goes the same at any hour of any day.
    """
    if "quiet" not in alarms:
        alarms += "\nquiet = false"
    if "test" not in alarms:
        alarms += "\ntest = false"
    tables = [
        f'[site]\nid = "shed"\ntimezone = "{timezone}"\nfeeding_times = {json.dumps(list(meals))}\n',
        f'[broker]\nurl = "{broker}"\n',
        f'[store]\npath = "store/shed.sqlite3"\ncommit_every = "{commit_every}"\n',
        f"[web]\nport = {quiet_port() if port is None else port}\n",
        f"[alarms]\n{alarms}\n",
        *(table("vessel", id=vessel, litres=1.5) for vessel in vessels),
        table("lot", id="tin-7", strain="great-salt-lake", label_hatch_percent=80),
        *parts,
    ]
    if phone is not None:
        tables.append(table("channel", id="phone", url=phone))
    return "\n".join(tables)


class Process(Protocol):
    """What is needed of a process; one of ``subprocess`` has it."""

    @property
    def pid(self) -> int: ...
    @property
    def returncode(self) -> int | None: ...
    def poll(self) -> int | None: ...
    def wait(self, timeout: float | None = None) -> int: ...
    def send_signal(self, number: int, /) -> None: ...
    def kill(self) -> None: ...


class Daemon:
    """``swimup run`` with a configuration of its own; it may be started, ended and started again."""

    def __init__(self, folder: Path, text: str) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.config = folder / "swimup.toml"
        self.config.write_text(text)
        self.store = folder / "store/shed.sqlite3"
        self.log_file = folder / "daemon.log"
        port = next(line for line in text.splitlines() if line.startswith("port = ")).removeprefix("port = ")
        self.url = f"http://127.0.0.1:{port}"
        self.environment: dict[str, str] = {}  # what it finds there besides, from its next start on
        self._process: Process | None = None

    # -- its life

    def start(self, *arguments: str, ready: bool = True) -> None:
        """Start it; with ``ready``, wait until its API answers."""
        self._process = self._spawn(["run", "--config", str(self.config), *arguments])
        if ready:
            until(self.answers, "the daemon does not answer")

    def _spawn(self, command: list[str]) -> Process:
        with self.log_file.open("ab") as log:
            return subprocess.Popen([SWIMUP, *command], stdout=log, stderr=log, env=HERE_ONLY | self.environment)

    def answers(self) -> bool:
        """Whether its API does; AssertionError when it has ended."""
        assert self._process is not None
        assert self._process.poll() is None, f"the daemon has ended with {self._process.returncode}:\n{self.log}"
        try:
            return bool(self.bench())
        except (URLError, OSError, HTTPException):
            return False

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def terminate(self, patience: float = PATIENCE_S) -> int:
        """Ask it to end, as a service manager does; its exit code."""
        return self._end(signal.SIGTERM, patience)

    def kill(self) -> None:
        """End it without warning."""
        self._end(signal.SIGKILL)

    def wait(self, patience: float = PATIENCE_S) -> int:
        """The exit code of a daemon that ends by itself."""
        assert self._process is not None
        code = self._process.wait(patience)
        self._process = None
        return code

    def _end(self, number: signal.Signals, patience: float = PATIENCE_S) -> int:
        assert self._process is not None
        self._process.send_signal(number)
        code = self._process.wait(patience)
        self._process = None
        return code

    def tear_down(self) -> None:
        """Whatever a test has left running ends."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(PATIENCE_S)

    # -- what it shows

    @property
    def log(self) -> str:
        return self.log_file.read_text() if self.log_file.exists() else ""

    def logged(self, event: str) -> list[str]:
        """The lines of its log for one event."""
        return [line for line in self.log.splitlines() if f" event={event} " in f"{line} "]

    def page(self) -> str:
        with OPENER.open(f"{self.url}/", timeout=10) as answer:
            text: str = answer.read().decode()
            return text

    def bench(self) -> dict[str, Any]:
        with OPENER.open(f"{self.url}/api/v1/bench", timeout=10) as answer:
            view: dict[str, Any] = json.load(answer)
            return view

    def vessel(self, name: str = "ash") -> dict[str, Any]:
        found: dict[str, Any] = next(vessel for vessel in self.bench()["vessels"] if vessel["id"] == name)
        return found

    def water(self, vessel: str = "ash") -> float | None:
        """The water the bench shows, C."""
        shown = self.vessel(vessel)["water"]
        return None if shown is None else float(shown["value"])

    def until_water(self, celsius: float, vessel: str = "ash") -> None:
        """Wait until the bench shows this water, given in whole hundredths."""
        until(lambda: self.water(vessel) == celsius, f"the bench shows {self.water(vessel)} C, not {celsius} C")

    def ready_s(self, vessel: str = "ash") -> float:
        """When its batch will be ready, seconds since 1970."""
        return datetime.fromisoformat(self.batch(vessel)["ready"]["mid"]).timestamp()

    def until_ready(self, fits: Callable[[float], bool], what: str, vessel: str = "ash") -> None:
        """Wait until ``ready_s`` fits."""
        until(lambda: fits(self.ready_s(vessel)), what)

    def batch(self, vessel: str = "ash") -> dict[str, Any]:
        """The open batch of a vessel, once there is an estimate of it."""
        found: dict[str, Any] = until(lambda: self.vessel(vessel)["batch"], f"no batch is shown in {vessel}")
        return found

    def alarm(self, name: str) -> dict[str, Any] | None:
        """One alarm that is not normal."""
        return next((alarm for alarm in self.bench()["alarms"] if alarm["id"] == name), None)

    def connected(self) -> bool:
        return bool(self.bench()["broker"]["connected"]) and bool(self.logged("broker.connected"))

    # -- what is said to it, and what it keeps

    def command(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """``swimup`` with this daemon's configuration; ``said``, so in this process."""
        return said(*arguments, "--config", str(self.config))

    def post(self, path: str, **body: object) -> dict[str, Any]:
        """What ``swimup`` would say to its API, without the seconds that a command takes to load; what it answered."""
        token = self.store.with_name("cli.token").read_text().strip()
        headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
        asked = Request(f"{self.url}/api/v1/{path}", json.dumps(body).encode(), headers)  # noqa: S310  (our own)
        with OPENER.open(asked, timeout=PATIENCE_S) as answer:
            told: dict[str, Any] = json.load(answer)
            return told

    def told(self, *arguments: str) -> str:
        """Like ``command``, for one that must succeed; what it printed."""
        done = self.command(*arguments)
        assert done.returncode == 0, f"{arguments}: exit code {done.returncode}\n{done.stdout}{done.stderr}\n{self.log}"
        return done.stdout

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """Read its store from outside, as a backup would."""
        with closing(sqlite3.connect(f"file:{self.store}?mode=ro", uri=True)) as connection:
            return connection.execute(query).fetchall()

    def stored(self, probe: str) -> list[int]:
        """What is kept of a probe, in thousandths, smallest first."""
        query = "SELECT milli FROM reading JOIN series ON series.id = series WHERE probe = '{}' ORDER BY milli"
        return [row[0] for row in self.rows(query.format(probe))]

    def resident_mb(self) -> float:
        """What it holds in memory now, MB."""
        status = Path(f"/proc/{self.pid}/status").read_text()
        line = next(line for line in status.splitlines() if line.startswith("VmRSS:"))
        return int(line.split()[1]) / 1024


class Phone:
    """Where a channel ends: keeps each letter that arrives over HTTP. It keeps its port over stops and starts."""

    def __init__(self) -> None:
        self.letters: list[dict[str, Any]] = []
        self.port = quiet_port()
        self._server: ThreadingHTTPServer | None = None

    @property
    def url(self) -> str:
        """The address as a channel is configured with it."""
        return f"json://127.0.0.1:{self.port}/"

    @property
    def titles(self) -> list[str]:
        return [letter["title"] for letter in self.letters]

    def about(self, text: str) -> list[dict[str, Any]]:
        """The letters whose title says so."""
        return [letter for letter in self.letters if text in letter["title"]]

    def start(self) -> None:
        letters = self.letters

        class Catcher(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                letters.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
                self.send_response(200)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: Any) -> None:
                """Nothing: what counts is kept."""

        self._server = ThreadingHTTPServer(("127.0.0.1", self.port), Catcher)
        threading.Thread(target=self._server.serve_forever, args=(0.05,), name="phone", daemon=True).start()

    def stop(self) -> None:
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None
