"""A probe as it stands in a shed: it counts its messages, publishes at QoS 1 and waits for a broker that is away."""

from __future__ import annotations

import json
import threading
from typing import TYPE_CHECKING, Any, Final

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from tests.system.daemon import PATIENCE_S, until, water

if TYPE_CHECKING:
    from collections.abc import Iterable

    from tests.conftest import Mosquitto
    from tests.system.fire.fault import Ground

BASE_MILLI: Final = 24_000
EVERY_S: Final = 0.1


def counted_water(vessel: str, every: str = "1 min") -> str:
    """The table of a water probe that a speaker plays."""
    return water(vessel, decoder="json", pointer="/c", sequence_pointer="/n", every=every)


def readings(values: Iterable[int]) -> list[tuple[str, str]]:
    """What the bare water probe of ash tells, in thousandths."""
    return [("shed/ash/water", f"{value / 1000:.3f}") for value in values]


class Speaker:
    """Tells 24 C and a thousandth more with each message, until it is silenced. Real seconds."""

    def __init__(self, ground: Ground, broker: Mosquitto, vessel: str, every_s: float = EVERY_S) -> None:
        self._topic = f"shed/{vessel}/water"
        self._every_s = every_s
        self.spoken = 0  # those included that no broker has taken yet
        self._taken = 0
        self._over = threading.Event()
        self._client = Client(CallbackAPIVersion.VERSION2, client_id=f"{vessel}-probe", clean_session=False)
        self._client.max_queued_messages_set(0)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_publish = self._took
        self._client.connect(broker.host, broker.port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._speak, name=f"{vessel}-probe", daemon=True)
        self._thread.start()
        ground.when_done(self._leave)

    def go_on(self, more: int) -> None:
        """Wait until it has spoken so often again."""
        aim = self.spoken + more
        until(lambda: self.spoken >= aim)

    def silence(self) -> list[int]:
        """It says nothing more; wait until the broker has all, and give back what was told, in thousandths."""
        self._over.set()
        self._thread.join(PATIENCE_S)
        until(lambda: self._taken == self.spoken, "the broker did not take all of a probe")
        return [BASE_MILLI + number for number in range(self.spoken)]

    def _speak(self) -> None:
        while not self._over.wait(self._every_s):
            message = json.dumps({"c": (BASE_MILLI + self.spoken) / 1000, "n": self.spoken})
            self.spoken += 1
            self._client.publish(self._topic, message, qos=1)  # without a link it waits

    def _took(self, *_: Any) -> None:
        self._taken += 1

    def _leave(self) -> None:
        self._over.set()
        self._thread.join(PATIENCE_S)
        self._client.disconnect()
        self._client.loop_stop()
