from __future__ import annotations

import random
import select
import socket
import struct
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING, Final

import pytest
from paho.mqtt import MQTTException
from paho.mqtt.client import MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion

from monitor.intake.reader import AT_ONCE, Reader
from tests.bench.wire_publisher import length_of

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.broker

Message = tuple[bytes, bytes, int, int]
CONNACK_5: Final = b"\x20\x03\x00\x00\x00"
CONNACK_3: Final = b"\x20\x02\x00\x00"
PINGRESP: Final = b"\xd0\x00"
EXPIRY: Final = b"\x05\x02\x00\x00\x0e\x10"  # a property: the message is good for an hour
PATIENCE_S: Final = 20.0


def packet(message: Message, version: MQTTProtocolVersion, properties: bytes = b"\x00") -> bytes:
    topic, payload, first, mid = message
    body = struct.pack("!H", len(topic)) + topic + (struct.pack("!H", mid) if first & 0b010 else b"")
    body += (properties if version == MQTTv5 else b"") + payload
    return bytes([first]) + length_of(len(body)) + body


@contextmanager
def connected(version: MQTTProtocolVersion) -> Iterator[tuple[Reader, socket.socket, list[Message]]]:
    """A reader whose broker is a bare socket, and what it has called back with."""
    heard: list[Message] = []
    with closing(socket.create_server(("127.0.0.1", 0))) as door:
        reader = Reader(CallbackAPIVersion.VERSION2, client_id="r", protocol=version, manual_ack=True)
        reader.on_publish_packet = lambda *message: heard.append(message)
        reader.connect(*door.getsockname())
        broker, _ = door.accept()
        with closing(broker):
            broker.settimeout(PATIENCE_S)
            broker.recv(1024)
            broker.sendall(CONNACK_5 if version == MQTTv5 else CONNACK_3)
            pump(reader)
            yield reader, broker, heard
            sock = reader.socket()
            if isinstance(sock, socket.socket):
                sock.close()


def pump(reader: Reader) -> MQTTErrorCode:
    """Read what is there, once."""
    sock = reader.socket()
    assert isinstance(sock, socket.socket)
    assert select.select([sock], [], [], PATIENCE_S)[0], "nothing has come"
    return reader.loop_read()


@pytest.mark.parametrize("version", [MQTTv5, MQTTv311])
def test_messages_come_whole_however_the_bytes_are_cut(version: MQTTProtocolVersion) -> None:
    """Messages of all sizes, flags and properties are called back once and in order, wherever the stream was cut."""
    chance = random.Random(5)  # noqa: S311  (cuts bytes, guards nothing)
    sizes = [0, 1, 120, 127, 128, 16_383, 16_384, 3 * AT_ONCE, *(chance.randrange(60) for _ in range(200))]
    messages: list[Message] = [
        (f"shed/{n}/water".encode(), chance.randbytes(size), chance.choice([0x30, 0x31, 0x32, 0x33, 0x3A]), n + 1)
        for n, size in enumerate(sizes)
    ]
    stream = b"".join(
        packet(message, version, chance.choice([b"\x00", EXPIRY])) + chance.choice([b"", PINGRESP])
        for message in messages
    )
    expected = [(topic, payload, first, mid if first & 0b010 else 0) for topic, payload, first, mid in messages]
    with connected(version) as (reader, broker, heard):
        at = 0
        while at < len(stream):
            step = chance.choice([1, 2, 3, 50, 700, 30_000])
            broker.sendall(stream[at : at + step])
            at += step
            pump(reader)
        while len(heard) < len(expected):
            pump(reader)
        assert heard == expected


def test_acknowledgements_leave_in_the_order_given() -> None:
    """Many packet ids become as many PUBACKs in the same order, and none is sent for none."""
    ids = [*range(1, 40), 65_535, 256, 255]
    with connected(MQTTv5) as (reader, broker, _):
        reader.acknowledge([])
        reader.acknowledge(ids)
        heard = b""
        while len(heard) < 4 * len(ids):
            heard += broker.recv(4096)
        assert heard == b"".join(struct.pack("!BBH", 0x40, 2, mid) for mid in ids)


@pytest.mark.parametrize(
    "garbage",
    [
        pytest.param(b"\x32\xff\xff\xff\xff\x7f", id="a length without end"),
        pytest.param(b"\x32\x04\x00\x09ab", id="a topic longer than its packet"),
        pytest.param(b"\x32\x07\x00\x01a\x00\x01\x20\x00", id="properties longer than their packet"),
        pytest.param(b"\x32\x00" + PINGRESP * 4, id="a message of nothing"),
    ],
)
def test_what_is_no_message_ends_the_connection(garbage: bytes) -> None:
    """Bytes that are no MQTT are told by an error, and nothing is called back."""
    with connected(MQTTv5) as (reader, broker, heard):
        broker.sendall(garbage)
        with pytest.raises((MQTTException, IndexError)):
            pump(reader)
        assert heard == []


def test_a_closed_connection_is_noticed() -> None:
    """When the broker hangs up, the reader says that the connection is lost and has no socket any more."""
    with connected(MQTTv5) as (reader, broker, _):
        broker.close()
        assert pump(reader) is MQTTErrorCode.MQTT_ERR_CONN_LOST
        assert reader.socket() is None
