"""Thirty probes as fast as the broker and the one who reads take them: MQTT 3.1.1 at QoS 1 over a plain socket.

    python -m tests.soak.publisher 1883 10000000 0.0 inf

The third number is the real time (seconds since 1970) from which the room's time counts, the fourth that at which it ends.
How many messages were taken comes in lines on its input, so that nothing waits at the broker without bound; at its end it
prints how many it has sent.
"""

from __future__ import annotations

import os
import select
import socket
import struct
import sys
import time
from typing import Final

from monitor.service.clock import SimulatedClock
from tests.soak.flow import EPOCH, SPEED, Flow

WINDOW: Final = 6_000  # messages sent and not yet taken: the broker may have 2000 of them on the way
UNANSWERED: Final = 2_000
AT_ONCE: Final = 200
STDIN: Final = 0
PUBACK: Final = 4  # bytes
CONNECT: Final = b"\x10\x12\x00\x04MQTT\x04\x02\x00\x00\x00\x06probes"


def packet(topic: bytes, payload: bytes, mid: int) -> bytes:
    """PUBLISH with QoS 1, MQTT 3.1.1 section 3.3; shorter than 16 kB."""
    length = 4 + len(topic) + len(payload)
    header = b"\x32" + (bytes((length,)) if length < 128 else bytes((length % 128 | 128, length // 128)))
    return b"".join((header, struct.pack(">H", len(topic)), topic, struct.pack(">H", mid), payload))


def main(port: int, total: int, anchor: float, enough: float) -> None:
    flow = Flow(SimulatedClock(EPOCH, SPEED, anchor).now)
    taken = answered = sent = 0
    heard = b""
    with socket.create_connection(("127.0.0.1", port)) as broker:
        broker.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        broker.sendall(CONNECT)
        if broker.recv(4)[3:] != b"\x00":
            raise SystemExit("the broker does not let the probes in")
        while answered < total:
            if time.time() > enough:
                total = sent
            if sent < total and sent - taken < WINDOW and sent - answered < UNANSWERED:
                some = [flow.message(nth) for nth in range(sent, min(sent + AT_ONCE, total))]
                broker.sendall(
                    b"".join(packet(topic, payload, (sent + n) % 65_535 + 1) for n, (topic, payload) in enumerate(some))
                )
                sent += len(some)
                ready, _, _ = select.select([broker.fileno(), STDIN], [], [], 0)
            else:
                ready, _, _ = select.select([broker.fileno(), STDIN], [], [])
            if broker.fileno() in ready:
                heard += broker.recv(65_536)
                answered += len(heard) // PUBACK
                heard = heard[len(heard) // PUBACK * PUBACK :]
            if STDIN in ready:
                lines = os.read(STDIN, 65_536)
                if not lines:
                    return  # whoever reads has ended
                taken = int(lines.split()[-1])  # lines are short and come whole: pipe(7)
        broker.sendall(b"\xe0\x00")
    sys.stdout.write(f"{sent}\n")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]), float(sys.argv[4]))
