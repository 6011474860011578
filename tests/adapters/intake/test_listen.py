"""``swimup listen`` at a real broker: it names the right binding for each style, writes it when told to, and leaves no trace."""

from __future__ import annotations

import json
import threading
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from monitor.cli import swimup
from monitor.settings import load
from tests.adapters.conftest import until
from tests.unit.intake.styles import CONFIG, STYLES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from click.testing import Result

    from tests.conftest import BrokerFactory, Mosquitto

pytestmark = pytest.mark.broker
SECONDS = "2.5"
OFTEN_S = 0.25


@pytest.fixture
def config(tmp_path: Path) -> Callable[[Mosquitto], Path]:
    """A sound configuration that finds the broker; the password may stay unused."""

    def write(broker: Mosquitto, more: str = "") -> Path:
        path = tmp_path / "swimup.toml"
        text = CONFIG.format(port=broker.port)
        path.write_text(text.replace(f'{broker.port}"\n', f'{broker.port}"\n{more}'), "utf-8")
        return path

    return write


@contextmanager
def spoken(broker: Mosquitto, says: Callable[[int, float], dict[str, bytes]]) -> Iterator[None]:
    """Publish each topic's message again and again, four times a second."""
    client = Client(CallbackAPIVersion.VERSION2)
    client.connect(broker.host, broker.port)
    client.loop_start()
    halt = threading.Event()

    def speak() -> None:
        number = 0
        while not halt.wait(OFTEN_S):
            number += 1
            for topic, payload in says(number, time.time()).items():
                client.publish(topic, payload)

    thread = threading.Thread(target=speak)
    thread.start()
    try:
        yield
    finally:
        halt.set()
        thread.join()
        client.disconnect()
        client.loop_stop()


def styles(number: int, now_s: float) -> dict[str, bytes]:
    return {style.topic: style.payload(number, now_s) for style in STYLES}


def listen(path: Path, *arguments: str, typed: str = "", seconds: str = SECONDS) -> Result:
    return CliRunner().invoke(swimup, ["listen", "-c", str(path), "--seconds", seconds, *arguments], input=typed)


def test_each_style_is_named_written_and_then_known(mosquitto: Mosquitto, config: Callable[..., Path]) -> None:
    """With --write --yes every style's probes are in the file, which keeps all that was there; then they are told as bound."""
    path = config(mosquitto)
    before = path.read_text("utf-8")
    with spoken(mosquitto, styles):
        result = listen(path, "--write", "--yes")
        again = listen(path)
    assert result.exit_code == 0, result.output
    settings = load(path)
    for style in STYLES:
        written = [probe for probe in settings.probes if probe.topic == style.topic]
        assert len(written) == len(style.probes), style.name
        for wanted in style.probes:
            assert any(fits(probe, wanted) for probe in written), (style.name, written)
    assert path.read_text("utf-8").startswith(before)
    assert (path.parent / "swimup.toml.bak").read_text("utf-8") == before
    assert sorted(one.name for one in path.parent.glob("*swimup.toml*")) == ["swimup.toml", "swimup.toml.bak"]
    assert again.exit_code == 0
    assert "[[probe]]" not in again.output
    lines = {line.split()[0]: line for line in again.output.splitlines() if line.startswith("yard/")}
    for style in STYLES:
        ids = [probe.id for probe in settings.probes if probe.topic == style.topic]
        assert ", ".join(ids)[:39] in lines[style.topic]


def fits(probe: Any, wanted: dict[str, Any]) -> bool:
    found = {key: sorted(value) if isinstance(value := getattr(probe, key), frozenset) else value for key in wanted}
    return all(
        found[key] == pytest.approx(value) if key == "threshold" else str(found[key]) == str(value)
        for key, value in wanted.items()
    )


def test_hostile_topics_and_payloads_are_shown_escaped_and_cut(
    mosquitto: Mosquitto, config: Callable[..., Path]
) -> None:
    """Escapes, a megabyte, deep JSON and bad UTF-8 neither raise nor reach the terminal as they are."""
    deep = b'{"a":' * 5000 + b"1" + b"}" * 5000
    bad = {
        "yard/\u202eturned": b"24.1",
        "yard/escape": b"\x1b[2J\x07\r\n[[probe]]\r\n",
        'yard/ash/quote"\\': b'{"water_c": 24.1}',
        "yard/big": b"x" * 1_000_000,
        "yard/deep": deep,
        "yard/bytes": b"\xff\xfe\xc3",
        "yard/long": b"y" * 5000,
        "yard/keys": json.dumps({"\x1b[2Jwater": 24.1, "pump": "\x1b[2J"}).encode(),
        "swimup/other/vessel/ash/eta": b'{"water_c": 24.1}',
    }
    with spoken(mosquitto, lambda _n, _s: bad):
        result = listen(config(mosquitto))
        told = listen(config(mosquitto), "--json")
    assert result.exit_code == 0, result.output
    assert [letter for letter in result.output if not (letter.isprintable() or letter == "\n")] == []
    assert max(map(len, result.output.splitlines())) < 420
    assert "1000000 bytes" in result.output
    assert "swimup/other" not in result.output
    assert "\n[[probe]]" in result.output  # of the topic with a quote, which is a sound one
    assert 'topic = "yard/ash/quote\\"\\\\"' in result.output
    topics = {one["topic"]: one for one in json.loads(told.output)["topics"]}
    assert set(topics) == set(bad) - {"swimup/other/vessel/ash/eta"}
    assert all(one["proposals"] or one["passed"] for one in topics.values())


def test_it_leaves_no_trace_and_takes_an_id_of_its_own(brokers: BrokerFactory, config: Callable[..., Path]) -> None:
    """It publishes nothing, has no will and no session that stays, and does not throw the daemon out of its session."""
    broker = brokers(extra=["log_type all"])
    result = listen(config(broker), "--topic", "yard/#", "--topic", "hall/+", seconds="1")
    assert result.exit_code == 0
    assert "Nothing was heard" in result.output
    until(lambda: "Received DISCONNECT from swimup-yard-listen-" in broker.log.read_text())
    log = broker.log.read_text()
    assert "swimup-yard-listen-" in log
    assert "Received SUBSCRIBE from swimup-yard-listen-" in log
    assert "Received DISCONNECT from swimup-yard-listen-" in log
    assert "Received PUBLISH" not in log
    assert "Will message specified" not in log
    assert "hall/+ (QoS 0)" in log


def test_what_the_broker_keeps_is_told_as_kept_with_mqtt_3_too(
    mosquitto: Mosquitto, config: Callable[..., Path]
) -> None:
    """A retained message comes at once; it is marked, and its period is not guessed. The configured version is spoken."""
    mosquitto.publish("yard/ash/water/temp", "24.1", retain=True)
    result = listen(config(mosquitto, 'version = "3.1.1"\n'), seconds="0.5")
    assert result.exit_code == 0
    row = next(line for line in result.output.splitlines() if line.startswith("yard/ash"))
    assert row.split() == ["yard/ash/water/temp", "24.1", "not", "yet", "yes", "none"]
    assert 'every = "1 min"  # please check:' in result.output


def test_questions_are_asked_and_no_is_an_answer(mosquitto: Mosquitto, config: Callable[..., Path]) -> None:
    """What only a person knows is asked with its choices; what is left out is not written; --yes leaves it out too."""
    path = config(mosquitto)
    for topic in ("a/one", "b/two", "c/three"):
        mosquitto.publish(topic, "21.4", retain=True)
    result = listen(path, "--write", typed="water\nbirch\ny\nroom\nn\nleave\n", seconds="0.5")
    assert result.exit_code == 0, result.output
    assert [(one.id, one.vessel) for one in load(path).probes] == [("room", None), ("birch-water", "birch")]
    left = listen(path, "--write", "--yes", seconds="0.5")
    assert left.output.count("Left out, for only you know: measures.") == 2
    assert "Nothing was written." in left.output


def test_a_file_that_would_not_be_sound_stays_as_it_is(mosquitto: Mosquitto, config: Callable[..., Path]) -> None:
    """When the probes are written as one list, tables cannot be added: it says so and leaves with exit code 2."""
    path = config(mosquitto)
    text = path.read_text().partition("[[probe]]")[0]
    path.write_text("probe = []\n" + text)
    mosquitto.publish("yard/ash/water/temp", "24.1", retain=True)
    before = path.read_bytes()
    result = listen(path, "--write", "--yes", seconds="0.5")
    assert result.exit_code == 2
    assert "Nothing was written" in result.output
    assert path.read_bytes() == before
    assert not (path.parent / "swimup.toml.bak").exists()


def test_a_broker_that_is_away_or_refuses_is_one_sentence(brokers: BrokerFactory, config: Callable[..., Path]) -> None:
    """Exit code 1 and what to look at; a filter that is none is told before anything is tried."""
    broker = brokers(anonymous=False)
    refused = listen(config(broker), seconds="0.5")
    assert refused.exit_code == 1
    assert "check user and password" in refused.output
    broker.stop()
    away = listen(config(broker), seconds="0.5")
    assert away.exit_code == 1
    assert "no connection to 127.0.0.1" in away.output
    for wrong in ("a#", "#/b", "a+/b", ""):
        assert listen(config(broker), "--topic", wrong).exit_code == 2
