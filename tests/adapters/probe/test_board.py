"""A board and a real broker: what arrives, and what becomes of readings while the broker is away."""

from __future__ import annotations

import json
import threading
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.quality import ProbeState, judge
from monitor.intake.decode import decode
from monitor.probe.board import STUCK_MS, BoardRunner
from monitor.probe.clock import Clock
from monitor.probe.settings import from_document
from monitor.settings.probes import Probe
from monitor.store import Store
from tests.adapters.conftest import until
from tests.board_tree import answer
from tests.logs import heard

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from monitor.intake.session import Link
    from tests.adapters.conftest import Hearing
    from tests.adapters.probe.conftest import Running
    from tests.board_tree import Tree
    from tests.conftest import BrokerFactory, Mosquitto

    Hear = Callable[..., Hearing]
    LinkTo = Callable[..., Link]
    Boards = Callable[..., Running]

pytestmark = pytest.mark.broker

ASH, ROOM = "28-0316a2798fff", "28-0316a2791abc"
WATER, FAULT, ONLINE = "shed/zero/ash-water", "shed/zero/ash-water/fault", "shed/zero/online"
ONE_WIRE = [{"id": "ash-water", "device": ASH, "every": "100 ms"}]
BOUND = Probe.model_validate(
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


def said(hearing: Hearing, topic: str) -> list[str]:
    return [message.payload.decode() for message in hearing.messages if message.topic == topic]


def numbers(hearing: Hearing, topic: str = WATER) -> list[int]:
    return [json.loads(text)["n"] for text in said(hearing, topic)]


@pytest.mark.parametrize("end", ["stop", "kill"])
def test_a_broker_that_is_away_costs_no_reading(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo, boards: Boards, tree: Tree, tmp_path: Path, end: str
) -> None:
    """However the broker ends, the monitor stores every reading once, with its own time, in the order of measuring."""
    tree.thermometer(ASH, answer(24_625))
    hearing = hear(link_to(mosquitto), [WATER])
    hearing.wait_up()
    board = boards(mosquitto, one_wire=ONE_WIRE)
    hearing.wait_payloads(3)
    getattr(mosquitto, end)()
    until(lambda: len(board.runner.ring) >= 10)
    mosquitto.start()
    hearing.wait_up(2)
    until(lambda: len(board.runner.ring) < 3)
    before = len(hearing.messages)
    hearing.wait_payloads(before + 3)
    board.stop()
    assert len(board.runner.ring) <= 1  # one may just have been measured when it was told to stop

    state = ProbeState(BOUND.spec())
    stored = []
    with Store.open(tmp_path / "shed.sqlite3") as store:
        for message in hearing.messages:
            (sample,) = decode(message.payload, BOUND.binding(), None)
            new = store.add(judge(state, sample, message.arrived))
            stored += [] if new is None else [new]
    assert [reading.seq for reading in stored] == list(range(len(stored)))
    assert all(reading.own_time for reading in stored)
    times = [reading.time for reading in stored]
    assert times == sorted(times)
    assert max(reading.arrived - reading.time for reading in stored if reading.arrived) > 500


def test_a_broken_thermometer_is_told_as_such_and_not_as_a_value(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo, boards: Boards, tree: Tree
) -> None:
    """85.0, a bad checksum and a pulled plug each give a kept word and no reading; the word goes when it is well again."""
    tree.thermometer(ASH, answer(85_000))
    hearing = hear(link_to(mosquitto), [WATER, FAULT])
    hearing.wait_up()
    boards(mosquitto, one_wire=ONE_WIRE)
    until(lambda: said(hearing, FAULT))
    assert "has measured" in json.loads(said(hearing, FAULT)[0])["fault"]
    tree.thermometer(ASH, answer(24_000, fits=False))
    until(lambda: len(said(hearing, FAULT)) >= 2)
    assert "checksum" in said(hearing, FAULT)[1]
    tree.unplug(ASH)
    until(lambda: len(said(hearing, FAULT)) >= 3)
    assert "not on the bus" in said(hearing, FAULT)[2]
    assert len({json.loads(text)["since"] for text in said(hearing, FAULT)}) == 1
    assert said(hearing, WATER) == []
    tree.thermometer(ASH, answer(24_000))
    until(lambda: said(hearing, WATER))
    until(lambda: said(hearing, FAULT)[-1] == "")
    assert json.loads(said(hearing, WATER)[0])["value"] == 24.0


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_the_broker_says_whether_the_board_is_there(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo, boards: Boards, tree: Tree, version: str
) -> None:
    """Online while it runs, offline when it is stopped, and offline by its will when it is cut off."""
    tree.thermometer(ASH, answer(24_000))
    hearing = hear(link_to(mosquitto), [ONLINE])
    hearing.wait_up()
    board = boards(mosquitto, one_wire=ONE_WIRE, broker={"version": version})
    until(lambda: hearing.payloads == ["online"])
    board.stop()
    until(lambda: hearing.payloads == ["online", "offline"])
    board = boards(mosquitto, one_wire=ONE_WIRE, broker={"version": version})
    until(lambda: hearing.payloads[2:] == ["online"])
    # Another client of its name throws it out, as if its line had gone dead; the board comes back by itself.
    hear(link_to(mosquitto, "swimup-probe-zero-1", version="3.1.1"), ["elsewhere"], start=True)
    until(lambda: "offline" in hearing.payloads[3:])
    assert board.well == []


def test_a_board_that_does_not_know_the_time_keeps_what_is_old(
    brokers: BrokerFactory, hear: Hear, link_to: LinkTo, boards: Boards, tree: Tree
) -> None:
    """Without a clock only fresh readings go, without a time; once it is set the older ones follow with theirs."""
    broker = brokers(start=False)
    tree.thermometer(ASH, answer(24_000))
    known = threading.Event()
    board = boards(broker, one_wire=ONE_WIRE, clock=Clock(asked=known.is_set))
    until(lambda: len(board.runner.ring) >= 8)
    broker.start()
    hearing = hear(link_to(broker), [WATER])
    hearing.wait_up()
    until(lambda: len(numbers(hearing)) >= 3)
    live = [json.loads(text) for text in said(hearing, WATER)]
    assert all(one["time"] is None and one["n"] > 5 for one in live)
    known.set()
    until(lambda: set(range(6)) <= set(numbers(hearing)))
    board.stop()
    all_of_it = {one["n"]: one["time"] for one in map(json.loads, said(hearing, WATER))}
    early = [all_of_it[n] for n in range(6)]
    assert None not in early
    assert early == sorted(early)


def test_a_topic_the_broker_refuses_holds_up_no_other(
    brokers: BrokerFactory, hear: Hear, link_to: LinkTo, boards: Boards, tree: Tree, tmp_path: Path
) -> None:
    """What the board may not write is given up and said once; all else goes on."""
    acl = tmp_path / "acl"
    acl.write_text("topic readwrite #\ntopic deny shed/zero/room\n")
    broker = brokers(extra=[f"acl_file {acl}"])
    tree.thermometer(ASH, answer(24_000))
    tree.thermometer(ROOM, answer(20_000))
    hearing = hear(link_to(broker), [WATER, "shed/zero/room"])
    hearing.wait_up()
    room = {"id": "room", "device": ROOM, "every": "100 ms"}
    board = boards(broker, one_wire=[*ONE_WIRE, room])
    until(lambda: len(numbers(hearing)) >= 5)
    until(lambda: board.runner.ring.lost >= 3, "what is refused is not given up")
    assert numbers(hearing, "shed/zero/room") == []


def test_numbers_go_on_when_the_board_starts_again(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo, boards: Boards, tree: Tree
) -> None:
    """The monitor can tell a reading after a restart from a repeat of an earlier one."""
    tree.thermometer(ASH, answer(24_000))
    hearing = hear(link_to(mosquitto), [WATER])
    hearing.wait_up()
    board = boards(mosquitto, one_wire=ONE_WIRE)
    hearing.wait_payloads(2)
    board.stop()
    boards(mosquitto, one_wire=ONE_WIRE)
    until(lambda: any(number >= 10_000 for number in numbers(hearing)))
    got: list[Any] = numbers(hearing)
    assert got == sorted(set(got))
    assert got[-1] >= 10_000


def test_a_bus_that_hangs_is_noticed_and_holds_up_no_other(tree: Tree, tmp_path: Path) -> None:
    """A thread that shows no sign of life for minutes is named to the watchdog; the others are not."""
    clock = Clock(trusted=True)
    settings = from_document(
        {
            "board": {"id": "zero-1", "topic": "shed/zero", "count_file": str(tmp_path / "zero.count")},
            "broker": {"url": "mqtt://127.0.0.1"},
            "one_wire": ONE_WIRE,
            "adc": [{"id": "air", "device": "ads1015", "channel": "voltage0"}],
        }
    )
    runner = BoardRunner(settings, tree.root, clock=clock)
    assert runner.stuck() == ""
    wire, _ = runner._rounds
    wire.beat -= STUCK_MS + 11_000
    assert runner.stuck() == "one-wire"


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_thread_that_ends_by_itself_ends_all(
    mosquitto: Mosquitto, boards: Boards, tree: Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A board never goes on measuring half of what it should: the service manager starts it anew."""
    monkeypatch.setattr("monitor.probe.onewire.judge", lambda _text: 1 // 0)
    tree.thermometer(ASH, answer(24_000))
    board = boards(mosquitto, one_wire=ONE_WIRE)
    until(lambda: board.well == [False])


def test_a_broker_that_lets_nobody_in_is_told_once(
    brokers: BrokerFactory, boards: Boards, tree: Tree, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A refusal is a word in the log with its reason, and the board goes on trying and measuring."""
    secrets = tmp_path / "passwords"
    secrets.touch(mode=0o600)
    broker = brokers(extra=[f"password_file {secrets}"], anonymous=False)
    tree.thermometer(ASH, answer(24_000))
    with heard(caplog) as logs:
        board = boards(broker, one_wire=ONE_WIRE)
        until(lambda: broker.log.read_text().count("not authorised") >= 3)
        board.stop()
    (down,) = [one for one in logs if one["event"] == "broker.down"]
    assert "does not let us in: Not authorized" in down["reason"]
    assert len(board.runner.ring) >= 1
