"""A publisher that costs next to nothing: frames of MQTT 3.1.1 made beforehand, written to a plain socket at QoS 1."""

from __future__ import annotations

import select
import socket
import struct
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

CONNECT: Final = b"\x10\x0c\x00\x04MQTT\x04\x02\x00\x00\x00\x00"  # a clean session without a name and keep-alive
PUBLISH_QOS_1: Final = 0x32
LAST_ID: Final = 65_535
PUBACK: Final = 4  # bytes


def length_of(count: int) -> bytes:
    """The remaining length of a packet, MQTT 3.1.1 section 2.2.3."""
    told = bytearray()
    while True:
        count, digit = divmod(count, 128)
        told.append(digit | (128 if count else 0))
        if not count:
            return bytes(told)


class WirePublisher:
    """It takes acknowledgements as they come and looks only at their number: the broker checks the rest."""

    def __init__(self, host: str, port: int) -> None:
        self._socket = socket.create_connection((host, port), 10)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket.sendall(CONNECT)
        if self._socket.recv(4) != b"\x20\x02\x00\x00":
            raise RuntimeError("the broker does not let the publisher in")
        self._number = 0
        self._unsettled = 0  # bytes of acknowledgements still to come

    def frame(self, topic: str, payload: bytes) -> bytes:
        self._number = self._number % LAST_ID + 1
        name = topic.encode()
        body = struct.pack("!H", len(name)) + name + struct.pack("!H", self._number) + payload
        return bytes([PUBLISH_QOS_1]) + length_of(len(body)) + body

    def frames(self, messages: Iterable[tuple[str, bytes]]) -> tuple[bytes, int]:
        """All of them as one text of bytes, and how many they are."""
        made = [self.frame(topic, payload) for topic, payload in messages]
        return b"".join(made), len(made)

    def send(self, frames: bytes, count: int) -> None:
        """Write it; the broker's answers are taken meanwhile, so that neither waits for the other."""
        self._unsettled += count * PUBACK
        rest = memoryview(frames)
        self._socket.setblocking(False)
        while rest:
            readable, writable, _ = select.select([self._socket], [self._socket], [], 30)
            if readable:
                self._heard()
            if writable:
                rest = rest[self._socket.send(rest) :]

    def settle(self) -> None:
        """Wait until the broker has taken all that was sent."""
        self._socket.setblocking(True)
        self._socket.settimeout(30)
        while self._unsettled > 0:
            self._heard()

    def _heard(self) -> None:
        heard = self._socket.recv(65_536)
        if not heard:
            raise RuntimeError("the broker has hung up")
        self._unsettled -= len(heard)

    def close(self) -> None:
        self._socket.close()
