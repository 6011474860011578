"""One connection to the broker, from CONNECT to its end, driven by one thread.

Only that thread touches the client: other threads leave orders and wake it. So an acknowledgement can never race with
a reconnect, and none can reach the broker over another connection than the one that brought the message.
"""

from __future__ import annotations

import json
import secrets
import select
import ssl
import time
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING, Any

from paho.mqtt.subscribeoptions import SubscribeOptions

from monitor import failpoint
from monitor.failpoint import Point
from monitor.intake.incoming import AckOrder, Incoming
from monitor.intake.link import (
    RECEIVE_MAXIMUM,
    UNSUPPORTED_VERSION,
    WIRE_FAULTS,
    Version,
    connect,
    drop,
    make_client,
    marker_topic,
    part,
    status_topic,
)
from monitor.intake.terms import Cause, Ending, Terms

if TYPE_CHECKING:
    from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

    from monitor.core.model import Ms
    from monitor.intake.orders import Letter
    from monitor.intake.reader import Reader

HANDSHAKE_S = 10.0
"""For CONNACK and all SUBACKs."""
MARKER_S = 30.0
"""After this long without the marker, messages count as live: a broker may refuse us the topic, or have dropped it."""
FAREWELL_S = 2.0
"""For the broker to take what we still have to say."""
MOST_OWED = 2 * RECEIVE_MAXIMUM
"""With so many messages unacknowledged no more are read. Not every broker keeps to the number it was told: mosquitto 2.0.11
sends all that waits once acknowledgements flow, and a million messages would fill the memory of a small board."""
MOST_UNSETTLED = 200
"""With so many letters of ours on the way the rest waits, where the newest of a topic takes the place of the one before: a
broker that takes them slowly must not fill the memory either."""
TOPICS_IN_ONE_PACKET = 50
MISC_EVERY_S = 0.25

_DUP, _RETAIN = 0b1000, 0b1  # of a packet's first byte, MQTT 5 section 3.3.1
_TAKEN_OVER = 0x8E  # MQTT 5 section 3.14.2.1


class Connection:
    """Run :meth:`serve` once. ``number`` tells this connection's messages from those of others."""

    def __init__(self, terms: Terms, version: Version, number: int) -> None:
        self._terms = terms
        self._version: Version = version
        self._number = number
        self._listener = terms.listener
        self._clock = terms.clock
        self._status = status_topic(terms.site)
        self._marker = marker_topic(terms.site)
        self._nonce = secrets.token_hex(8).encode()
        self._order = AckOrder()
        self._asked: dict[int, list[str]] = {}  # packet id of a SUBSCRIBE -> its topics
        self._unsettled: set[int] = set()  # packet ids of ours that the broker has not taken yet
        self._strays: set[str] = set()
        self._bound: dict[bytes, str] = {}  # topics as they stand in packets
        self._session = 0
        self._answered = False
        self._live = False
        self._live_at = 0.0
        self._handshake_until = 0.0
        self._up_at: float | None = None
        self._leave_by: float | None = None
        self._ending: Ending | None = None

    # -- the loop ------------------------------------------------------------------------------------------------

    def serve(self) -> Ending:
        """Connect, subscribe, deliver, acknowledge, until the connection ends for whatever reason."""
        address = self._terms.link.address
        try:
            client = make_client(self._terms.link, self._version, self._terms.site)
            self._listen(client)
            connect(client, self._terms.link, self._version)
        except WIRE_FAULTS as error:
            cause: Cause = "distrust" if isinstance(error, ssl.SSLError) else "unreachable"
            return Ending(cause, f"no connection to {address}: {_spoken(error)}")
        self._handshake_until = time.monotonic() + HANDSHAKE_S
        try:
            self._converse(client)
        except WIRE_FAULTS as error:
            self._end("lost", f"connection to {address} failed: {_spoken(error)}")
        finally:
            drop(client)
        return self._ending or Ending("lost", f"connection to {address} ended")

    def _converse(self, client: Reader) -> None:
        sock: Any = client.socket()
        if sock is None:  # sending CONNECT has failed already
            self._end(*self._why_gone())
            return
        hidden = getattr(sock, "pending", None)  # bytes TLS has read but not handed out; poll does not see them
        bell = self._terms.orders.fileno()
        poll = select.poll()
        poll.register(sock, select.POLLIN)
        poll.register(bell, select.POLLIN)
        wanted = select.POLLIN
        misc_at = 0.0
        while self._ending is None:
            full = len(self._order) >= MOST_OWED
            now_wanted = (0 if full else select.POLLIN) | (select.POLLOUT if client.want_write() else 0)
            if now_wanted != wanted:
                wanted = now_wanted
                poll.modify(sock, wanted)
            waiting_inside = not full and hidden is not None and hidden() > 0
            events = dict(poll.poll(0 if waiting_inside else int(MISC_EVERY_S * 1000)))
            if bell in events:
                events.pop(bell)
                self._terms.orders.hush()
            readable = writable = 0
            for event in events.values():
                readable, writable = event & ~select.POLLOUT, event & select.POLLOUT
            if writable:
                client.loop_write()
            if (readable or waiting_inside) and client.socket() is not None:
                client.loop_read()
            if client.socket() is not None:
                self._obey(client)
            if (now := time.monotonic()) >= misc_at:
                misc_at = now + MISC_EVERY_S
                self._listener.tick()
                self._watch(client, now)
            if client.socket() is None:
                self._end(*self._why_gone())

    def _obey(self, client: Reader) -> None:
        """Carry out what other threads want."""
        orders = self._terms.orders
        stop = orders.stop  # looked at first: what was ordered before the stop is carried out
        while orders.acks:
            connection, mid = orders.acks.popleft()
            if connection == self._number:
                self._order.tell(mid)
        released = list(self._order.release())
        if released:
            client.acknowledge(released)
            failpoint.reach(Point.ACKNOWLEDGED)
        if self._up_at is not None:
            while orders.letters and len(self._unsettled) < MOST_UNSETTLED:
                self._publish(client, orders.letters.popleft())
        if stop:
            self._leave(client, time.monotonic())

    def _watch(self, client: Client, now: float) -> None:
        """What depends on the time: keep-alive, the end of the handshake, the end of the wait for the marker."""
        if client.socket() is not None:
            client.loop_misc()
        if self._up_at is None and now > self._handshake_until:
            what = "did not answer" if not self._answered else "did not answer our subscriptions"
            self._end("unreachable", f"{self._terms.link.address} {what} within {HANDSHAKE_S:g} s")
        if self._answered and now > self._live_at:
            self._go_live()

    def _leave(self, client: Client, now: float) -> None:
        """Say farewell once the broker has taken what was said before, or does not take it in time."""
        if self._leave_by is None:
            self._leave_by = now + FAREWELL_S
        if (self._unsettled or self._terms.orders.letters) and now < self._leave_by:
            return
        if self._up_at is not None:
            client.publish(self._status, json.dumps({"state": "stopped"}), qos=0, retain=True)
        if self._answered:
            part(client, time.monotonic() + FAREWELL_S)
        self._end("stopped", "stopped")

    def _end(self, cause: Cause, text: str) -> None:
        if self._ending is None:
            up_s = None if self._up_at is None else time.monotonic() - self._up_at
            self._ending = Ending(cause, text, up_s)

    def _why_gone(self) -> tuple[Cause, str]:
        address = self._terms.link.address
        if self._up_at is None and not self._answered:
            link = self._terms.link
            papers = " or a certificate of ours that it wants" if link.tls and link.cert_file is None else ""
            hint = f"a wrong password{papers} can look like this too"
            return "silent", f"{address} closed the connection without an answer to MQTT {self._version}; {hint}"
        return "lost", f"connection to {address} lost"

    # -- what the client tells -----------------------------------------------------------------------------------

    def _listen(self, client: Reader) -> None:
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_publish = self._on_publish
        client.on_publish_packet = partial(self._on_message, client)

    def _on_connect(
        self, client: Client, _data: Any, flags: ConnectFlags, reason: ReasonCode, _properties: Properties | None
    ) -> None:
        if reason.is_failure:
            cause: Cause = "version" if reason.value == UNSUPPORTED_VERSION else "refused"
            self._end(cause, f"{self._terms.link.address} refuses us: {reason}{self._advice(str(reason))}")
            return
        self._answered = True
        self._session = self._listener.resumed(flags.session_present)
        self._live_at = time.monotonic() + MARKER_S
        if not flags.session_present:  # a new session has nothing that waited
            self._go_live()
        topics = [*sorted(self._terms.topics), self._marker]
        for start in range(0, len(topics), TOPICS_IN_ONE_PACKET):
            self._subscribe(client, topics[start : start + TOPICS_IN_ONE_PACKET])
        client.publish(self._marker, self._nonce, qos=1)

    def _advice(self, reason: str) -> str:
        if "authori" in reason.lower() or "password" in reason.lower():
            user = self._terms.link.user
            return "; check the password of user " + user if user else "; it wants a user and a password"
        return ""

    def _subscribe(self, client: Client, topics: list[str]) -> None:
        if self._version == "5":
            _, mid = client.subscribe([(topic, SubscribeOptions(qos=1)) for topic in topics])
        else:
            _, mid = client.subscribe([(topic, 1) for topic in topics])
        if mid is not None:
            self._asked[mid] = topics

    def _on_subscribe(
        self, client: Client, _data: Any, mid: int, reasons: list[ReasonCode], _properties: Properties | None
    ) -> None:
        for topic, reason in zip(self._asked.pop(mid, []), reasons, strict=False):
            if reason.is_failure:
                problem = f"the broker refuses the topic {topic} ({reason}); allow it for {self._terms.link.client_id}"
            elif reason.value < 1:
                problem = f"the broker grants the topic {topic} at QoS 0 only; readings can be lost"
            else:
                problem = None
            self._listener.answered(topic, problem)
        if not self._asked and self._up_at is None:
            self._open(client)

    def _open(self, client: Client) -> None:
        self._up_at = time.monotonic()
        since = self._terms.clock()
        self._listener.opened(since)
        status = json.dumps({"state": "up", "since": _rfc3339(since)})
        client.publish(self._status, status, qos=1, retain=True)

    def _publish(self, client: Client, letter: Letter) -> None:
        self._unsettled.add(client.publish(letter.topic, letter.payload, qos=1, retain=letter.retain).mid)

    def _on_publish(
        self, _client: Client, _data: Any, mid: int, _reason: ReasonCode, _properties: Properties | None
    ) -> None:
        self._unsettled.discard(mid)

    def _on_message(self, client: Reader, name: bytes, payload: bytes, first: int, mid: int) -> None:
        topic = self._bound.get(name)
        if topic is None:
            topic = name.decode("utf-8", "replace")
            if not self._terms.takes(topic):
                if mid:
                    self._order.arrived(mid, told=True)
                self._not_ours(client, topic, payload)
                return
            if topic in self._terms.topics:
                self._bound[name] = topic
        if mid:
            self._order.arrived(mid)
        dup, retain, qos = first & _DUP != 0, first & _RETAIN != 0, first >> 1 & 0b11
        queued, now = dup or not self._live, self._clock()
        message = Incoming(topic, payload, qos, retain, dup, mid, now, queued, self._session, self._number)
        if not self._listener.deliver(message):
            self._order.forget(mid)

    def _not_ours(self, client: Client, topic: str, payload: bytes) -> None:
        """The marker; or a topic bound in an earlier life, which the kept session still has: it is given back once."""
        if topic == self._marker:
            if payload == self._nonce:
                self._go_live()
            return
        self._listener.stray()
        if topic and topic not in self._strays and len(self._strays) < TOPICS_IN_ONE_PACKET:
            self._strays.add(topic)
            client.unsubscribe(topic)

    def _go_live(self) -> None:
        if not self._live:
            self._live = True
            self._listener.drained()

    def _on_disconnect(
        self, _client: Client, _data: Any, flags: DisconnectFlags, reason: ReasonCode, _properties: Properties | None
    ) -> None:
        if not flags.is_disconnect_packet_from_server:
            return  # the loop sees the closed socket and says why
        if reason.value == _TAKEN_OVER:
            self._end("taken", f"another client of the id {self._terms.link.client_id} took over our session")
        else:
            self._end("lost", f"{self._terms.link.address} ended the connection: {reason}")


def _spoken(error: BaseException) -> str:
    return str(error) or type(error).__name__


def _rfc3339(time_ms: Ms) -> str:
    seconds, thousandths = divmod(time_ms, 1000)
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{thousandths:03d}Z"
