"""Listening to a broker for a while, without a trace: an id of its own, nothing kept, nothing published, no will."""

from __future__ import annotations

import secrets
import time
from collections import deque
from dataclasses import field
from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.intake.decode import LARGEST
from monitor.intake.link import (
    MAXIMUM_PACKET,
    UNSUPPORTED_VERSION,
    WIRE_FAULTS,
    Link,
    Version,
    drop,
    make_visitor,
    part,
    visit,
)
from monitor.intake.places import Heard

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

    from monitor.core.model import Ms

KEPT: Final = 12
"""Newest messages kept of a topic; enough for a period, and for a count to be seen counting."""
MOST_TOPICS: Final = 2000
ANSWER_S: Final = 10.0
LOOK_EVERY_S: Final = 0.1
FAREWELL_S: Final = 1.0
OWN: Final = frozenset({"status", "summary", "marker", "vessel", "alarm", "do", "done", "push"})


class NotHeard(Exception):  # noqa: N818  (it is an answer)
    """The broker was not reached, or does not let us listen; a sentence for the keeper."""


@light(frozen=False)
class Topic:
    """What was heard on one topic. Messages larger than a reading can be are kept cut."""

    name: str
    messages: int = 0
    retained: bool = False  # the broker keeps a message of it
    size: int = 0  # bytes of the newest message
    kept: deque[Heard] = field(default_factory=lambda: deque(maxlen=KEPT))

    @property
    def newest(self) -> Heard:
        return self.kept[-1]


@light(frozen=False)
class Ear:
    """``topics`` in the order in which they were first heard."""

    link: Link
    filters: Sequence[str]
    clock: Callable[[], Ms]
    topics: dict[str, Topic] = field(default_factory=dict)
    own: int = 0  # messages of a monitor such as this one, passed over
    beyond: int = 0  # messages of topics that came after MOST_TOPICS others
    ended: str = ""  # why the broker hung up before the time was over
    _open: bool = False
    _problem: str = ""
    _version_wrong: bool = False
    _gone: bool = False

    def listen(self, seconds: float, tick: Callable[[float], None]) -> None:
        """Hear for so long, telling ``tick`` how long it has been. Raises :class:`NotHeard`.

        An interrupt from the keyboard goes through; what was heard until then is there.
        """
        version: Version = "3.1.1" if self.link.version == "3.1.1" else "5"
        client = self._connected(version)
        if client is None:
            self._problem, self._gone = "", False
            client = self._connected("3.1.1")
        if client is None:
            raise NotHeard(self._problem)
        try:
            self._hear(client, seconds, tick)
        finally:
            part(client, time.monotonic() + FAREWELL_S)
            drop(client)

    def _connected(self, version: Version) -> Client | None:
        """A client whose subscriptions are granted; None when the broker may know another version only."""
        address = self.link.address
        client = self._client(version)
        try:
            self._knock(client, version)
        except WIRE_FAULTS as fault:
            drop(client)
            raise NotHeard(f"no connection to {address}: {str(fault) or type(fault).__name__}") from None
        if self._open and not self._problem:
            return client
        drop(client)
        silent = self._gone and not self._problem
        if (self._version_wrong or silent) and version == "5" and self.link.version == "auto":
            return None
        what = "hung up" if self._gone else "did not answer"
        raise NotHeard(self._problem or f"{address} {what}; is it an MQTT broker, and are user and password right?")

    def _knock(self, client: Client, version: Version) -> None:
        """Connect, subscribe, and wait for what the broker says to both."""
        visit(client, self.link, version, MAXIMUM_PACKET)
        until = time.monotonic() + ANSWER_S
        while not (self._open or self._problem or self._gone) and time.monotonic() < until:
            client.loop(LOOK_EVERY_S)

    def _client(self, version: Version) -> Client:
        client = make_visitor(self.link, version, f"{self.link.client_id[:40]}-listen-{secrets.token_hex(3)}")
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.on_disconnect = self._on_disconnect
        return client

    def _hear(self, client: Client, seconds: float, tick: Callable[[float], None]) -> None:
        begun = time.monotonic()
        while (passed := time.monotonic() - begun) < seconds:
            tick(passed)
            try:
                client.loop(min(LOOK_EVERY_S, seconds - passed))
            except WIRE_FAULTS as fault:
                self.ended = str(fault) or type(fault).__name__
            if self._gone or self.ended:
                self.ended = self.ended or "the broker hung up"
                return
        tick(seconds)

    # -- what the client tells -----------------------------------------------------------------------------------

    def _on_connect(
        self, client: Client, _data: Any, _flags: ConnectFlags, reason: ReasonCode, _properties: Properties | None
    ) -> None:
        if reason.is_failure:
            self._version_wrong = reason.value == UNSUPPORTED_VERSION
            self._problem = f"{self.link.address} refuses us: {reason}; check user and password of [broker]"
            return
        client.subscribe([(one, 0) for one in self.filters])

    def _on_subscribe(
        self, _client: Client, _data: Any, _mid: int, reasons: list[ReasonCode], _properties: Properties | None
    ) -> None:
        refused = [one for one, reason in zip(self.filters, reasons, strict=False) if reason.is_failure]
        if refused:
            self._problem = (
                f"{self.link.address} does not let us listen to {', '.join(refused)}; name what it allows with --topic"
            )
        self._open = True

    def _on_disconnect(
        self, _client: Client, _data: Any, _flags: DisconnectFlags, _reason: ReasonCode, _properties: Properties | None
    ) -> None:
        self._gone = True

    def _on_message(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        try:
            name = message.topic
        except UnicodeDecodeError:
            return
        if _of_a_monitor(name):
            self.own += 1
            return
        if name not in self.topics and len(self.topics) >= MOST_TOPICS:
            self.beyond += 1
            return
        topic = self.topics.setdefault(name, Topic(name))
        topic.messages += 1
        topic.retained |= bool(message.retain)
        topic.size = len(message.payload)
        topic.kept.append(Heard(bytes(message.payload[: LARGEST + 1]), self.clock(), bool(message.retain)))


def _of_a_monitor(name: str) -> bool:
    """What a monitor such as this one publishes: estimates bound as readings would be an echo."""
    steps = name.split("/")
    return len(steps) > 2 and steps[0] == "swimup" and steps[2] in OWN
