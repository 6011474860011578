"""The service's unit, judged by systemd's own tools, and the words that the real process gives its manager."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest

from tests.system.daemon import HERE_ONLY, PATIENCE_S, SWIMUP, configuration, quiet_port, until, water

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.system.daemon import Daemon

DEPLOY: Final = Path(__file__).parents[2] / "deploy"
WORST_SCORE: Final = 2.0
"""Of 10, as ``systemd-analyze security`` reckons: what a service could do if it were taken over."""

needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None and os.environ.get("CI") != "true", reason="systemd-analyze is missing"
)


def analyze(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = ["systemd-analyze", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=False)


@pytest.fixture
def unit(tmp_path: Path) -> Path:
    """The unit and its drop-in in a folder of their own; the program is the one under test, as verify looks for it."""
    text = (DEPLOY / "swimup.service").read_text()
    made = tmp_path / "swimup.service"
    made.write_text(text.replace("/opt/swimup/bin/swimup", SWIMUP))
    (tmp_path / "swimup.service.d").mkdir()
    shutil.copy(DEPLOY / "log-limits.conf", tmp_path / "swimup.service.d")
    return made


@needs_systemd
def test_the_service_is_fenced_in() -> None:
    """Taken over, it could do little: systemd reckons an exposure of at most 2.0."""
    done = analyze("security", "--offline=true", str(DEPLOY / "swimup.service"))
    found = re.search(r"Overall exposure level for swimup\.service: ([0-9.]+)", done.stdout)
    assert found, done.stdout + done.stderr
    assert float(found[1]) <= WORST_SCORE


@needs_systemd
def test_systemd_understands_every_line(unit: Path) -> None:
    """Its own check finds nothing to say about the unit and its drop-in."""
    done = analyze("verify", str(unit))
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@needs_systemd
@pytest.mark.parametrize("file", ["swimup.service", "swimup.service.d/log-limits.conf"])
def test_a_misspelt_line_would_be_found(unit: Path, file: str) -> None:
    """The check above reads both files: a key that does not exist is named, in either."""
    spoilt = unit.parent / file
    spoilt.write_text(spoilt.read_text().replace("[Service]\n", "[Service]\nWatchdogSek=1\n"))
    assert "WatchdogSek" in analyze("verify", str(unit)).stderr


def test_broker_and_clock_are_wished_for_and_not_required() -> None:
    """Without broker or time service it starts all the same, and says what is missing."""
    lines = (DEPLOY / "swimup.service").read_text().splitlines()
    wants = " ".join(line for line in lines if line.startswith("Wants=")).removeprefix("Wants=").split()
    assert {"mosquitto.service", "time-sync.target"} <= set(wants)
    assert not [line for line in lines if line.startswith(("Requires=", "BindsTo=", "Requisite="))]
    assert {"Type=notify", "Restart=on-failure"} <= set(lines)
    for limit in ("WatchdogSec", "MemoryMax", "TasksMax", "StartLimitBurst"):
        assert any(line.startswith(f"{limit}=") for line in lines), limit


class Manager:
    """Where a service manager listens."""

    def __init__(self, path: Path) -> None:
        self.path = str(path)
        self.words: list[str] = []
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(self.path)
        self._socket.setblocking(False)

    def hears(self, word: str) -> bool:
        """Whether it has been said by now."""
        with suppress(BlockingIOError):
            while True:
                self.words.append(self._socket.recv(100).decode())
        return word in self.words

    def close(self) -> None:
        self._socket.close()


@pytest.fixture
def manager(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Manager]:
    made = Manager(tmp_path / "notify")
    monkeypatch.setitem(HERE_ONLY, "NOTIFY_SOCKET", made.path)
    monkeypatch.setitem(HERE_ONLY, "WATCHDOG_USEC", "4000000")
    yield made
    made.close()


@pytest.mark.system
def test_it_is_ready_and_alive_without_a_broker(manager: Manager, installed_daemons: Callable[[str], Daemon]) -> None:
    """Where no broker answers the manager still hears that it is ready, then that it lives, and at the end that it stops."""
    daemon = installed_daemons(configuration(f"mqtt://127.0.0.1:{quiet_port()}", water("ash")))
    daemon.start()
    until(lambda: manager.hears("WATCHDOG=1"))
    assert manager.words[0] == "READY=1"
    assert not daemon.bench()["broker"]["connected"]
    assert daemon.terminate() == 0
    assert manager.hears("STOPPING=1")
