"""The command ``swimup probe`` as a keeper and the service manager call it."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from monitor.cli import swimup
from tests.adapters.conftest import until
from tests.board_tree import answer

if TYPE_CHECKING:
    from collections.abc import Callable

    from click.testing import Result

    from monitor.intake.session import Link
    from tests.adapters.conftest import Hearing
    from tests.board_tree import Tree
    from tests.conftest import Mosquitto

SWIMUP = str(Path(sys.executable).with_name("swimup"))
ASH = "28-0316a2798fff"
CONFIG = """
[board]
id = "zero-1"
topic = "shed/zero"
trust_clock = true
count_file = "zero.count"
[broker]
url = "{url}"
[[one_wire]]
id = "ash-water"
device = "28-0316a2798fff"
every = "200 ms"
[[adc]]
id = "cedar-air"
device = "ads1015"
channel = "voltage0"
every = "200 ms"
"""
PIN = """
[[pin]]
id = "ash-air"
pin = 17
"""


@pytest.fixture
def call(tmp_path: Path, tree: Tree) -> Callable[..., Result]:
    """``call("--once", more="", url=...)``: the command on the board of the test."""
    tree.thermometer(ASH, answer(24_625))
    tree.converter(1, name="ads1015", in_voltage0_raw="500", in_voltage_scale="3.0")

    def run(*words: str, more: str = "", url: str = "mqtt://127.0.0.1") -> Result:
        config = tmp_path / "probe.toml"
        config.write_text(CONFIG.format(url=url) + more)
        return CliRunner().invoke(swimup, ["probe", "-c", str(config), "--sysfs", str(tree.root), *words])

    return run


def test_once_measures_all_of_it(call: Callable[..., Result], tree: Tree) -> None:
    """One line a sensor, without a broker; a fault is told on its line and by the exit code."""
    well = call("--once")
    assert well.exit_code == 0
    assert well.stdout == "ash-water: 24.625, to shed/zero/ash-water\ncedar-air: 1.5, to shed/zero/cedar-air\n"
    tree.unplug(ASH)
    ill = call("--once")
    assert ill.exit_code == 1
    assert ill.stdout.startswith(f"ash-water: {ASH} is not on the bus; there: none.")
    assert "cedar-air: 1.5" in ill.stdout


def test_what_the_board_finds_is_listed(call: Callable[..., Result], tree: Tree) -> None:
    """Each device as it goes into the configuration, with what it says now."""
    tree.thermometer("28-0316a2791abc", answer(85_000))
    told = call("--list").stdout
    assert f'device = "{ASH}"   24.62 C' in told
    assert 'device = "28-0316a2791abc"   (85.0 C is what the chip says' in told
    assert 'device = "ads1015", channel = "voltage0"   1.50 V' in told


def test_mistakes_end_it_with_code_2(call: Callable[..., Result], tmp_path: Path) -> None:
    """A mistake, a missing file and options that exclude each other are told on stderr, without a traceback."""
    wrong = call(more="[[pin]]\nid = 7\n")
    assert wrong.exit_code == 2
    assert "/pin/0/id" in wrong.stderr
    assert "/pin/0/pin" in wrong.stderr
    assert call("--once", "--list").exit_code == 2
    secret = call(url='mqtt://127.0.0.1"\npassword_file = "none.password')
    assert (secret.exit_code, "none.password: found that it cannot be read" in secret.stderr) == (2, True)
    missing = CliRunner().invoke(swimup, ["probe", "-c", str(tmp_path / "none.toml")])
    assert (missing.exit_code, "cannot be read" in missing.stderr) == (2, True)


def test_without_a_file_it_says_where_it_looked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The places are named, and the file to begin with."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.delenv("SWIMUP_PROBE_CONFIG", raising=False)
    told = CliRunner().invoke(swimup, ["probe"])
    assert told.exit_code == 2
    assert "config/probe.example.toml" in told.stderr


@pytest.mark.broker
def test_the_real_process_serves_the_broker_and_the_service_manager(
    mosquitto: Mosquitto, tmp_path: Path, tree: Tree, hear: Callable[..., Hearing], link_to: Callable[..., Link]
) -> None:
    """Ready, then alive; readings of all three kinds arrive; told to stop it says offline and ends with 0."""
    tree.thermometer(ASH, answer(24_625))
    tree.converter(1, name="ads1015", in_voltage0_raw="500", in_voltage_scale="3.0")
    config = tmp_path / "probe.toml"
    config.write_text(CONFIG.format(url=mosquitto.url) + PIN + 'every = "200 ms"\n')
    topics = ["shed/zero/ash-water", "shed/zero/cedar-air", "shed/zero/ash-air", "shed/zero/online"]
    hearing = hear(link_to(mosquitto), topics)
    hearing.wait_up()
    with closing(socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(20)
        process = subprocess.Popen(
            [SWIMUP, "probe", "-c", str(config), "--sysfs", str(tree.root)],
            env={
                **os.environ,
                "GPIOZERO_PIN_FACTORY": "mock",
                "NOTIFY_SOCKET": str(tmp_path / "notify"),
                "WATCHDOG_USEC": "1000000",
            },
        )
        try:
            until(lambda: {message.topic for message in hearing.messages} == set(topics))
            assert [manager.recv(64), manager.recv(64)] == [b"READY=1", b"WATCHDOG=1"]
        finally:
            process.send_signal(signal.SIGTERM)
            code = process.wait(20)
    assert code == 0
    until(lambda: hearing.payloads[-1] == "offline")
    last: dict[str, Any] = {}
    for message in hearing.messages:
        if message.topic != "shed/zero/online":
            last[message.topic] = json.loads(message.payload)["value"]
    assert last == {"shed/zero/ash-water": 24.625, "shed/zero/cedar-air": 1.5, "shed/zero/ash-air": "stopped"}
    assert (tmp_path / "zero.count").read_text() == "10000\n"
