"""Word to the service manager, heard at a real socket."""

from __future__ import annotations

import os
import socket
from typing import TYPE_CHECKING

import pytest

from monitor.service.watchdog import Watchdog
from tests.logs import heard

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


class Manager:
    """What a service manager listens at."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind("\0" + address[1:] if address.startswith("@") else address)
        self.socket.setblocking(False)

    def heard(self) -> list[str]:
        words = []
        while True:
            try:
                words.append(self.socket.recv(100).decode())
            except BlockingIOError:
                return words


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Manager]:
    made = Manager(str(tmp_path / "notify") if request.param == "path" else f"@swimup-{os.getpid()}-{id(request)}")
    yield made
    made.socket.close()


class Hands:
    """A steady clock that stands where it is put."""

    at = 100.0

    def __call__(self) -> float:
        return self.at


def test_life_is_shown_several_times_a_period_unless_something_is_stuck(
    manager: Manager, caplog: pytest.LogCaptureFixture
) -> None:
    """Asked for word every 60 s it gives it every 15 s; what is stuck silences it and is logged once in and once out."""
    hands = Hands()
    watchdog = Watchdog({"NOTIFY_SOCKET": manager.address, "WATCHDOG_USEC": "60000000"}, hands)
    watchdog.ready()
    for second in range(61):
        hands.at = 100.0 + second
        watchdog.alive("")
    assert manager.heard() == ["READY=1"] + 5 * ["WATCHDOG=1"]
    with heard(caplog) as logs:
        for second in range(61, 200):
            hands.at = 100.0 + second
            watchdog.alive("the page has ended")
        assert manager.heard() == []
        watchdog.alive("")
    assert [line["event"] for line in logs] == ["watchdog.withheld", "watchdog.resumed"]
    watchdog.stopping()
    assert manager.heard() == ["WATCHDOG=1", "STOPPING=1"]


@pytest.mark.parametrize("more", [{}, {"WATCHDOG_USEC": "0"}, {"WATCHDOG_USEC": "9000", "WATCHDOG_PID": "1"}])
def test_a_watchdog_that_was_not_asked_for_is_not_served(manager: Manager, more: dict[str, str]) -> None:
    """Without a period, or with one meant for another process, only beginning and end are told."""
    watchdog = Watchdog({"NOTIFY_SOCKET": manager.address} | more)
    watchdog.ready()
    watchdog.alive("")
    assert manager.heard() == ["READY=1"]


def test_without_a_manager_nothing_is_said(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Started by hand there is nobody to tell, and one that does not listen is no reason to fail."""
    Watchdog({"WATCHDOG_USEC": "9000"}).alive("")
    with heard(caplog) as logs:
        Watchdog({"NOTIFY_SOCKET": str(tmp_path / "nobody")}).ready()
    assert [line["event"] for line in logs] == ["manager.unreached"]
