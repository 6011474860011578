"""Consumers to be measured beside the service, each a process of its own with the MQTT client and settings of the service.

    python -m tests.bench.consumers count|insert|time HOST PORT PREFIX FILE

``count`` only counts: the floor of any consumer with this client. ``insert`` is the plain way to keep readings: parse the
JSON, insert a row, commit, each by itself (SQLite as it comes: rollback journal, synchronous FULL). ``time`` notes when each
message came. At a message ``mark`` each tells on a line what it has done so far.
"""

from __future__ import annotations

import json
import sqlite3
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from monitor.intake.link import RECEIVE_MAXIMUM, SESSION_EXPIRY_S

if TYPE_CHECKING:
    from collections.abc import Callable

    from paho.mqtt.client import MQTTMessage

MARK: Final = b"mark"


def written_bytes(process: str = "self") -> int:
    """What a process has handed to block devices, bytes: ``write_bytes`` of proc(5)."""
    lines = Path(f"/proc/{process}/io").read_text().splitlines()
    return int(next(line for line in lines if line.startswith("write_bytes")).split()[1])


class Counting:
    def __init__(self, _file: str) -> None:
        self.count = 0

    def take(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        if message.payload == MARK:
            self.tell()
            return
        self.count += 1

    def tell(self) -> None:
        told = {"count": self.count, "cpu_s": time.process_time(), "written": written_bytes(), **self.more()}
        sys.stdout.write(json.dumps(told) + "\n")
        sys.stdout.flush()

    def more(self) -> dict[str, Any]:
        return {}


class Inserting(Counting):
    def __init__(self, file: str) -> None:
        super().__init__(file)
        self._rows = sqlite3.connect(file)
        self._rows.execute("PRAGMA synchronous = FULL")
        self._rows.execute("CREATE TABLE reading (id INTEGER PRIMARY KEY, topic TEXT, at REAL, value TEXT)")

    def take(self, client: Client, data: Any, message: MQTTMessage) -> None:
        if message.payload != MARK:
            value = json.loads(message.payload)
            row = (message.topic, time.time(), json.dumps(value))
            self._rows.execute("INSERT INTO reading (topic, at, value) VALUES (?, ?, ?)", row)
            self._rows.commit()
        super().take(client, data, message)


class Timing(Counting):
    def __init__(self, file: str) -> None:
        super().__init__(file)
        self._came: list[tuple[str, int]] = []

    def take(self, client: Client, data: Any, message: MQTTMessage) -> None:
        if message.payload != MARK:
            self._came.append((message.payload.decode(), time.monotonic_ns()))
        super().take(client, data, message)

    def more(self) -> dict[str, Any]:
        came, self._came = self._came, []
        return {"came": came}


KINDS: Final[dict[str, Callable[[str], Counting]]] = {"count": Counting, "insert": Inserting, "time": Timing}


def main() -> None:
    kind, host, port, prefix, file = sys.argv[1:]
    consumer = KINDS[kind](file)
    client = Client(CallbackAPIVersion.VERSION2, client_id=f"bench-{kind}", protocol=MQTTv5)
    client.on_message = consumer.take
    client.on_connect = lambda client, *_: client.subscribe(f"{prefix}/#", options=SubscribeOptions(qos=1))
    client.on_subscribe = lambda *_: consumer.tell()
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.ReceiveMaximum = RECEIVE_MAXIMUM
    properties.SessionExpiryInterval = SESSION_EXPIRY_S
    client.connect(host, int(port), 30, clean_start=False, properties=properties)
    client.loop_forever()


if __name__ == "__main__":
    main()
