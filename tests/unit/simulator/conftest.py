from __future__ import annotations

import copy
import socket
import subprocess
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pytest

from simulator.scenario import Scenario, scenario_from
from tests.conftest import free_port

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager
    from pathlib import Path

PLAIN: dict[str, Any] = {
    "seed": 3,
    "site": "shed",
    "start": "2026-03-03T18:00:00Z",
    "timezone": "Europe/Berlin",
    "lead": "1 d",
    "sampled_cysts": 400,
    "room": {"mean_c": 25.0, "swing_c": 6.0, "share": 0.2, "lag": "30 min"},
    "vessel": [{"id": "ash", "litres": 1.5}],
    "pump": [{"vessel": "ash"}],
    "tin": [{"id": "tin-1", "law": "briere", "median_h": 20.0, "spread": 0.12, "viable": 0.7, "batch_sd": 0}],
    "batch": [{"id": "one", "vessel": "ash", "at": "-6 h", "tin": "tin-1", "cysts_g": 1.0}],
    "probe": [
        {
            "id": "ash-water",
            "topic": "shed/ash/water",
            "measures": "water",
            "vessel": "ash",
            "noise_sd": 0.05,
            "step": 0.0625,
            "payload": {"style": "json", "value": "/c", "time": "/t", "sequence": "/n"},
        },
        {
            "id": "ash-air",
            "topic": "shed/ash/air",
            "measures": "air",
            "vessel": "ash",
            "payload": {"style": "json", "value": "/pump", "time": "/t"},
        },
    ],
}


@pytest.fixture
def plain() -> dict[str, Any]:
    """The tables of a small scenario, to be changed at will."""
    return copy.deepcopy(PLAIN)


@pytest.fixture
def make() -> Callable[..., Scenario]:
    """A small scenario with whole tables replaced."""

    def build(**tables: Any) -> Scenario:
        return scenario_from({**copy.deepcopy(PLAIN), **tables})

    return build


@pytest.fixture
def port() -> int:
    return free_port()


@pytest.fixture
def mosquitto(port: int, tmp_path: Path) -> Callable[[], AbstractContextManager[int]]:
    """Start a real broker on the port; it ends with the context."""
    settings = tmp_path / "mosquitto.conf"
    settings.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 100000\n")

    @contextmanager
    def running() -> Iterator[int]:
        with subprocess.Popen(
            ["mosquitto", "-c", str(settings)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as process:
            try:
                _wait_for(port, process)
                yield port
            finally:
                process.terminate()

    return running


def _wait_for(port: int, process: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + 10
    while time.monotonic() < deadline:
        assert process.poll() is None, "the broker ended at once"
        with socket.socket() as knock:
            if knock.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.02)
    raise AssertionError("the broker did not start")
