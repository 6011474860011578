from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.model import HOUR, MINUTE
from monitor.store.record import Record
from monitor.web.when import as_rfc3339
from tests.adapters.web.described import faults, misfits, named
from tests.adapters.web.kept import BEGUN, LOG, READINGS, desk_with_past
from tests.adapters.web.memory_desk import NOW

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import httpx

    from tests.adapters.web.conftest import Served


DESCRIBED = [
    ("/probes", "/probes"),
    ("/probes/ash-water/trend", "/probes/{probe}/trend"),
    ("/probes/birch-air/trend", "/probes/{probe}/trend"),
    ("/probes/birch-air/trend?since=2026-02-01T00:00:00Z&points=20", "/probes/{probe}/trend"),
    ("/probes/oak-water/trend", "/probes/{probe}/trend"),
    ("/readings", "/readings"),
    ("/readings?since=9000-01-01T00:00:00Z&until=9999-12-31T23:59:59Z&after=9223372036854775806", "/readings"),
    ("/probes/ash-water/trend?since=1970-01-01T00:00:00Z&until=9999-12-31T23:59:59Z", "/probes/{probe}/trend"),
    ("/transitions?until=9999-12-31T23:59:59Z", "/transitions"),
    ("/batches", "/batches"),
    ("/batches/birch-2026-02-26", "/batches/{batch}"),
    ("/log", "/log"),
    ("/transitions", "/transitions"),
    ("/told", "/told"),
    ("/batches/none", "/batches/{batch}"),
    ("/probes/none/trend", "/probes/{probe}/trend"),
    ("/readings?probe=none", "/readings"),
    ("/log?after=-1", "/log"),
]
MISFITS = [
    ("/readings?since=yesterday", "since", "is not a time"),
    ("/readings?since=2026-03-01T00:00:00", "since", "zone"),
    ("/readings?since=1969-03-01T00:00:00Z", "since", "before 1970"),
    ("/readings?until=2026-13-01T00:00:00Z", "until", "no day"),
    ("/readings?since=2026-03-01T00:00:00Z&until=2026-02-01T00:00:00Z", "since", "not before until"),
    ("/readings?limit=0", "limit", "from 1 to 2000"),
    ("/readings?limit=2001", "limit", "from 1 to 2000"),
    ("/readings?limit=ten", "limit", "ten"),
    ("/readings?limit=%C2%B2", "limit", "whole number"),
    ("/readings?after=1.5", "after", "whole number"),
    ("/readings?after=-2", "after", "whole number"),
    ("/readings?after=99999999999999999999", "after", "whole number"),
    ("/readings?after=9223372036854775807", "after", "whole number"),
    ("/readings?probe=%00", "probe", "printed"),
    ("/readings?untill=2026-03-01T00:00:00Z", "untill", "since, until, after, limit"),
    ("/readings?limit=2&limit=3", "limit", "twice"),
    ("/probes/ash-water/trend?points=1", "points", "from 2 to 2000"),
    ("/probes?limit=1", "limit", "none"),
    ("/batches?after=oak-2020-01-01", "after", "cursor"),
    ("/log?after=x", "after", "whole number"),
    ("/transitions?after=1e3", "after", "whole number"),
    ("/told?batch=" + "x" * 65, "batch", "64"),
]


@pytest.fixture
def kept(serve: Callable[..., Served], tmp_path: Path) -> Served:
    return serve(desk_with_past(tmp_path))


@pytest.fixture
def client(kept: Served) -> Iterator[httpx.Client]:
    with kept.client() as client:
        yield client


def pages(client: httpx.Client, address: str) -> Iterator[dict[str, Any]]:
    """Every page of a list, by the address that each names as the next."""
    while address:
        answer = client.get(address)
        assert answer.status_code == 200, answer.text
        page = answer.json()
        assert ("next" in answer.links) == (page["next"] is not None)
        yield page
        address = answer.links["next"]["url"] if page["next"] is not None else ""


def test_what_is_told_of_the_past_is_as_described_and_not_told_twice(client: httpx.Client) -> None:
    """Each answer, refusals too, fits its description; a good one has a tag by which it is not sent again."""
    for path, place in DESCRIBED:
        answer = client.get(f"/api/v1{path}")
        assert (path, answer.status_code == 200) == (path, "none" not in path and "after=-1" not in path)
        if answer.status_code == 200:
            again = client.get(f"/api/v1{path}", headers={"If-None-Match": answer.headers["etag"]})
            assert (again.status_code, again.content) == (304, b"")
        assert (path, faults(answer, place)) == (path, [])


def test_probes_are_told_with_what_is_on_record_of_them(client: httpx.Client) -> None:
    """Those of the configuration, heard or not, and those that are configured no more."""
    told = {probe["id"]: probe for probe in client.get("/api/v1/probes").json()["probes"]}
    assert list(told) == ["ash-water", "birch-air", "cedar-air", "oak-water"]
    assert told["ash-water"]["newest"]["value"] == 24.1
    assert told["ash-water"]["first"] == as_rfc3339(BEGUN // (15 * MINUTE) * 15 * MINUTE)
    assert (told["cedar-air"]["configured"], told["cedar-air"]["first"]) == (True, None)
    assert (told["oak-water"]["configured"], told["oak-water"]["unit"]) == (False, None)


def test_a_trend_tells_levels_of_water_and_shares_of_air(client: httpx.Client) -> None:
    """Usable readings make the levels, suspect ones are counted beside; air is counted by what it said."""
    water = client.get(f"/api/v1/probes/ash-water/trend?points=2000&since={as_rfc3339(NOW - HOUR)}").json()
    assert (water["unit"], water["step"]) == ("Cel", "raw")
    first = water["points"][0]
    begin = NOW - HOUR
    assert first == {"time": as_rfc3339(begin), "count": 1, "low": 24.18, "mean": 24.18, "high": 24.18, "suspect": 0}
    assert water["points"][7] == {
        "time": as_rfc3339(begin + 7 * MINUTE),
        "count": 0,
        "low": None,
        "mean": None,
        "high": None,
        "suspect": 1,
    }
    air = client.get("/api/v1/probes/birch-air/trend?points=24").json()
    assert len(air["points"]) <= 24
    total = {word: sum(point[word] for point in air["points"]) for word in ("count", "running", "weak", "stopped")}
    assert total == {"count": READINGS, "running": 133, "weak": 67, "stopped": 40}


def test_readings_come_page_by_page_and_none_is_missed_or_doubled(client: httpx.Client) -> None:
    """The pages together are the whole, whatever their size, with the reason why one is doubtful."""
    since, until = as_rfc3339(BEGUN), as_rfc3339(NOW)
    whole = client.get(f"/api/v1/readings?since={since}&until={until}&limit=2000").json()["items"]
    assert len(whole) == 2 * READINGS + 1
    address = f"/api/v1/readings?since={since}&until={until}&limit=37"
    assert [item for page in pages(client, address) for item in page["items"]] == whole
    mine = client.get("/api/v1/readings?probe=ash-water&limit=2000").json()["items"]
    assert mine == [item for item in whole if item["probe"] == "ash-water"]
    assert (mine[7]["quality"], mine[7]["reason"], mine[7]["value"]) == ("suspect", "too fast", 24.007)
    assert {item["value"] for item in whole if item["probe"] == "birch-air"} == {"running", "weak", "stopped"}


def test_a_span_begins_with_since_and_ends_before_until_in_any_zone(client: httpx.Client) -> None:
    """Also when the plus sign of a zone came through as a blank."""
    begin, end = BEGUN + 10 * MINUTE, BEGUN + 12 * MINUTE
    told = client.get(f"/api/v1/readings?probe=ash-water&since={as_rfc3339(begin)}&until={as_rfc3339(end)}").json()
    assert [item["seq"] for item in told["items"]] == [10, 11]
    local = as_rfc3339(begin + HOUR).removesuffix("Z") + "+01:00"
    again = client.get(f"/api/v1/readings?probe=ash-water&since={local}&until={as_rfc3339(end)}")
    assert again.json() == told


def test_batches_are_told_with_how_they_ended_the_youngest_first(client: httpx.Client) -> None:
    """What a keeper wrote late of an ending stands for the monitor's own word that nobody had."""
    told = [item for page in pages(client, "/api/v1/batches?limit=2") for item in page["items"]]
    assert [batch["id"] for batch in told] == ["ash-2026-03-01", "ash-2026-02-26", "birch-2026-02-26"]
    youngest, thrown, harvested = (batch["ended"] for batch in told)
    assert youngest is None
    assert (thrown["how"], thrown["reason"]) == ("discard", "smells")
    assert (harvested["how"], harvested["hatched_fraction"], harvested["nauplii"]) == ("harvest", 0.8, 180_000)
    assert told[2]["units"]["salinity_g_l"] == "g/L"


def test_one_batch_has_its_log_its_last_estimate_and_how_it_stands(client: httpx.Client) -> None:
    """All that is known of it, the cold store its nauplii went into too."""
    past = client.get("/api/v1/batches/birch-2026-02-26").json()
    assert [one["kind"] for one in past["log"]] == ["start", "seen", "harvest", "chill"]
    assert past["now"] is None
    assert past["told_last"]["time"] == as_rfc3339(NOW - HOUR)
    present = client.get("/api/v1/batches/ash-2026-03-01").json()
    assert present["now"]["stage"] == "hatching"
    assert misfits(present["told_last"], named("Told")) == []


def test_the_log_can_be_followed_by_its_ids(client: httpx.Client) -> None:
    """Everything once, in order; whoever asks on from the last id gets only what is new."""
    told = [item for page in pages(client, "/api/v1/log?limit=4") for item in page["items"]]
    assert [one["kind"] for one in told] == [type(entry).__name__.lower() for entry in LOG]
    assert [one["subject"] for one in told if one["kind"] in ("settle", "chill")] == ["birch", "fridge"]
    assert told[3]["fields"] == {"vessel": "birch", "until": as_rfc3339(NOW - 60 * HOUR)}
    assert client.get(f"/api/v1/log?after={told[-1]['id']}").json() == {"items": [], "next": None}


@pytest.mark.parametrize(
    ("address", "count"),
    [
        ("/api/v1/transitions?limit=2", 5),
        (f"/api/v1/transitions?limit=2&since={as_rfc3339(NOW - 3 * HOUR)}", 3),
        ("/api/v1/told?limit=4", 6),
        ("/api/v1/told?limit=2&batch=ash-2026-03-01", 5),
    ],
)
def test_alarms_and_estimates_of_the_past_come_page_by_page(client: httpx.Client, address: str, count: int) -> None:
    """Each once, in the order in which it was kept; what was asked for stays asked for on the next page."""
    told = [item["id"] for page in pages(client, address) for item in page["items"]]
    assert len(told) == count
    assert told == sorted(set(told))


def test_what_a_query_cannot_mean_is_refused_with_its_parameter(client: httpx.Client) -> None:
    """Nothing is guessed and nothing passed over: which parameter, what was found, what is allowed."""
    for path, parameter, told in MISFITS:
        answer = client.get(f"/api/v1{path}")
        problem = answer.json()
        assert (path, answer.status_code, answer.headers["content-type"]) == (path, 422, "application/problem+json")
        assert misfits(problem, named("Problem")) == []
        assert [fault["parameter"] for fault in problem["errors"]] == [parameter]
        assert told in problem["detail"]


def test_a_probe_or_batch_that_nobody_knows_is_told_with_what_there_is(client: httpx.Client) -> None:
    """A typing error is seen at once."""
    assert "ash-water, birch-air, cedar-air, oak-water" in client.get("/api/v1/probes/ash/trend").json()["detail"]
    assert "/api/v1/batches lists all" in client.get("/api/v1/batches/oak").json()["detail"]


def test_a_record_that_cannot_be_read_is_said_so(kept: Served) -> None:
    """503 with a time to try again, and the bench goes on."""
    kept.desk.record = Record(Path("no-store-here.sqlite3"))
    with kept.client() as client:
        answer = client.get("/api/v1/log")
        assert (answer.status_code, answer.headers["retry-after"]) == (503, "10")
        assert faults(answer, "/log") == []
        assert client.get("/api/v1/bench").status_code == 200


def test_the_past_is_for_those_who_may_look(serve: Callable[..., Served], tmp_path: Path) -> None:
    """With a password set, nothing of it without the token."""
    from monitor.web.access import write_password

    write_password(tmp_path / "hash", "correct horse battery")
    served = serve(desk_with_past(tmp_path), password_hash_file=tmp_path / "hash")
    paths = (
        "/probes",
        "/probes/ash-water/trend",
        "/readings",
        "/batches",
        "/batches/x",
        "/log",
        "/transitions",
        "/told",
    )
    with served.client(token=False) as client:
        assert {client.get(f"/api/v1{path}").status_code for path in (*paths, "/bench", "/events")} == {401}
