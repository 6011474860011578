from __future__ import annotations

import socket
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest
from iotcore import Broker as OldBroker

from monitor.intake.link import Link
from monitor.notify import DeliveryFailed
from monitor.notify.mqtt_channel import MqttChannel
from tests.adapters.notify.counterparts import TOPIC
from tests.conftest import free_port

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from monitor.intake.link import Version
    from monitor.store import Letter
    from tests.conftest import BrokerFactory, Mosquitto

pytestmark = pytest.mark.broker


def channel(port: int, timeout: float = 5.0, **more: str) -> MqttChannel:
    return MqttChannel("board", Link("127.0.0.1", port, "swimup-shed", **more), TOPIC, site="shed", timeout=timeout)  # type: ignore[arg-type]


@contextmanager
def one_way(broker: Mosquitto) -> Iterator[int]:
    """A way to a broker on which all goes up, and of what comes down only the first piece, which accepts us."""

    def up(near: socket.socket, far: socket.socket) -> None:
        while sent := near.recv(65_536):
            far.sendall(sent)

    def carry() -> None:
        near, _ = listener.accept()
        with near, socket.create_connection((broker.host, broker.port)) as far:
            thread = threading.Thread(target=up, args=(near, far))
            thread.start()
            near.sendall(far.recv(65_536))
            thread.join()

    with socket.create_server(("127.0.0.1", 0)) as listener:
        carrier = threading.Thread(target=carry)
        carrier.start()
        yield listener.getsockname()[1]
        carrier.join()


@pytest.mark.parametrize("version", ["auto", "5", "3.1.1"])
def test_each_version_delivers(mosquitto: Mosquitto, letter: Callable[..., Letter], version: Version) -> None:
    """Whichever version is configured, the broker acknowledges the letter and does not keep it for late comers."""
    channel(mosquitto.port, version=version).send(letter())
    assert "swimup-shed-push-" in mosquitto.log.read_text()


def test_an_old_broker_is_spoken_to_in_its_version(letter: Callable[..., Letter]) -> None:
    """A broker that knows only MQTT 3.1.1 takes the letter; where only 5 is allowed, the failure says so."""
    port = free_port()
    with OldBroker(port=port, listen="127.0.0.1"):
        channel(port).send(letter())
        with pytest.raises(DeliveryFailed, match=r"closed the connection|version of MQTT") as failed:
            channel(port, version="5").send(letter())
    assert failed.value.transient


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_what_was_not_acknowledged_is_not_delivered(
    mosquitto: Mosquitto, letter: Callable[..., Letter], version: Version
) -> None:
    """A letter whose acknowledgement is lost counts as not told, although the broker has it."""
    with (
        one_way(mosquitto) as port,
        pytest.raises(DeliveryFailed, match="not acknowledge the letter within 1 s") as failed,
    ):
        channel(port, timeout=1.0, version=version).send(letter())
    assert failed.value.transient


def test_a_wrong_password_is_told_and_not_shown(brokers: BrokerFactory, letter: Callable[..., Letter]) -> None:
    """A broker that does not know us is told as such, without the password, and may let us in later."""
    broker = brokers(anonymous=False)
    with pytest.raises(DeliveryFailed, match="refuses the letter") as failed:
        channel(broker.port, user="keeper", password="hunter2").send(letter())
    assert failed.value.transient
    assert "keeper" in failed.value.todo
    assert "hunter2" not in f"{failed.value.message} {failed.value.todo} {channel(broker.port, password='hunter2')!r}"
