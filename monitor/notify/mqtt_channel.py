"""A channel that publishes each letter at the broker, for whatever of the keeper's listens there.

Each letter has a connection of its own, apart from the one that takes readings in: letters are rare, and a broker that is
slow to acknowledge one must hold up nothing else.
"""

from __future__ import annotations

import secrets
import ssl
import time
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Literal

from paho.mqtt.enums import MQTTErrorCode

from monitor.intake.link import WIRE_FAULTS, drop, make_visitor, part, trust
from monitor.notify.message import payload
from monitor.notify.outbox import DeliveryFailed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from paho.mqtt.client import Client
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

    from monitor.intake.link import Link, Version
    from monitor.store import Letter

FAREWELL_S = 1.0
_LOOK_EVERY_S = 0.1

# MQTT 5 section 3.4.2.1: these will be said of the same letter again.
_FOR_EVER = {0x90, 0x95, 0x99}

_State = Literal["asking", "told", "refused", "version"]


class MqttChannel:
    """``timeout``: seconds for a whole try; a peer that hangs in the middle of the TLS handshake can take half as many more."""

    def __init__(
        self,
        id: str,  # noqa: A002  (it is the channel's id)
        link: Link,
        topic: str,
        *,
        site: str,
        timeout: float = 10.0,
    ) -> None:
        self._id = id
        self._link = link
        self._topic = topic
        self._site = site
        self._timeout = timeout

    @property
    def id(self) -> str:
        return self._id

    def __repr__(self) -> str:
        return f"MqttChannel({self._id!r}, {self._topic!r})"

    def send(self, letter: Letter) -> None:
        """Return when the broker has acknowledged the letter (PUBACK), or raise DeliveryFailed."""
        deadline = time.monotonic() + self._timeout
        body = payload(letter, self._site)
        for version in self._versions():
            if self._try(version, body, deadline) == "told":
                return
        raise self._failed("does not speak our version of MQTT", 'Set version in [broker] to "auto".')

    def _versions(self) -> Sequence[Version]:
        # MQTT 5 first: only there a broker can say that it refuses the topic.
        return ("5", "3.1.1") if self._link.version == "auto" else (self._link.version,)

    def _try(self, version: Version, body: bytes, deadline: float) -> _State:
        """Give back "told", or "version" when the broker doesn't speak this one. Raises DeliveryFailed for all else."""
        try:
            posting = _Posting(self._client(version), self._topic, body)
        except OSError as error:
            raise self._failed(
                f"cannot be tried: {error}", "See ca_file, cert_file and key_file in [broker]."
            ) from None
        try:
            self._open(posting.client, version, deadline)
            alive = True
            while posting.state == "asking" and alive and time.monotonic() < deadline:
                alive = posting.client.loop(_LOOK_EVERY_S) is MQTTErrorCode.MQTT_ERR_SUCCESS
            if posting.state == "told":
                with suppress(*WIRE_FAULTS):  # the letter is there; how we part does not matter
                    part(posting.client, min(deadline, time.monotonic() + FAREWELL_S))
        except ssl.SSLError as error:
            reason = getattr(error, "verify_message", "") or error.reason or str(error)
            raise self._failed(
                f"cannot be trusted: {reason}", "Renew its certificate, or see ca_file in [broker] and this clock."
            ) from None
        except WIRE_FAULTS as error:
            raise self._failed(
                f"is not reached: {str(error) or type(error).__name__}",
                "See whether the broker runs, and url in [broker].",
            ) from None
        finally:
            drop(posting.client)
        self._judge(posting, version, timed_out=time.monotonic() >= deadline)
        return posting.state

    def _judge(self, posting: _Posting, version: Version, *, timed_out: bool) -> None:
        if posting.state == "refused":
            raise self._failed(
                f"refuses the letter on {self._topic}: {posting.reason}",
                f"Allow {self._link.user or 'this client'} to publish there, or name another topic in [[channel]].",
                transient=posting.code not in _FOR_EVER,
            )
        if posting.state == "asking" and timed_out:
            raise self._failed(
                f"did not acknowledge the letter within {self._timeout:g} s", "See the broker's log and the network."
            )
        if posting.state == "asking" and (version == "3.1.1" or posting.answered or self._link.version == "5"):
            raise self._failed("closed the connection without acknowledging the letter", "See the broker's log.")
        if posting.state == "asking":
            posting.state = "version"  # old brokers hang up instead of saying so

    def _client(self, version: Version) -> Client:
        link = self._link
        client = make_visitor(link, version, f"{link.client_id}-push-{secrets.token_hex(4)}")
        if link.tls:
            client.tls_set_context(trust(link))
        return client

    def _open(self, client: Client, version: Version, deadline: float) -> None:
        client.connect_timeout = max((deadline - time.monotonic()) / 2, 0.1)
        # The library lets the TLS handshake take as long as the keep-alive; longer than a try, it has no other use here.
        keepalive = int(self._timeout) + 1
        if version == "5":
            client.connect(self._link.host, self._link.port, keepalive, clean_start=True)
        else:
            client.connect(self._link.host, self._link.port, keepalive)

    def _failed(self, what: str, todo: str, *, transient: bool = True) -> DeliveryFailed:
        told = f"channel {self._id}: the broker at {self._link.address} {what}"
        return DeliveryFailed(told, transient=transient, todo=todo)


class _Posting:
    """One letter on one connection, as far as it has come."""

    def __init__(self, client: Client, topic: str, body: bytes) -> None:
        self.client = client
        self.state: _State = "asking"
        self.answered = False
        self.reason = ""
        self.code = 0
        self._topic = topic
        self._body = body
        client.on_connect = self._on_connect
        client.on_publish = self._on_publish

    def _on_connect(
        self, client: Client, _data: Any, _flags: Any, reason: ReasonCode, _properties: Properties | None
    ) -> None:
        self.answered = True
        if reason.is_failure:
            self._refused(reason)
            if reason.value == 0x84:  # MQTT 5 section 3.2.2.2: unsupported protocol version
                self.state = "version"
            return
        client.publish(self._topic, self._body, qos=1)

    def _on_publish(
        self, _client: Client, _data: Any, _mid: int, reason: ReasonCode, _properties: Properties | None
    ) -> None:
        if reason.is_failure:
            self._refused(reason)
        else:
            self.state = "told"

    def _refused(self, reason: ReasonCode) -> None:
        self.state, self.reason, self.code = "refused", str(reason), reason.value
