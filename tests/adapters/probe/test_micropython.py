"""The publisher for microcontrollers, run by a real MicroPython against a real broker."""

from __future__ import annotations

import importlib.util
import itertools
import json
import os
import platform
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from monitor.core.quality import ProbeState, judge
from monitor.intake.decode import decode
from monitor.settings.probes import Probe
from monitor.store import Store
from tests.adapters.conftest import until

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from monitor.intake.session import Link
    from tests.adapters.conftest import Hearing
    from tests.conftest import BrokerFactory, Mosquitto

    Hear = Callable[..., Hearing]
    LinkTo = Callable[..., Link]

pytestmark = pytest.mark.broker

FOLDER = Path(__file__).parents[3] / "deploy/micropython"
HEAP = "128k"  # as in a board with 264 kB of memory; here every word has twice the size

# What a keeper fills in, with a sensor whose word is in a file and a clock that is set when a file is there.
MAIN = """
import json, os
import publisher

publisher.HOST, publisher.PORT, publisher.TOPIC = "127.0.0.1", {port}, "shed/micro"
publisher.EVERY_MS, publisher.LONGEST_WAIT_MS, publisher.KEEP = 100, 300, {keep}
publisher.USER, publisher.PASSWORD = {user!r}, "secret"

def sense():
    with open("sensor.json") as file:
        return [tuple(one) for one in json.load(file)]

real_now = publisher.now

def now():
    try:
        os.stat("clock-is-set")
    except OSError:
        return None
    return real_now()

publisher.sense, publisher.now = sense, now
publisher.run()
"""
WATER, FAULT, ONLINE = "shed/micro/ash-water", "shed/micro/ash-water/fault", "shed/micro/online"


def interpreter() -> list[str]:
    """Debian's micropython when it is there, else the same port out of a wheel, which is made for x86-64 only."""
    if found := shutil.which("micropython"):
        return [found]
    if importlib.util.find_spec("micropython_unix"):
        return [sys.executable, "-m", "micropython_unix"]
    if platform.machine() != "x86_64":
        pytest.skip("no micropython: install Debian's package of that name (13 and newer)")
    pytest.fail("no micropython: install the test extra, or Debian's package of that name (13 and newer)")


class Micro:
    """A microcontroller of our own."""

    def __init__(self, folder: Path, port: int, keep: int, user: str) -> None:
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None
        (folder / "main.py").write_text(MAIN.format(port=port, keep=keep, user=user))
        self.senses(24.5)

    def senses(self, value: float | str | None, fault: str = "") -> None:
        new = self._folder / "new"
        new.write_text(json.dumps([["ash-water", value, fault]]))
        new.replace(self._folder / "sensor.json")

    def breaks(self) -> None:
        """The driver raises something."""
        (self._folder / "sensor.json").unlink()

    def printed(self, text: str) -> bool:
        return text in (self._folder / "printed").read_text()

    def set_clock(self) -> None:
        (self._folder / "clock-is-set").touch()

    def start(self) -> None:
        with (self._folder / "printed").open("ab") as log:
            self._process = subprocess.Popen(
                [*interpreter(), "-X", f"heapsize={HEAP}", "main.py"],
                cwd=self._folder,
                env={**os.environ, "MICROPYPATH": str(FOLDER)},
                stdout=log,
                stderr=log,
            )

    def kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait(10)
            self._process = None


@pytest.fixture
def micros(tmp_path: Path) -> Iterator[Callable[..., Micro]]:
    """Makes microcontrollers that end with the test: ``micros(broker, keep=300, user="", clock=True)``."""
    made: list[Micro] = []

    def make(broker: Mosquitto, *, keep: int = 300, user: str = "", clock: bool = True) -> Micro:
        folder = tmp_path / f"micro-{len(made)}"
        folder.mkdir()
        made.append(Micro(folder, broker.port, keep, user))
        if clock:
            made[-1].set_clock()
        made[-1].start()
        return made[-1]

    yield make
    for one in made:
        one.kill()


def said(hearing: Hearing, topic: str) -> list[str]:
    return [message.payload.decode() for message in hearing.messages if message.topic == topic]


def numbers(hearing: Hearing) -> list[int]:
    return [json.loads(text)["n"] for text in said(hearing, WATER)]


def test_a_broker_that_is_away_costs_no_reading(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo, micros: Callable[..., Micro], tmp_path: Path
) -> None:
    """A broker is killed and comes back: the monitor stores every reading once and in the order of measuring."""
    hearing = hear(link_to(mosquitto), [WATER])
    hearing.wait_up()
    micros(mosquitto)
    hearing.wait_payloads(3)
    mosquitto.kill()
    attempts = hearing.session.state.connections
    until(lambda: hearing.session.state.connections >= attempts + 4)
    time.sleep(0.3)  # longer than the gap that is looked for, however soon the board tries again
    mosquitto.start()
    hearing.wait_up(2)
    hearing.wait_payloads(len(hearing.messages) + 15)

    bound = Probe.model_validate(
        {
            "id": "ash-water",
            "topic": WATER,
            "decoder": "json",
            "pointer": "/value",
            "time_pointer": "/time",
            "sequence_pointer": "/n",
            "measures": "water",
            "vessel": "ash",
            "every": "100 ms",
        }
    )
    state = ProbeState(bound.spec())
    stored = []
    with Store.open(tmp_path / "shed.sqlite3") as store:
        for message in list(hearing.messages):
            (sample,) = decode(message.payload, bound.binding(), None)
            new = store.add(judge(state, sample, message.arrived))
            stored += [] if new is None else [new]
    assert [reading.seq for reading in stored] == list(range(len(stored)))
    assert len(stored) > 15
    assert all(reading.own_time and reading.value == 24.5 for reading in stored)
    arrivals = [reading.arrived or 0 for reading in stored]
    assert max(after - before for before, after in itertools.pairwise(arrivals)) > 200, "none had to wait"
    times = [reading.time for reading in stored]
    assert times == sorted(times)


def test_a_fault_is_kept_at_the_broker_until_it_is_over(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo, micros: Callable[..., Micro]
) -> None:
    """What cannot be believed is told in words and never as a value; a driver that raises stops nothing."""
    hearing = hear(link_to(mosquitto), [WATER, FAULT])
    hearing.wait_up()
    micro = micros(mosquitto)
    hearing.wait_payloads(2)
    micro.senses(None, "the checksum does not fit")
    until(lambda: '{"fault": "the checksum does not fit"}' in said(hearing, FAULT))
    micro.senses("running")
    until(lambda: json.loads(said(hearing, WATER)[-1])["value"] == "running")
    until(lambda: said(hearing, FAULT)[-1] == "")
    assert {json.loads(text)["value"] for text in said(hearing, WATER)} == {24.5, "running"}
    micro.breaks()
    until(lambda: micro.printed("not measured"))
    micro.senses(25.0)
    until(lambda: json.loads(said(hearing, WATER)[-1])["value"] == 25.0)


def test_the_board_is_offline_when_it_is_cut_off_and_counts_on(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo, micros: Callable[..., Micro]
) -> None:
    """Its will says so; started again it is online, and no number comes a second time."""
    hearing = hear(link_to(mosquitto), [WATER, ONLINE])
    hearing.wait_up()
    micro = micros(mosquitto)
    until(lambda: len(numbers(hearing)) >= 2)
    micro.kill()
    until(lambda: said(hearing, ONLINE) == ["online", "offline"])
    before = len(numbers(hearing))
    micro.start()
    until(lambda: len(numbers(hearing)) >= before + 2)
    assert said(hearing, ONLINE) == ["online", "offline", "online"]
    assert numbers(hearing) == sorted(set(numbers(hearing)))
    assert numbers(hearing)[-1] >= 1000


def test_without_a_clock_what_is_old_waits_for_it(
    brokers: BrokerFactory, hear: Hear, link_to: LinkTo, micros: Callable[..., Micro]
) -> None:
    """Only fresh readings go without a time; with the clock set the older ones follow, as many as were kept."""
    broker = brokers(start=False)
    micro = micros(broker, clock=False, keep=20)
    until(lambda: micro.printed("no broker"), "it has not begun")
    time.sleep(0.3)  # its first readings are not fresh any more then
    hearing = hear(link_to(broker), [WATER])
    until(lambda: hearing.session.state.connections > 4)
    broker.start()
    hearing.wait_up()
    until(lambda: len(numbers(hearing)) >= 3)
    live = [json.loads(text) for text in said(hearing, WATER)]
    assert all(one["time"] is None for one in live)
    first = live[0]["n"]
    assert first > 0
    micro.set_clock()
    until(lambda: any(n < first for n in numbers(hearing)))
    late = [json.loads(text) for text in said(hearing, WATER)]
    assert all(one["time"] for one in late if one["n"] < first)
    assert max(numbers(hearing).count(n) for n in numbers(hearing)) == 1


def test_a_password_is_given_and_a_refusal_survived(
    brokers: BrokerFactory, hear: Hear, link_to: LinkTo, micros: Callable[..., Micro], tmp_path: Path
) -> None:
    """A board that is let in with its name publishes; one that is not goes on trying and harms nobody."""
    secrets = tmp_path / "passwords"
    secrets.touch(mode=0o600)
    for user in ("micro", "reader"):
        subprocess.run(["mosquitto_passwd", "-b", str(secrets), user, "secret"], check=True)
    broker = brokers(extra=[f"password_file {secrets}"], anonymous=False)
    hearing = hear(link_to(broker, user="reader", password="secret"), [WATER])
    hearing.wait_up()
    stranger = micros(broker, user="stranger")
    until(lambda: "not authorised" in broker.log.read_text())
    stranger.kill()
    assert hearing.messages == []
    micros(broker, user="micro")
    hearing.wait_payloads(2)


# The drivers of a real board, as far as the publisher calls them.
DRIVERS = {
    "machine.py": """
LEVEL = 0
class Pin:
    IN = PULL_UP = 1
    def __init__(self, number, *how):
        self.number = number
    def value(self):
        return LEVEL
""",
    "onewire.py": "class OneWire:\n    def __init__(self, pin):\n        assert pin.number == 4\n",
    "ds18x20.py": """
VALUES = {0x41: 24.5625, 0x42: 85.0, 0x43: 150.0}
class DS18X20:
    def __init__(self, bus):
        self.asked = False
    def scan(self):
        return [bytearray([0x28, last]) for last in (0x41, 0x42, 0x43, 0x44)]
    def convert_temp(self):
        self.asked = True
    def read_temp(self, rom):
        assert self.asked
        if rom[1] not in VALUES:
            raise Exception("CRC error")
        return VALUES[rom[1]]
""",
}
ONCE = """
import json, machine, publisher
publisher.THERMOMETERS = {"ash": "2841", "birch": "2842", "cedar": "2843", "room": "2844", "gone": "28ff"}
publisher.PUMP_PIN = 17
print(json.dumps(publisher.sense()))
machine.LEVEL = 1
print(publisher.pump())
publisher.find()
"""


def test_what_the_drivers_say_is_told_as_value_or_fault(tmp_path: Path) -> None:
    """A temperature is a value; 85.0, what no chip can measure, a bad checksum and a missing chip are faults."""
    for name, text in DRIVERS.items():
        (tmp_path / name).write_text(text)
    (tmp_path / "main.py").write_text(ONCE)
    done = subprocess.run(
        [*interpreter(), "main.py"],
        cwd=tmp_path,
        env={**os.environ, "MICROPYPATH": f"{tmp_path}:{FOLDER}"},
        capture_output=True,
        text=True,
        check=True,
        timeout=20,
    )
    sensed, pump, there = done.stdout.splitlines()
    found = {name: (value, fault) for name, value, fault in json.loads(sensed)}
    assert found["ash"] == (pytest.approx(24.5625, abs=0.001), "")
    assert (found["ash-air"], pump) == (("running", ""), "stopped")
    for name, says in (
        ("birch", "85.0"),
        ("cedar", "more or less"),
        ("room", "CRC error"),
        ("gone", "there: 2841, 2842"),
    ):
        assert found[name][0] is None
        assert says in found[name][1]
    assert there == "['2841', '2842', '2843', '2844']"
