"""The thread of decisions, with a real broker and store, when more has come than it takes in one go."""

from __future__ import annotations

import threading
import time
from contextlib import closing
from typing import TYPE_CHECKING

import pytest

from monitor.core.model import SECOND, AirRule, Measures, ProbeSpec
from monitor.intake.binding import Binding
from monitor.intake.link import Link
from monitor.service.clock import SystemClock
from monitor.service.ingest import Ingest
from monitor.service.supervisor import DRAIN, Supervisor, Wiring
from tests.bench.wire_publisher import WirePublisher
from tests.system.daemon import until
from tests.unit.core.worlds import site

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.core.model import Effect
    from monitor.intake.incoming import Incoming
    from tests.conftest import Mosquitto

COUNT = 2 * DRAIN + 200
TOPIC = "shed/ash/water"


@pytest.mark.broker
def test_readings_are_decided_in_the_order_they_came(
    mosquitto: Mosquitto, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of more readings than are taken in one go, each is decided after all that came before it, and none is missing."""
    taken: list[bytes] = []
    wanted = threading.Event()
    take = Ingest.take

    def noting(self: Ingest, message: Incoming) -> list[Effect]:
        wanted.wait(20)
        taken.append(message.payload)
        return take(self, message)

    monkeypatch.setattr(Ingest, "take", noting)
    probes = {"ash-water": ProbeSpec("ash-water", Measures.WATER, "ash", 10 * SECOND, -5, 50, 1.0, AirRule())}
    binding = Binding(TOPIC, "ash-water", "number", Measures.WATER)
    link = Link(mosquitto.host, mosquitto.port, "swimup-shed")
    path = str(tmp_path / "shed.sqlite3")
    shed = Supervisor(Wiring(site(probes=probes), [binding], link, [], path, SECOND, SystemClock()))
    thread = threading.Thread(target=shed.run, daemon=True)
    thread.start()
    try:
        until(lambda: shed.desk.bench().get("broker", {}).get("connected"), "no link")
        sent = [b"%.3f" % (25 + n / 1000) for n in range(COUNT)]
        with closing(WirePublisher(mosquitto.host, mosquitto.port)) as wire:
            wire.send(*wire.frames((TOPIC, payload) for payload in sent))
            wire.settle()
            time.sleep(0.3)  # most of it is there then; the order must hold whether or not
            wanted.set()
            until(lambda: len(taken) >= COUNT, "not all were decided")
    finally:
        wanted.set()
        shed.stop()
        thread.join(20)
    assert taken == sent
