"""A second, listening connection to our own broker, for what other rooms keep there.

It is apart from the one that brings readings: whatever is published here can neither hold up a reading nor be taken for one.
It publishes nothing and keeps no session; what a broker keeps comes anew with every connection.
"""

from __future__ import annotations

import random
import threading
import time
from typing import TYPE_CHECKING, Any, Final

from monitor.core.summary import LARGEST
from monitor.intake.link import (
    UNSUPPORTED_VERSION,
    WIRE_FAULTS,
    Link,
    Version,
    back_off,
    drop,
    make_visitor,
    part,
    visit,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

LOOK_EVERY_S: Final = 0.2
ANSWER_S: Final = 10.0
FAREWELL_S: Final = 1.0
BREATH_S: Final = 0.01
"""After each message: so nobody who publishes here without end takes more than a little of the machine."""
LARGEST_PACKET: Final = LARGEST + 1024
"""Bytes, with what a packet has beside its payload; what is larger never leaves the broker."""


class Neighbours:
    """``take`` is told topic, payload and whether it was kept there before; ``tell`` what is wrong, "" once all is well.

    Both are called in the thread of this.
    """

    def __init__(
        self, link: Link, sites: Sequence[str], take: Callable[[str, bytes, bool], None], tell: Callable[[str], None]
    ) -> None:
        self._link = link
        self._filters = [f"swimup/{site}/{leaf}" for site in sites or ("+",) for leaf in ("status", "summary")]
        self._take = take
        self._tell = tell
        self._halt = threading.Event()
        self._version: Version = "3.1.1" if link.version == "3.1.1" else "5"
        self._chance = random.Random()  # noqa: S311  (spreads load, guards nothing)
        self._thread: threading.Thread | None = None
        self._open = self._gone = False
        self._problem = ""

    def start(self) -> None:
        """Return at once; the broker may be away. May be called again when the thread has ended."""
        self._thread = threading.Thread(target=self._run, name="rooms", daemon=True)
        self._thread.start()

    @property
    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread is not None and self._thread.is_alive()

    def stop(self, timeout: float = 3.0) -> None:
        self._halt.set()
        if self._thread is not None:
            self._thread.join(timeout)

    def _run(self) -> None:
        failures = 0
        while not self._halt.is_set():
            self._open = self._gone = False
            self._problem = ""
            try:
                self._converse()
            except WIRE_FAULTS as fault:
                self._problem = self._problem or str(fault) or type(fault).__name__
            if self._halt.is_set():
                return
            if self._gone and not (self._open or self._problem) and self._link.version == "auto":
                self._version = (
                    "3.1.1" if self._version == "5" else "5"
                )  # a broker may hang up on what it does not know
            failures = 1 if self._open else failures + 1
            self._tell(f"No link to our own broker: {self._problem or 'it hung up'}.")
            self._halt.wait(back_off(failures, self._chance))

    def _converse(self) -> None:
        client = self._client()
        try:
            visit(client, self._link, self._version, LARGEST_PACKET)
            until = time.monotonic() + ANSWER_S
            while not (self._halt.is_set() or self._gone or self._problem):
                client.loop(LOOK_EVERY_S)
                if not self._open and time.monotonic() > until:
                    self._problem = "it did not answer"
        finally:
            if self._halt.is_set():
                part(client, time.monotonic() + FAREWELL_S)
            drop(client)

    def _client(self) -> Client:
        client = make_visitor(self._link, self._version, f"{self._link.client_id}-rooms")
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.on_disconnect = self._on_disconnect
        return client

    # -- what the client tells -----------------------------------------------------------------------------------

    def _on_connect(
        self, client: Client, _data: Any, _flags: ConnectFlags, reason: ReasonCode, _properties: Properties | None
    ) -> None:
        if reason.is_failure:
            if reason.value == UNSUPPORTED_VERSION and self._link.version == "auto":
                self._version = "3.1.1"
            self._problem = f"it refuses us ({reason})"
            return
        client.subscribe([(one, 1) for one in self._filters])

    def _on_subscribe(
        self, _client: Client, _data: Any, _mid: int, reasons: list[ReasonCode], _properties: Properties | None
    ) -> None:
        refused = [one for one, reason in zip(self._filters, reasons, strict=False) if reason.is_failure]
        self._open = True
        self._tell(f"Our own broker does not let us read {', '.join(refused[:4])}: allow it." if refused else "")

    def _on_disconnect(
        self, _client: Client, _data: Any, _flags: DisconnectFlags, _reason: ReasonCode, _properties: Properties | None
    ) -> None:
        self._gone = True

    def _on_message(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return
        self._take(topic, bytes(message.payload), bool(message.retain))
        self._halt.wait(BREATH_S)
