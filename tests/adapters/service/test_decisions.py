"""The thread of decisions, with a real broker and store: in which order it takes what comes, and when it tells."""

from __future__ import annotations

import threading
import time
from contextlib import closing
from typing import TYPE_CHECKING

import pytest

from monitor.core.model import SECOND, AirRule, AlarmSettings, Measures, ProbeSpec
from monitor.intake.binding import Binding
from monitor.intake.link import Link
from monitor.service.clock import SystemClock
from monitor.service.ingest import Ingest
from monitor.service.supervisor import DRAIN, Supervisor
from monitor.service.wiring import Wiring
from monitor.store import Store
from tests.bench.wire_publisher import WirePublisher
from tests.system.daemon import until
from tests.unit.core.worlds import site, start

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.core.model import Effect, SiteSpec
    from monitor.intake.incoming import Incoming
    from monitor.store import Letter
    from tests.conftest import Mosquitto

COUNT = 2 * DRAIN + 200
TOPIC = "shed/ash/water"


class Catcher:
    """A channel that keeps what it is given."""

    id = "phone"

    def __init__(self) -> None:
        self.titles: list[str] = []

    def send(self, letter: Letter) -> None:
        self.titles.append(letter.title)


class NoTicks(SystemClock):
    """Its seconds stand still, so that after the first tick there is no other."""

    def __init__(self) -> None:
        super().__init__()
        self._still = super().steady()

    def steady(self) -> float:
        return self._still


def wiring(broker: Mosquitto, folder: Path, clock: SystemClock, *channels: Catcher) -> Wiring:
    """A shed with one water probe, where too hot is an alarm at once."""
    probes = {"ash-water": ProbeSpec("ash-water", Measures.WATER, "ash", 10 * SECOND, -5, 50, 1.0, AirRule())}
    spec: SiteSpec = site(probes=probes, alarms=AlarmSettings(on_delay=0))
    binding = Binding(TOPIC, "ash-water", "number", Measures.WATER)
    link = Link(broker.host, broker.port, "swimup-shed")
    return Wiring(spec, [binding], link, channels, str(folder / "shed.sqlite3"), SECOND, clock)


@pytest.mark.broker
def test_an_alarm_is_told_before_the_next_tick(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """A letter that waits for nothing goes as soon as its alarm is on the disk, though no tick follows."""
    clock, phone = NoTicks(), Catcher()
    with Store.open(tmp_path / "shed.sqlite3") as store:
        store.log(start(clock.now()))
        store.commit()
    shed = Supervisor(wiring(mosquitto, tmp_path, clock, phone))
    thread = threading.Thread(target=shed.run, daemon=True)
    thread.start()
    try:
        with closing(WirePublisher(mosquitto.host, mosquitto.port)) as wire:

            def told() -> bool:
                wire.send(wire.frame(TOPIC, b"41.0"), 1)  # the first ones may come before the subscription
                return bool(phone.titles)

            until(told, "nothing was told")
    finally:
        shed.stop()
        thread.join(20)
    assert phone.titles[0].startswith("Too hot in ash")


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
    shed = Supervisor(wiring(mosquitto, tmp_path, SystemClock()))
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
