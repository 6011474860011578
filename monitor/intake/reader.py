"""The MQTT client of the session: what has come is read in one go, and many acknowledgements leave in one.

The client that it is made from asks the system three times for each packet and prepares for every property that MQTT 5
knows: most of what a reading costs on its way from the broker. Here PUBLISH packets, which are nearly all that comes, are
taken apart directly; all others are left to it.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any, Final

from paho.mqtt import MQTTException
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import MQTTErrorCode

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

AT_ONCE: Final = 65_536
"""Bytes asked for in one go."""
LONGEST_LENGTH: Final = 4
"""Bytes of a length, MQTT 5 section 1.5.5."""

_PUBLISH, _PUBACK = 0x30, 0x40
_TYPE = 0xF0


class Reader(Client):
    """``on_publish_packet`` is called for each message of QoS 0 or 1: topic, payload, first byte of the packet, packet id."""

    on_publish_packet: Callable[[bytes, bytes, int, int], None]

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self._unread = bytearray()
        self._wanted = 0  # bytes of the first packet that is not there as a whole

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:  # noqa: ARG002  (all that have come)
        """Handle every packet that is there. Raises what the callbacks raise, and MQTTException for what is no MQTT."""
        try:
            came = self._sock_recv(AT_ONCE)
        except BlockingIOError:
            return MQTTErrorCode.MQTT_ERR_SUCCESS
        except OSError:
            came = b""
        if not came:
            return self._loop_rc_handle(MQTTErrorCode.MQTT_ERR_CONN_LOST)
        self._last_bytes_received = self._last_msg_in = time.monotonic()  # a sign of life; newer and older name
        self._unread += came
        if len(self._unread) < self._wanted:
            return MQTTErrorCode.MQTT_ERR_SUCCESS
        return self._take_packets()

    def acknowledge(self, ids: Iterable[int]) -> None:
        """Send the PUBACKs of QoS 1 messages, in this order."""
        packets = b"".join([bytes((_PUBACK, 2, mid >> 8, mid & 0xFF)) for mid in ids])
        if packets:
            self._packet_queue(_PUBACK, packets, 0, 0)

    def _take_packets(self) -> MQTTErrorCode:
        data, at = bytes(self._unread), 0  # of bytes a part is one copy, of a bytearray two
        size, five = len(data), self._protocol == MQTTv5
        while True:
            length, body = (data[at + 1], at + 2) if at + 1 < size and data[at + 1] < 0x80 else _length(data, at + 1)
            end = body + length
            if not body or end > size:
                self._wanted = end - at if body else 0
                break
            first = data[at]
            at = end
            if first & _TYPE == _PUBLISH and first & 0b100 == 0:
                self._take_publish(first, data, body, end, five=five)
                continue
            fault = self._leave(first, data[body:end])
            if fault > 0:
                return self._loop_rc_handle(fault)
            if self._sock is None:
                return MQTTErrorCode.MQTT_ERR_SUCCESS
        del self._unread[:at]
        return MQTTErrorCode.MQTT_ERR_SUCCESS

    def _take_publish(self, first: int, data: bytes, body: int, end: int, *, five: bool) -> None:
        """MQTT 5 section 3.3, MQTT 3.1.1 section 3.3."""
        begin = body + 2
        at = begin + (data[body] << 8 | data[body + 1])
        topic, mid = data[begin:at], 0
        if first & 0b010:
            mid = data[at] << 8 | data[at + 1]
            at += 2
        if five:
            if data[at]:
                length, at = _length(data, at)
                at = at + length if at else end + 1
            else:  # no properties
                at += 1
        if at > end:
            raise MQTTException("the broker sent a message that ends in its middle")
        self.on_publish_packet(topic, data[at:end], first, mid)

    def _leave(self, first: int, body: bytes) -> MQTTErrorCode:
        """Any other packet, to be handled as if it had been read by the client beneath."""
        self._in_packet = {
            "command": first,
            "have_remaining": 1,
            "remaining_count": [],
            "remaining_mult": 1,
            "remaining_length": len(body),
            "packet": bytearray(body),
            "to_process": 0,
            "pos": 0,
        }
        return self._packet_handle()


def _length(data: bytes, at: int) -> tuple[int, int]:
    """A length of variable size, MQTT 5 section 1.5.5, and where what it measures begins; that is 0 while it is not all there."""
    length = shift = 0
    for place in range(at, min(at + LONGEST_LENGTH, len(data))):
        byte = data[place]
        length |= (byte & 0x7F) << shift
        if byte < 0x80:
            return length, place + 1
        shift += 7
    if len(data) - at >= LONGEST_LENGTH:
        raise MQTTException("the broker sent a length that is none")
    return 0, 0
