from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import paho.mqtt.client as mqtt
import pytest
from click.testing import CliRunner
from paho.mqtt.enums import CallbackAPIVersion

from simulator.broker import Broker, BrokerError, Link, parse_broker
from simulator.cli import main
from simulator.clock import SimClock
from simulator.payload import encode
from simulator.scenario import load
from simulator.world import ProbeModel, World

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager

    Mosquitto = Callable[[], AbstractContextManager[int]]

ROOT = Path(__file__).parents[3]
SHED = ROOT / "config" / "shed.scenario.toml"


class Listener:
    """Keeps all that arrives under shed/#."""

    def __init__(self, port: int) -> None:
        self.messages: list[tuple[str, bytes]] = []
        self.ready = threading.Event()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="listener")
        self.client.on_connect = lambda client, *_: client.subscribe("shed/#", qos=1)
        self.client.on_subscribe = lambda *_: self.ready.set()
        self.client.on_message = lambda _c, _d, message: self.messages.append((message.topic, bytes(message.payload)))
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        assert self.ready.wait(10)

    def wait_for(self, count: int) -> None:
        deadline = time.monotonic() + 20
        while len(self.messages) < count and time.monotonic() < deadline:
            time.sleep(0.02)
        assert len(self.messages) >= count

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def broker(mosquitto: Mosquitto) -> Iterator[int]:
    with mosquitto() as port:
        yield port


@pytest.fixture
def listener(broker: int) -> Iterator[Listener]:
    listener = Listener(broker)
    yield listener
    listener.close()


def simulator(port: int, *options: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "simulator", "run", str(SHED), "--broker", f"mqtt://127.0.0.1:{port}", *options]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def expected(since_s: int, until_s: int) -> dict[str, list[bytes]]:
    """What every topic should carry between two offsets, in order."""
    scenario = load(SHED)
    world = World(scenario)
    world.advance(since_s)
    trace, found = world.advance(until_s), {}
    for probe in scenario.probe:
        samples = ProbeModel(probe, world).samples(trace)
        found[probe.topic] = [encode(sample, scenario.start_ms) for sample in samples]
    return found


@pytest.mark.broker
def test_history_and_live_readings_arrive_as_they_are_in_the_world(
    broker: int, listener: Listener, tmp_path: Path
) -> None:
    """All history and then the live readings come once each, in order, with own times, and the truth is written."""
    truth = tmp_path / "T.jsonl"
    options = ["--history", "1 h", "--sim-speed", "1200", "--minutes", "0.05", "--truth", str(truth)]
    with simulator(broker, *options) as process:
        _, errors = process.communicate(timeout=60)
    assert process.returncode == 0, errors
    topics = {probe.topic for probe in load(SHED).probe}
    listener.wait_for(60 * len(topics))
    by_topic: dict[str, list[bytes]] = {topic: [] for topic in topics}
    for topic, payload in listener.messages:
        by_topic[topic].append(payload)
    world = expected(-3600, 2 * 3600)
    for topic in topics:
        live = len(by_topic[topic]) - 60
        assert by_topic[topic] == world[topic][: 60 + live]
        assert 1 <= live <= 61  # three seconds of wall time at 1200 times are an hour
    lines = [json.loads(line) for line in truth.read_text().splitlines()]
    assert {line["what"] for line in lines} == {"outcome", "vessel", "batch"}
    assert max(line["time"] for line in lines if "time" in line) >= "2026-03-03T18:00:00Z"


@pytest.mark.broker
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_the_run_cleanly(broker: int, listener: Listener, number: signal.Signals) -> None:
    """SIGTERM and SIGINT end a live run with exit code 0 and a line that says so."""
    with simulator(broker, "--history", "30 min", "--sim-speed", "60") as process:
        listener.wait_for(30 * 7)
        process.send_signal(number)
        _, errors = process.communicate(timeout=30)
    assert process.returncode == 0, errors
    assert "stopped: " in errors
    assert "unacknowledged 0" in errors


@pytest.mark.broker
def test_an_anchor_in_the_past_is_caught_up_with(broker: int, listener: Listener) -> None:
    """With an anchor 30 wall seconds ago at 60 times, half an hour of readings is due at once."""
    anchor = str(time.time() - 30)
    with simulator(broker, "--sim-speed", "60", "--sim-anchor", anchor, "--minutes", "0.02") as process:
        _, errors = process.communicate(timeout=60)
    assert process.returncode == 0, errors
    listener.wait_for(30 * 7)
    first = {topic: payloads[:30] for topic, payloads in expected(0, 3600).items()}
    seen = {topic: [payload for heard, payload in listener.messages if heard == topic][:30] for topic in first}
    assert seen == first


@pytest.mark.broker
def test_what_was_handed_over_survives_a_broker_that_comes_late_and_goes_away(mosquitto: Mosquitto, port: int) -> None:
    """Messages published before the broker is there and while it is away are acknowledged once it is back."""
    link, stop = Link(Broker("127.0.0.1", port), "late"), threading.Event()
    link.start()
    try:
        assert all(link.publish("shed/x", b"1", stop) for _ in range(30))
        with mosquitto():
            assert link.drain(20)
            assert link.acknowledged == 30
        assert all(link.publish("shed/x", b"2", stop) for _ in range(30))
        with mosquitto():
            assert link.drain(20)
            assert link.acknowledged == 60
    finally:
        link.stop()


def test_publishing_waits_while_too_much_is_unacknowledged(port: int) -> None:
    """With no broker at all the window fills, and then only a stop gets through."""
    link, stop = Link(Broker("127.0.0.1", port), "alone"), threading.Event()
    sent = 0
    while link.outstanding < 500:
        assert link.publish("shed/x", b"1", stop)
        sent += 1
    assert sent == 500
    threading.Timer(0.1, stop.set).start()
    assert not link.publish("shed/x", b"1", stop)
    assert link.outstanding == 500
    assert not link.drain(0.0)


def test_a_broker_that_never_answers_is_an_error(port: int) -> None:
    """A run that ends without ever having reached a broker says so and fails."""
    result = CliRunner().invoke(main, ["run", str(SHED), "--broker", f"mqtt://127.0.0.1:{port}", "--minutes", "0.01"])
    assert result.exit_code == 1
    assert "no broker answered" in result.output


@pytest.mark.broker
def test_a_password_comes_from_the_environment_and_a_wrong_one_is_told(tmp_path: Path, port: int) -> None:
    """The right password gets in, a wrong one ends the run with a message that never shows it."""
    secrets = tmp_path / "passwords"
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(secrets), "keeper", "right-one"], check=True)
    secrets.chmod(0o644)
    settings = tmp_path / "m.conf"
    # The broker keeps its user so that it may read its passwords wherever tests run.
    settings.write_text(f"user root\nlistener {port} 127.0.0.1\nallow_anonymous false\npassword_file {secrets}\n")
    with subprocess.Popen(["mosquitto", "-c", str(settings)], stderr=subprocess.DEVNULL) as process:
        try:
            good, bad = (signed_in(port, password) for password in ("right-one", "wrong-one"))
        finally:
            process.terminate()
    assert good.returncode == 0, good.stderr
    assert "unacknowledged 0" in good.stderr
    assert bad.returncode == 1
    assert "refuses the simulator" in bad.stderr
    assert "wrong-one" not in bad.stderr + bad.stdout


def signed_in(port: int, password: str) -> subprocess.CompletedProcess[str]:
    address = f"mqtt://keeper@127.0.0.1:{port}"
    command = [sys.executable, "-m", "simulator", "run", str(SHED), "--broker", address, "--sim-speed", "60"]
    return subprocess.run(
        [*command, "--history", "10 min", "--minutes", "0.02"],
        cwd=ROOT,
        env={**os.environ, "SWIMUP_SIM_PASSWORD": password},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.mark.parametrize(
    "url",
    [
        "mqtt://192.0.2.1",
        "mqtt://broker.example:1883",
        "mqtt://0.0.0.0",
        "mqtt://[2001:db8::1]:1883",
        "mqtt://127.evil",
    ],
)
def test_only_this_machine_is_published_to(url: str) -> None:
    """Any broker beyond loopback is refused with the reason."""
    with pytest.raises(BrokerError, match="loopback only"):
        parse_broker(url)


@pytest.mark.parametrize(
    "url", ["127.0.0.1:1883", "mqtts://127.0.0.1", "mqtt://", "mqtt://a:b@127.0.0.1", "mqtt://127.0.0.1:x"]
)
def test_what_is_no_address_is_refused(url: str) -> None:
    """An address that cannot be used, or that holds a password, is told."""
    with pytest.raises(BrokerError):
        parse_broker(url)


@pytest.mark.parametrize(
    ("url", "host", "port"),
    [
        ("mqtt://127.0.0.1", "127.0.0.1", 1883),
        ("mqtt://[::1]:1900", "::1", 1900),
        ("mqtt://localhost", "localhost", 1883),
    ],
)
def test_loopback_addresses_are_taken(url: str, host: str, port: int) -> None:
    """All names of this machine's loopback will do."""
    assert parse_broker(url) == Broker(host, port)


def test_bare_numbers_are_left_out_of_a_history(broker: int, listener: Listener, tmp_path: Path) -> None:
    """A payload without room for a time of its own is never sent as history: it would be taken for news."""
    scenario = tmp_path / "bare.toml"
    scenario.write_text(
        SHED.read_text().replace('payload = { style = "json", value = "/water/cel", time = "/at" }', "")
    )
    command = ["run", str(scenario), "--broker", f"mqtt://127.0.0.1:{broker}", "--history", "30 min"]
    result = CliRunner().invoke(main, [*command, "--sim-speed", "60", "--minutes", "0.001"])
    assert result.exit_code == 0, result.output
    assert "without a time of their own 30" in result.output
    listener.wait_for(30 * 6)
    assert not [payload for topic, payload in listener.messages[: 30 * 6] if topic == "shed/ash/water"]


def test_simulated_time_runs_from_the_anchor() -> None:
    """At the anchor it is the start; a wall second later it is as many seconds later as the speed says."""
    clock = SimClock(anchor=1000.0, speed=60.0)
    assert clock.offset_s(1000.0) == 0.0
    assert clock.offset_s(1001.0) == 60.0
    assert clock.wall(clock.offset_s(1234.5)) == pytest.approx(1234.5)


def test_the_version_is_told() -> None:
    """The command knows its own name."""
    result: Any = CliRunner().invoke(main, ["run", "--help"])
    assert "--sim-anchor" in result.output
