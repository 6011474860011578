"""A real mosquitto for every floor of the tests."""

from __future__ import annotations

import os
import pwd
import secrets
import signal
import socket
import subprocess
import time
from collections import deque
from contextlib import suppress
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    BrokerFactory = Callable[..., "Mosquitto"]

START_S = 10.0
FIRE = "fire"  # the property of a test that tells how a fault went
FIRE_HEAD = "| fault | promise | tried | kept | seconds |\n|---|---|---:|---:|---:|"

# How fast an example is depends on what else the machine does; speed is measured in tests/bench.
settings.register_profile("swimup", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("swimup")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """What faults were tried, and how often a promise was kept."""
    reports = [report for key in ("passed", "failed") for report in terminalreporter.stats.get(key, ())]
    lines = sorted(str(value) for report in reports for name, value in report.user_properties if name == FIRE)
    if lines:
        terminalreporter.section("faults")
        terminalreporter.write_line("\n".join([FIRE_HEAD, *lines]))


_GIVEN: deque[int] = deque(maxlen=300)


def free_port() -> int:
    """A port of the loopback address that nobody has, from below those that connections get: it stays free until it is bound.

    That may be long after, and again after a kill: so none is given twice soon, and each worker of the suite has its own.
    """
    worker = os.environ.get("PYTEST_XDIST_WORKER", "").removeprefix("gw")
    first, count = (20_000 + int(worker) % 8 * 1_500, 1_500) if worker else (20_000, 12_000)
    while True:
        port = first + secrets.randbelow(count)  # not of the seeded dice: the processes of the suite throw alike
        with socket.socket() as trial, suppress(OSError):
            trial.bind(("127.0.0.1", port))
            if port not in _GIVEN:
                _GIVEN.append(port)
                return port


class Mosquitto:
    """A broker of our own on the loopback address; it keeps its port over restarts.

    ``extra`` are lines of its configuration; what they say of listeners is for the one listener there is. Each change
    is saved at once, so that :meth:`kill` loses nothing that was acknowledged. When the tests run as root the broker
    stays root: it could not read the test's folder as its own user.
    """

    def __init__(self, folder: Path, extra: Iterable[str] = (), *, anonymous: bool = True) -> None:
        self.folder = folder
        self.host = "127.0.0.1"
        self.port = free_port()
        self.log = folder / "mosquitto.log"
        self._config = folder / "mosquitto.conf"
        self._process: subprocess.Popen[bytes] | None = None
        folder.mkdir(parents=True, exist_ok=True)
        lines = [
            f"user {pwd.getpwuid(os.geteuid()).pw_name}",
            "per_listener_settings false",
            f"allow_anonymous {str(anonymous).lower()}",
            "persistence true",
            f"persistence_location {folder}/",
            "autosave_on_changes true",
            "autosave_interval 1",
            "max_inflight_messages 2000",
            "max_queued_messages 100000",
            f"listener {self.port} {self.host}",
            *extra,
        ]
        self._config.write_text("\n".join(lines) + "\n")

    @property
    def url(self) -> str:
        return f"mqtt://{self.host}:{self.port}"

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def start(self) -> None:
        """Start it and wait until it takes connections."""
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(["mosquitto", "-c", str(self._config)], stdout=log, stderr=log)
        until = time.monotonic() + START_S
        while time.monotonic() < until and self._process.poll() is None:
            try:
                socket.create_connection((self.host, self.port), 1).close()
            except OSError:
                time.sleep(0.02)
            else:
                return
        raise RuntimeError(f"mosquitto did not start: {self.log.read_text()}")

    def stop(self) -> None:
        """An orderly end; the store is saved."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """An end without warning."""
        self._end(signal.SIGKILL)

    def restart(self) -> None:
        self.stop()
        self.start()

    def empty(self) -> None:
        """Forget sessions, queues and retained messages; only while it is stopped."""
        (self.folder / "mosquitto.db").unlink(missing_ok=True)

    def publish(
        self, topic: str, *payloads: str, qos: int = 1, retain: bool = False, options: Iterable[str] = ()
    ) -> None:
        """Publish with the broker's own tool, one message a payload (none may hold a line feed), and wait for it."""
        command = ["mosquitto_pub", "-h", self.host, "-p", str(self.port), "-t", topic, "-q", str(qos), *options]
        if retain:
            command.append("-r")
        text = "".join(f"{payload}\n" for payload in payloads).encode()
        subprocess.run([*command, "-l"], input=text, check=True, timeout=30)

    def _end(self, number: signal.Signals) -> None:
        if self._process is not None:
            self._process.send_signal(number)
            self._process.wait(10)
            self._process = None


@pytest.fixture
def brokers(tmp_path: Path) -> Iterator[BrokerFactory]:
    """Makes brokers that end with the test: ``brokers(extra=[...], anonymous=True, start=True)``."""
    made: list[Mosquitto] = []

    def make(extra: Iterable[str] = (), *, anonymous: bool = True, start: bool = True) -> Mosquitto:
        broker = Mosquitto(tmp_path / f"broker-{len(made)}", extra, anonymous=anonymous)
        made.append(broker)
        if start:
            broker.start()
        return broker

    yield make
    for broker in made:
        broker.kill()


@pytest.fixture
def mosquitto(brokers: BrokerFactory) -> Mosquitto:
    """A started broker that anybody on the loopback address may use."""
    return brokers()
