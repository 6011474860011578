from __future__ import annotations

import json
import threading
import time
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.model import AlarmState
from monitor.store import Store
from monitor.web.events import Mark, changes
from tests.adapters.conftest import until
from tests.adapters.web.described import misfits, named
from tests.adapters.web.kept import a_transition, desk_with_past
from tests.adapters.web.memory_desk import NOW

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    import httpx

    from tests.adapters.web.conftest import Served

Event = tuple[str, str, dict[str, Any]]


def events(answer: httpx.Response) -> Iterator[Event]:
    """Kind, id and data of each."""
    told: dict[str, str] = {}
    for line in answer.iter_lines():
        if not line and "data" in told:
            yield told["event"], told["id"], json.loads(told["data"])
            told = {}
        field, _, value = line.partition(":")
        told[field] = value.strip()


@pytest.fixture
def kept(serve: Callable[..., Served], tmp_path: Path) -> Served:
    return serve(desk_with_past(tmp_path))


def ring(served: Served, at: int, state: AlarmState = AlarmState.UNACKNOWLEDGED) -> None:
    """As the service does: on the disk first, then in the view."""
    with Store.open(served.desk.record.path, now=NOW) as store:
        store.put_alarm(a_transition(at, state))
        store.commit()
    served.desk.publish(lambda bench: bench["alarms"].clear())


def test_the_stream_tells_the_whole_bench_first_then_only_what_has_changed(kept: Served) -> None:
    """A program keeps its own copy of the bench up to date, at a fraction of its size; ages alone are no news."""

    def later(bench: dict[str, Any]) -> None:
        for vessel in bench["vessels"]:
            vessel["water"]["age_s"] += 1
        bench["vessels"][0]["water"]["value"] = 25.7
        bench["alarms"] = [alarm for alarm in bench["alarms"] if alarm["rule"] != "cold-snap"]

    with kept.client() as client, client.stream("GET", "/api/v1/events") as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        stream = events(answer)
        kind, _, first = next(stream)
        assert (kind, first["whole"]) == ("bench", True)
        whole = {key: value for key, value in kept.desk.bench().items() if key not in ("now", "now_ms")}
        assert {**first["changed"], "simulated": None} == whole
        kept.desk.publish(later)
        kind, _, second = next(stream)
    assert (kind, second["whole"]) == ("bench", False)
    assert [vessel["id"] for vessel in second["changed"]["vessels"]] == ["ash"]
    assert second["changed"].keys() == {"vessels"}
    assert second["gone"] == {"alarms": ["cold-snap:ash"]}
    assert misfits(first, named("BenchEvent")) == misfits(second, named("BenchEvent")) == []


def test_a_new_alarm_is_told_and_none_is_missed_over_a_lost_link(kept: Served) -> None:
    """With the id of the last event a program hears what came meanwhile, once; what was before its first call is not told."""
    with kept.client() as client:
        with client.stream("GET", "/api/v1/events") as answer:
            stream = events(answer)
            next(stream)
            ring(kept, NOW)
            told = [next(stream), next(stream)]
        _, mark, alarm = next(one for one in told if one[0] == "alarm")
        assert (alarm["id"], alarm["after"], alarm["notify"]) == (6, "unacknowledged", True)
        assert misfits(alarm, named("PastTransition")) == []
        ring(kept, NOW + 1000, AlarmState.ACKNOWLEDGED)
        ring(kept, NOW + 2000, AlarmState.RETURNED)
        with client.stream("GET", "/api/v1/events", headers={"Last-Event-ID": mark}) as answer:
            stream = events(answer)
            missed = [next(stream), next(stream)]
            if missed[0][0] == "bench":
                missed = [missed[1], next(stream)]
    assert [(kind, told["id"], told["after"]) for kind, _, told in missed] == [
        ("alarm", 7, "acknowledged"),
        ("alarm", 8, "returned-unacknowledged"),
    ]


def test_who_has_the_newest_bench_is_not_told_it_again_unless_the_service_began_anew(kept: Served) -> None:
    """A short loss of the link costs nothing; an id of another run or of nobody brings the whole bench."""
    with kept.client() as client:
        with client.stream("GET", "/api/v1/events") as answer:
            _, mark, _ = next(events(answer))
        before = kept.desk.waits
        with client.stream("GET", "/api/v1/events", headers={"Last-Event-ID": mark}) as answer:
            until(lambda: kept.desk.waits > before)
            kept.desk.publish(lambda bench: bench["vessels"][1].update(litres=9.0))
            _, _, told = next(events(answer))
            assert (told["whole"], [vessel["id"] for vessel in told["changed"]["vessels"]]) == (False, ["birch"])
        for strange in (f"0000{mark}", "nonsense", "1.2.3"):
            with client.stream("GET", "/api/v1/events", headers={"Last-Event-ID": strange}) as answer:
                kind, _, told = next(events(answer))
                assert (kind, told["whole"]) == ("bench", True)


def test_open_streams_of_programs_do_not_hold_up_the_end(serve: Callable[..., Served], tmp_path: Path) -> None:
    """Told to stop, the service ends them."""
    served = serve(desk_with_past(tmp_path))
    begun, ended = threading.Event(), threading.Event()

    def listen() -> None:
        with served.client() as client, client.stream("GET", "/api/v1/events") as answer:
            for _ in events(answer):
                begun.set()
        ended.set()

    listener = threading.Thread(target=listen)
    listener.start()
    assert begun.wait(10)
    assert served.server.stop(3)
    listener.join(5)
    assert ended.is_set()


def test_more_streams_than_a_small_machine_can_serve_are_refused(kept: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who opens too many hears why; one that ends makes room."""
    monkeypatch.setattr("monitor.web.events.STREAMS", 1)
    with kept.client() as client:
        with client.stream("GET", "/api/v1/events") as answer:
            stream = events(answer)  # held: a generator that is dropped ends the stream
            next(stream)
            refused = client.get("/api/v1/events")
            assert (refused.status_code, refused.headers["retry-after"]) == (503, "30")
        ends = time.monotonic() + 10
        while time.monotonic() < ends:
            kept.desk.publish()
            with client.stream("GET", "/api/v1/events") as answer:
                if answer.status_code == 200:
                    assert next(events(answer))[0] == "bench"
                    break
        else:
            pytest.fail("the stream that ended still counts")


def test_a_mark_is_read_as_it_was_written() -> None:
    """What is none is not taken for one."""
    mark = Mark("ab12", 7, 3, NOW)
    assert Mark.read(str(mark)) == mark
    for text in ("", "a.1.2", "a.1.2.-3", "a.1.2.²", "a.1.2." + "9" * 16):
        assert Mark.read(text) is None


def test_changes_tell_new_members_and_whole_values() -> None:
    """A list without ids is told as a whole, and nothing is told when nothing is new."""
    before: dict[str, Any] = {"room": [{"value": 1, "age_s": 1}], "lots": [{"id": "a"}], "now": "x", "site": "shed"}
    after = {**before, "room": [{"value": 2, "age_s": 1}], "lots": [{"id": "b"}], "now": "y"}
    assert changes(before, after) == ({"room": after["room"], "lots": [{"id": "b"}]}, {"lots": ["a"]})
    assert changes(before, {**before, "room": [{"value": 1, "age_s": 9}]}) == ({}, {})
