from __future__ import annotations

import json
import threading
from typing import TYPE_CHECKING, Any

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from tests.conftest import free_port
from tests.system.daemon import air, configuration, table, until

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon, Phone

pytestmark = [pytest.mark.system, pytest.mark.broker]


@pytest.fixture
def pushed(mosquitto: Mosquitto) -> Iterator[list[dict[str, Any]]]:
    """The letters published at the broker, as they come."""
    came: list[dict[str, Any]] = []
    ear = Client(CallbackAPIVersion.VERSION2)
    listening = threading.Event()
    ear.on_connect = lambda client, *_: client.subscribe("swimup/shed/push", qos=1)
    ear.on_subscribe = lambda *_: listening.set()
    ear.on_message = lambda _client, _data, message: came.append(json.loads(message.payload))
    ear.connect(mosquitto.host, mosquitto.port)
    ear.loop_start()
    assert listening.wait(10)
    yield came
    ear.disconnect()
    ear.loop_stop()


def test_the_test_of_the_channels_tells_which_one_fails(
    mosquitto: Mosquitto, daemons: Callable[[str], Daemon], phone: Phone, pushed: list[dict[str, Any]]
) -> None:
    """One letter arrives through each channel that works, the table tells the failing one, and no alarm is made of it."""
    nowhere = free_port()
    hook = table("channel", id="hook", kind="webhook", url=f"https://127.0.0.1:{nowhere}/hidden", secret_file="key")
    board = table("channel", id="board", kind="mqtt")
    daemon = daemons(configuration(mosquitto.url, air("ash"), hook, board, phone=phone.url))
    daemon.config.with_name("key").write_text("a secret of the shed and its server")
    daemon.start()
    until(daemon.connected)

    done = daemon.command("alarm", "test")

    assert done.returncode == 1
    _, failed, *_, well, also = done.stdout.splitlines()
    assert failed.split()[:2] == ["hook", "failed"]
    assert f"127.0.0.1:{nowhere} is not" in failed
    assert sorted([well.split(), also.split()]) == [["board", "ok"], ["phone", "ok"]]
    assert "hidden" not in done.stdout
    assert phone.titles == ["Test from shed"]
    until(lambda: pushed, "nothing was published")
    assert [(letter["alarm"], letter["title"]) for letter in pushed] == [("test", "Test from shed")]
    told = json.loads(daemon.command("alarm", "test", "--json").stdout)
    assert {one["id"]: one["ok"] for one in told["channels"]} == {"hook": False, "board": True, "phone": True}
    assert daemon.rows("SELECT count(*) FROM outbox") == [(0,)]
    assert daemon.terminate() == 0
    assert "hidden" not in daemon.log
    assert "a secret of the shed" not in daemon.log


def test_an_alarm_goes_out_at_the_broker_with_what_to_do(
    mosquitto: Mosquitto, daemons: Callable[[str], Daemon], pushed: list[dict[str, Any]]
) -> None:
    """Air that stops is published as a letter of its own, and all channels that work make the test succeed."""
    board = table("channel", id="board", kind="mqtt")
    daemon = daemons(configuration(mosquitto.url, air("ash"), board, alarms='air_on_delay = "0 s"'))
    daemon.start()
    until(daemon.connected)
    daemon.told("batch", "start", "ash", "--cysts", "2 g")
    mosquitto.publish("shed/ash/air", "off")
    until(lambda: pushed, "nothing was published")
    assert pushed[0]["title"] == "Air stopped in ash"
    assert pushed[0]["todo"]
    assert pushed[0]["todo"] not in pushed[0]["text"]
    until(lambda: daemon.rows("SELECT count(*) FROM outbox WHERE told IS NULL") == [(0,)], "the letter still waits")
    assert daemon.told("alarm", "test").splitlines() == ["channel  result", "board    ok"]


def test_without_a_channel_the_test_says_so(mosquitto: Mosquitto, daemons: Callable[[str], Daemon]) -> None:
    """A keeper whom no alarm would reach is told, and the exit code says it too."""
    daemon = daemons(configuration(mosquitto.url, air("ash")))
    daemon.start()
    done = daemon.command("alarm", "test")
    assert done.returncode == 1
    assert "reach no phone" in done.stdout
