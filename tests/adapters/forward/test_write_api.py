"""What goes over the wire, against the InfluxDB v2 write API as it is documented, and what is done about each answer."""

from __future__ import annotations

import re
import time
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.model import Alarm, AlarmState, Priority, Quality, Reading, Transition
from monitor.forward.posting import Poster, SendFailed, Server
from monitor.forward.sender import Pace

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.adapters.forward.conftest import Catcher, Shed

    Patiently = Callable[[Callable[[], object], str], None]

T0 = 1_770_000_000_000
QUICK = Pace(every_s=0.05, settle_s=0.2, least_rest_s=0.0)


def parsed(line: str) -> tuple[str, dict[str, str], dict[str, float], int]:
    """A line as the protocol's own rules read it, written for this test: measurement, tags, fields, time."""
    cut = re.split(r"(?<!\\) ", line)
    assert len(cut) == 3, line
    measurement, *tags = re.split(r"(?<!\\),", cut[0])
    told = {}
    for one in tags:
        name, value = re.split(r"(?<!\\)=", one)
        told[name] = re.sub(r"\\([ ,=])", r"\1", value)
    fields = {}
    for one in cut[1].split(","):
        name, value = one.split("=")
        fields[name] = float(value.removesuffix("i"))
    return measurement, told, fields, int(cut[2])


def transition() -> Transition:
    alarm = Alarm(
        id="air-stopped:birch",
        rule="air-stopped",
        subject="birch",
        priority=Priority.HIGH,
        state=AlarmState.UNACKNOWLEDGED,
        since=T0,
        changed=T0,
        title="Air stopped in birch",
        text="Since 05:10.",
        todo="Look at the pump.",
        reason="held for 60 s",
    )
    return Transition(T0 + 7, alarm, AlarmState.NORMAL, True, "held for 60 s")


def estimate(batch: str = "ash-1") -> dict[str, object]:
    span = {"lo": "2026-02-02T02:40:00Z", "mid": "2026-02-02T03:00:00Z", "hi": None}
    spans = dict.fromkeys(("t10", "t50", "t90", "ready"), span)
    hatched = {"lo": 0.1, "mid": 0.25, "hi": 0.5}
    return {"batch": batch, "stage": "hatching", "hatched": hatched, **spans, "water_c": 26.5, "air": "running"}


@pytest.mark.parametrize("packed", [False, True])
def test_a_call_is_the_documented_one(catcher: Catcher, packed: bool) -> None:
    """Path, organisation, bucket, precision, token and packing are as the write API wants them."""
    poster = Poster(Server("trends", catcher.url, "our org", "the bucket", "s3cret", gzip=packed))
    poster.post(["reading,site=shed value=1.0 1", "reading,site=shed value=2.0 2"])
    poster.close()
    (call,) = catcher.calls
    assert call.path == "/api/v2/write"
    assert call.query == {"org": "our org", "bucket": "the bucket", "precision": "ms"}
    assert call.headers["Authorization"] == "Token s3cret"
    assert call.headers.get("Content-Encoding", "identity") == ("gzip" if packed else "identity")
    assert call.text.splitlines() == ["reading,site=shed value=1.0 1", "reading,site=shed value=2.0 2"]


def test_everything_in_the_store_is_told_with_its_tags(shed: Shed, catcher: Catcher, patiently: Patiently) -> None:
    """Readings, estimates and alarms arrive as numbers at their own time, each with what it belongs to."""
    shed.store.add(Reading("ash-water", T0, 25_125))
    shed.store.add(Reading("ash-air", T0 + 1, 0, state=0))
    shed.store.add(Reading("room", T0 + 2, 85_000, Quality.SUSPECT, "85 C is what it says when it starts"))
    shed.store.add(Reading("gone", T0 + 3, 1))
    shed.store.add(Reading("ash-water", T0, 25_250))
    shed.store.put_alarm(transition())
    shed.store.tell("ash-1", T0 + 5, estimate())
    shed.commit()
    shed.forward(catcher.url, QUICK)
    patiently(lambda: len(set(catcher.taken)) == 7, "seven lines awaited")
    found = sorted((parsed(line) for line in set(catcher.taken)), key=lambda one: (one[3], len(one[1])))
    water = {"measures": "water", "probe": "ash-water", "site": "shed", "unit": "Cel", "vessel": "ash"}
    ready = {f"{name}_{side}" for name in ("t10", "t50", "t90", "ready") for side in ("lo", "mid")}
    assert found[0] == ("reading", water, {"value": 25.125, "quality": 0}, T0)
    assert found[1] == ("reading", water | {"nth": "1"}, {"value": 25.25, "quality": 0}, T0)
    assert found[2][1:3] == (
        {"measures": "air", "probe": "ash-air", "site": "shed", "vessel": "ash"},
        {"value": 0, "quality": 0, "air": 0},
    )
    assert found[3][2] == {"doubtful": 85.0, "quality": 1}
    assert found[4][1] == {"probe": "gone", "site": "shed"}
    measurement, tags, fields, when = found[5]
    assert (measurement, tags, when) == ("eta", {"batch": "ash-1", "site": "shed"}, T0 + 5)
    assert fields.keys() == ready | {"hatched_lo", "hatched_mid", "hatched_hi", "stage", "water_c", "air"}
    assert fields["ready_mid"] - fields["ready_lo"] == 1200
    assert found[6][1] == {
        "alarm": "air-stopped:birch",
        "rule": "air-stopped",
        "subject": "birch",
        "priority": "high",
        "site": "shed",
    }
    assert found[6][2:] == ({"state": 1, "trouble": 1, "told": 1}, T0 + 7)


def test_what_comes_late_is_sent_all_the_same(shed: Shed, catcher: Catcher, patiently: Patiently) -> None:
    """A reading older than what was sent already goes out too, over a restart, and its minute is struck off afterwards."""
    shed.store.add(Reading("ash-water", T0 + 600_000, 25_000, own_time=True))
    shed.commit()
    shed.forward(catcher.url, QUICK)
    patiently(lambda: shed.moved, "nothing arrived")
    shed.store.add(Reading("ash-water", T0, 24_000, own_time=True))
    shed.commit()
    shed.restart()
    shed.forward(catcher.url, QUICK)
    patiently(lambda: any(line.endswith(f" {T0}") for line in catcher.taken), "the late one did not come")

    def struck_off() -> bool:
        shed.commit()
        (left,) = shed.store._connection.execute("SELECT count(*) FROM resend").fetchone()
        return int(left) == 0

    patiently(struck_off, "the minute is not struck off")
    before = len(catcher.taken)
    time.sleep(0.3)
    assert len(catcher.taken) == before, "nothing is left to send"


def test_a_server_that_asks_for_time_is_given_it(shed: Shed, catcher: Catcher, patiently: Patiently) -> None:
    """429 with Retry-After is obeyed to the second, and what was not taken is sent again."""
    shed.store.add(Reading("ash-water", T0, 25_000))
    shed.commit()
    catcher.answers = [(429, {"Retry-After": "2"}, '{"message":"slow down"}')]
    shed.forward(catcher.url, QUICK)
    shown: list[dict[str, Any]] = []

    def failing() -> object:
        shown.append(shed.state)
        return shown[-1]["state"] == "failing"

    patiently(failing, "the failure is not shown")
    assert "429" in shown[-1]["reason"]
    assert "slow down" in shown[-1]["reason"]
    assert shown[-1]["lag_s"] > 0
    patiently(lambda: catcher.taken, "it was not sent again")
    first, second = catcher.calls[:2]
    assert second.at - first.at > 1.9
    patiently(lambda: shed.state["state"] == "current" and not shed.state["lag_s"], "it is not current again")


@pytest.mark.parametrize(("status", "todo"), [(401, "token_file"), (403, "token_file"), (404, "bucket"), (500, "")])
def test_a_refusal_says_what_to_do(catcher: Catcher, status: int, todo: str) -> None:
    """Each answer but success is a failure in words, with advice where there is some, and never tells the token."""
    catcher.answers = [(status, {}, '{"message":"no"}')]
    poster = Poster(Server("trends", catcher.url, token="s3cret"))
    with pytest.raises(SendFailed, match=f"status {status}") as failed:
        poster.post(["reading value=1.0 1"])
    assert todo in failed.value.todo
    assert not failed.value.refused
    assert "s3cret" not in f"{failed.value!r}{failed.value}{poster!r}{Server('x', 'y', token='s3cret')!r}"
    poster.close()


def test_lines_that_are_never_taken_hold_up_no_others(shed: Shed, catcher: Catcher, patiently: Patiently) -> None:
    """A server that refuses some lines for good, such as those older than it keeps, gets the next ones, and it is counted."""
    pace = Pace(every_s=0.05, settle_s=60.0, lines=2, least_rest_s=0.0)
    for n in range(4):
        shed.store.add(Reading("ash-water", T0 + n, 25_000 + n))
    shed.commit()
    catcher.answers = [(422, {}, "points beyond retention policy dropped=2")]
    shed.forward(catcher.url, pace)
    patiently(lambda: len(catcher.taken) == 2, "the other two lines did not come")
    assert shed.state["refused"] == 2
    assert len(catcher.calls) == 2


def test_calls_become_smaller_when_they_are_too_large(shed: Shed, catcher: Catcher, patiently: Patiently) -> None:
    """413 halves the number of lines until the server takes them."""
    for n in range(250):
        shed.store.add(Reading("ash-water", T0 + n, 25_000 + n))
    shed.commit()
    catcher.answers = [(413, {}, "")]
    shed.forward(catcher.url, Pace(every_s=0.05, settle_s=60.0, lines=200, least_rest_s=0.0))
    patiently(lambda: len(catcher.taken) == 250, "not all came")
    assert [len(call.text.splitlines()) for call in catcher.calls] == [200, 100, 100, 50]


def test_it_ends_within_three_seconds_of_a_server_that_hangs(shed: Shed, patiently: Patiently) -> None:
    """A server that takes the call and never answers does not keep the service from ending."""
    import socket

    with socket.create_server(("127.0.0.1", 0)) as silent:
        shed.store.add(Reading("ash-water", T0, 25_000))
        shed.commit()
        forwarder = shed.forward(f"http://127.0.0.1:{silent.getsockname()[1]}", QUICK)
        connection, _ = silent.accept()
        with connection:
            patiently(lambda: connection.recv(4096), "nothing was sent")
            began = time.monotonic()
            assert forwarder.stop(4.0)
            assert time.monotonic() - began < 3.5
