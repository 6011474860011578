"""Where the broker is, who we are there, and the client made from both."""

from __future__ import annotations

import json
import os
import socket
import ssl
import struct
import time
from contextlib import suppress
from dataclasses import field
from pathlib import Path
from typing import TYPE_CHECKING, Literal
from urllib.parse import urlsplit

from paho.mqtt import MQTTException
from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from monitor.core.light import light
from monitor.intake.reader import Reader

if TYPE_CHECKING:
    import random

Version = Literal["5", "3.1.1"]

RECEIVE_MAXIMUM = 2000
"""Unacknowledged messages the broker may have on the way to us. Only MQTT 5 can ask for it."""

SESSION_EXPIRY_S = 7 * 24 * 3600
"""How long the broker keeps readings for us while we are away."""

MAXIMUM_PACKET = 4 * 1024 * 1024
"""Bytes. Above this an MQTT 5 broker keeps a message to itself, so that one cannot fill the memory of a small board."""

CONNECT_TIMEOUT_S = 5.0

WIRE_FAULTS = (OSError, ValueError, LookupError, struct.error, MQTTException)
"""What sockets, TLS and the client raise when the peer is away or talks nonsense."""

UNSUPPORTED_VERSION = 0x84
"""Reason code, MQTT 5 section 3.2.2.2."""

_PORTS = {"mqtt": 1883, "mqtts": 8883}


@light
class Link:
    """How to reach the broker. Files are read anew at each attempt, so that a renewed certificate is used."""

    host: str
    port: int
    client_id: str
    tls: bool = False
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_file: str | Path | None = None
    cert_file: str | Path | None = None
    key_file: str | Path | None = None
    version: Literal["auto", "5", "3.1.1"] = "auto"
    keepalive_s: int = 30

    def __post_init__(self) -> None:
        if not self.client_id:
            raise ValueError("an empty client id: the broker could keep nothing for us while we are away")
        if not self.host or not 0 < self.port < 65536:
            raise ValueError(f"{self.host}:{self.port} is no address of a broker")

    @classmethod
    def from_url(
        cls,
        url: str,
        client_id: str,
        *,
        user: str | None = None,
        password: str | None = None,
        ca_file: str | Path | None = None,
        cert_file: str | Path | None = None,
        key_file: str | Path | None = None,
        version: Literal["auto", "5", "3.1.1"] = "auto",
    ) -> Link:
        """From ``mqtt://host[:1883]`` or ``mqtts://host[:8883]``; :class:`ValueError` says what is wrong."""
        parts = urlsplit(url)
        if parts.scheme not in _PORTS or not parts.hostname or parts.path.strip("/") or parts.query:
            raise ValueError(f"{parts.scheme}://{parts.hostname or ''}: write mqtt://host:1883 or mqtts://host:8883")
        if parts.username or parts.password:
            raise ValueError("user and password do not belong into the url; give them apart")
        return cls(
            host=parts.hostname,
            port=parts.port or _PORTS[parts.scheme],
            client_id=client_id,
            tls=parts.scheme == "mqtts",
            user=user,
            password=password,
            ca_file=ca_file,
            cert_file=cert_file,
            key_file=key_file,
            version=version,
        )

    @property
    def address(self) -> str:
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"


def back_off(failures: int, chance: random.Random, first: float = 1.0, longest: float = 60.0) -> float:
    """Seconds to wait after ``failures`` attempts in a row have failed: anything up to a bound that doubles each time.

    Full jitter, so that many clients do not come back to a restarted broker in step.
    """
    return chance.uniform(0, min(longest, first * 2 ** min(max(failures - 1, 0), 16)))


class _TidySocket(ssl.SSLSocket):
    """Closes itself when the handshake fails, which the client forgets; every refused attempt would hold a handle."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except (OSError, ValueError):
            self.close()
            raise


def status_topic(site: str) -> str:
    return f"swimup/{site}/status"


def marker_topic(site: str) -> str:
    return f"swimup/{site}/marker"


def make_client(link: Link, version: Version, site: str) -> Reader:
    """A client for one connection, with the will set, not yet connected.

    Raises :class:`OSError` when a certificate or key cannot be read.
    """
    five = version == "5"
    client = Reader(
        CallbackAPIVersion.VERSION2,
        client_id=link.client_id,
        protocol=MQTTv5 if five else MQTTv311,
        clean_session=None if five else False,
        manual_ack=True,
        reconnect_on_failure=False,
    )
    client.connect_timeout = CONNECT_TIMEOUT_S
    client.will_set(status_topic(site), json.dumps({"state": "lost"}), qos=1, retain=True)
    if link.user is not None:
        client.username_pw_set(link.user, link.password)
    if link.tls:
        client.tls_set_context(trust(link))
    return client


def make_visitor(link: Link, version: Version, client_id: str) -> Client:
    """A client that keeps nothing at the broker and has no will, not yet connected. It must not take the session's id."""
    five = version == "5"
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=client_id,
        protocol=MQTTv5 if five else MQTTv311,
        clean_session=None if five else True,
        reconnect_on_failure=False,
    )
    client.connect_timeout = CONNECT_TIMEOUT_S
    if link.user is not None:
        client.username_pw_set(link.user, link.password)
    return client


def visit(client: Client, link: Link, version: Version, largest: int) -> None:
    """Connect a visitor, to which MQTT 5 brokers send no packet above ``largest`` bytes.

    Blocks up to the timeout; raises OSError or ValueError, also for a certificate or key that cannot be read.
    """
    if link.tls:
        client.tls_set_context(trust(link))
    if version == "3.1.1":
        client.connect(link.host, link.port, link.keepalive_s)
        return
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.MaximumPacketSize = largest
    client.connect(link.host, link.port, link.keepalive_s, clean_start=True, properties=properties)


def trust(link: Link) -> ssl.SSLContext:
    """Whom we believe and how we show who we are. The system's authorities count when none is configured."""
    for path in (link.ca_file, link.cert_file, link.key_file):
        if path is not None:
            Path(path).open("rb").close()  # ssl would not say which file is missing
    context = ssl.create_default_context(cafile=None if link.ca_file is None else str(link.ca_file))
    context.sslsocket_class = _TidySocket
    if link.cert_file is not None:
        context.load_cert_chain(str(link.cert_file), None if link.key_file is None else str(link.key_file))
    return context


def connect(client: Client, link: Link, version: Version) -> None:
    """Open the connection and send CONNECT. Blocks up to the timeout; raises OSError or ValueError."""
    if version == "3.1.1":
        client.connect(link.host, link.port, link.keepalive_s)
        return
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.ReceiveMaximum = RECEIVE_MAXIMUM
    properties.SessionExpiryInterval = SESSION_EXPIRY_S
    properties.MaximumPacketSize = MAXIMUM_PACKET
    client.connect(link.host, link.port, link.keepalive_s, clean_start=False, properties=properties)


def part(client: Client, until: float) -> None:
    """Send what is left and DISCONNECT, then wait for the broker to hang up.

    Closing while messages for us are still coming in would reset the connection, and the broker could miss our last
    acknowledgements. The client closes its socket at once, so a second handle keeps the connection open meanwhile.
    """
    own = client.socket()
    if own is None:
        return
    with socket.socket(fileno=os.dup(own.fileno())) as handle:
        client.disconnect()
        while client.socket() is not None and time.monotonic() < until:
            client.loop_write()
            time.sleep(0.001)
        handle.settimeout(max(until - time.monotonic(), 0.1))
        with suppress(OSError):
            handle.shutdown(socket.SHUT_WR)
            while handle.recv(65_536) and time.monotonic() < until:
                pass


def drop(client: Client) -> None:
    """Close the socket without a DISCONNECT, so that the broker publishes the will unless we said farewell."""
    sock = client.socket()
    if sock is not None:
        sock.close()
