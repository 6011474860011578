"""The board's talk with the broker: comes back whatever happens, in the order of measuring."""

from __future__ import annotations

import json
import random
import ssl
import time
from typing import TYPE_CHECKING, Any, Final

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from monitor.intake.link import CONNECT_TIMEOUT_S, WIRE_FAULTS, back_off, drop, trust
from monitor.loglines import log
from monitor.probe.clock import rfc3339

if TYPE_CHECKING:
    import threading
    from collections.abc import Callable

    from paho.mqtt.client import ConnectFlags, DisconnectFlags
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

    from monitor.intake.link import Link
    from monitor.probe.clock import Clock
    from monitor.probe.ring import Ring
    from monitor.probe.rounds import Health

WINDOW: Final = 20
"""Messages under way at once. Mosquitto takes so many of anybody without being asked."""
HANDSHAKE_S: Final = 10.0
FAREWELL_S: Final = 5.0
"""For what is left to say when we are told to stop."""
STEADY_S: Final = 30.0
"""A link that lasted this long starts the back-off anew when it goes."""
LOOK_S: Final = 0.2
_TRY_AGAIN: Final = 0x97  # MQTT 5 section 3.4.2.1, quota exceeded
_NO_WORD: Final = (0x00, 0x80)  # what the client says of its own when the line is simply gone


class Sender:
    """Run :meth:`run` in one thread. ``base`` is the board's topic: "<base>/online" is kept at the broker, with a will."""

    def __init__(
        self,
        link: Link,
        base: str,
        ring: Ring,
        health: Health,
        clock: Clock,
        *,
        alive: Callable[[], None] = lambda: None,
        first_delay_s: float = 1.0,
        longest_delay_s: float = 60.0,
    ) -> None:
        self._link = link
        self._online = f"{base}/online"
        self._ring = ring
        self._health = health
        self._clock = clock
        self._alive = alive
        self._delays = (first_delay_s, longest_delay_s)
        self._chance = random.Random()  # noqa: S311  (spreads load, guards nothing)
        self._told_down: set[str] = set()  # each reason once, until the broker is back
        self._lost = 0
        self._refused: set[str] = set()
        self._forget()

    def _forget(self) -> None:
        """What belongs to one connection."""
        self._flying: dict[int, int] = {}  # packet id -> key of the reading
        self._topics: dict[int, str] = {}  # packet id -> topic, of all that the broker has not taken yet
        self._said: dict[str, bytes] = {}  # topic of a fault -> what the broker keeps there
        self._up = False
        self._gone = ""

    @property
    def _ended(self) -> bool:
        return bool(self._gone)

    def run(self, halt: threading.Event) -> None:
        """Until told to stop. Then what waits is still sent when the broker is there."""
        failures = 0
        while not halt.is_set():
            began = time.monotonic()
            why = self._connection(halt)
            self._ring.landed()
            if halt.is_set():
                break
            if why not in self._told_down:
                self._told_down.add(why)
                log.warning("broker.down", broker=self._link.address, reason=why, waiting=len(self._ring))
            failures = 1 if self._up and time.monotonic() - began > STEADY_S else failures + 1
            self._pause(halt, back_off(failures, self._chance, *self._delays))
        if len(self._ring):
            log.warning("readings.unsent", count=len(self._ring))

    def _pause(self, halt: threading.Event, seconds: float) -> None:
        until = time.monotonic() + seconds
        while (left := until - time.monotonic()) > 0 and not halt.wait(min(left, 1.0)):
            self._alive()

    def _connection(self, halt: threading.Event) -> str:
        """One connection from beginning to end; returns why it ended."""
        self._forget()
        try:
            client = self._client()
            client.connect(self._link.host, self._link.port, self._link.keepalive_s)
        except WIRE_FAULTS as error:
            kind = "not to be trusted: " if isinstance(error, ssl.SSLError) else ""
            return f"{kind}{error}"
        try:
            return self._talk(client, halt)
        except WIRE_FAULTS as error:
            return str(error)
        finally:
            drop(client)

    def _client(self) -> Client:
        five = self._link.version != "3.1.1"
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=self._link.client_id,
            protocol=MQTTv5 if five else MQTTv311,
            clean_session=None if five else True,
            reconnect_on_failure=False,
        )
        client.connect_timeout = CONNECT_TIMEOUT_S
        client.will_set(self._online, "offline", qos=1, retain=True)
        if self._link.user is not None:
            client.username_pw_set(self._link.user, self._link.password)
        if self._link.tls:
            client.tls_set_context(trust(self._link))
        client.on_connect = self._connected
        client.on_disconnect = self._disconnected
        client.on_publish = self._published
        return client

    def _connected(self, _c: Client, _u: Any, _f: ConnectFlags, code: ReasonCode, _p: Properties | None) -> None:
        self._up = not code.is_failure
        if code.is_failure:
            self._gone = f"the broker does not let us in: {code}"

    def _disconnected(self, _c: Client, _u: Any, _f: DisconnectFlags, code: ReasonCode, _p: Properties | None) -> None:
        word = "" if code.value in _NO_WORD else f": {code}"
        self._gone = self._gone or f"the connection ended{word}"

    def _published(self, _c: Client, _u: Any, mid: int, code: ReasonCode, _p: Properties | None) -> None:
        topic = self._topics.pop(mid, "")
        key = self._flying.pop(mid, None)
        if not code.is_failure:
            if key is not None:
                self._ring.taken(key)
            self._refused.discard(topic)
            return
        if code.value == _TRY_AGAIN:
            self._gone = "the broker has no room for more just now"
            return
        if key is not None:
            self._ring.refused(key)
        if topic not in self._refused:
            self._refused.add(topic)
            log.error("topic.refused", topic=topic, reason=str(code), todo="allow this board to write to the topic")

    def _talk(self, client: Client, halt: threading.Event) -> str:
        until = time.monotonic() + HANDSHAKE_S
        while not self._up and not self._gone:
            if time.monotonic() > until:
                return "the broker does not answer"
            self._listen(client)
        if self._gone:
            return self._gone
        log.info("broker.up", broker=self._link.address, waiting=len(self._ring))
        self._told_down.clear()
        self._say(client, self._online, b"online")
        leave_by = None
        while not self._ended:
            self._alive()
            self._speak(client)
            if halt.is_set():
                leave_by = leave_by or time.monotonic() + FAREWELL_S
                if not self._topics or time.monotonic() > leave_by:
                    self._farewell(client, leave_by)
                    return "stopped"
            self._listen(client)
        return self._gone

    def _listen(self, client: Client) -> None:
        if client.loop(LOOK_S) and not self._gone:
            self._gone = "the connection ended"

    def _speak(self, client: Client) -> None:
        """All that may be sent now."""
        for topic, (text, since) in self._health.all().items():
            told = {"fault": text, "since": None if since is None else rfc3339(since)}
            payload = json.dumps(told, separators=(",", ":"), ensure_ascii=False).encode() if text else b""
            if self._said.get(topic) != payload:
                self._said[topic] = payload
                self._say(client, f"{topic}/fault", payload)
        while len(self._topics) < WINDOW:
            held = self._ring.next(self._clock.steady(), self._clock.wall())
            if held is None:
                break
            mid = self._send(client, held.topic, held.encode(), retain=False)
            self._flying[mid] = held.key
        if self._ring.lost > self._lost:
            self._lost = self._ring.lost
            log.error("readings.lost", count=self._lost)

    def _say(self, client: Client, topic: str, payload: bytes) -> None:
        self._send(client, topic, payload, retain=True)

    def _send(self, client: Client, topic: str, payload: bytes, *, retain: bool) -> int:
        mid = client.publish(topic, payload, qos=1, retain=retain).mid
        self._topics[mid] = topic
        return mid

    def _farewell(self, client: Client, until: float) -> None:
        self._say(client, self._online, b"offline")
        while self._topics and not self._gone and time.monotonic() < until + 1:
            self._listen(client)
        client.disconnect()
