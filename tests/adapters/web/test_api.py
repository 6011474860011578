from __future__ import annotations

import json
import socket
from typing import TYPE_CHECKING, Any

import httpx
import pytest

from monitor.core.log import Discard, Harvest, Seen, Settle, Sight, Start
from monitor.core.model import MINUTE, Acknowledge, PutBackInService, Shelve, TakeOutOfService, Unshelve
from monitor.web.when import as_rfc3339
from tests.adapters.web.memory_desk import NOW, MemoryDesk, bad_night

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.adapters.web.conftest import Served

PROBLEM = "application/problem+json"


def test_the_bench_is_told_as_the_service_published_it(served: Served) -> None:
    """A program reads what the page shows."""
    with served.client() as client:
        assert client.get("/api/v1/bench").json() == bad_night()
        assert client.get("/api/v1/alarms").json() == {"alarms": bad_night()["alarms"]}


@pytest.mark.parametrize(
    ("path", "body", "command"),
    [
        (
            "/batches",
            {"vessel": "cedar", "cysts_g": 1.5},
            Start(NOW, NOW, "", "cedar", "tin-7", 1.5, 1.0, 25.0),
        ),
        (
            "/batches",
            {
                "vessel": "cedar",
                "cysts_g": 1.5,
                "lot": "tin-6",
                "litres": 0.9,
                "salinity_g_l": 30,
                "batch": "trial",
                "time": "2026-03-02T01:40:00+01:00",
            },
            Start(NOW - 30 * MINUTE, NOW, "trial", "cedar", "tin-6", 1.5, 0.9, 30.0),
        ),
        (
            "/batches/ash-2026-03-01/seen",
            {"what": "some", "fraction": 0.4},
            Seen(NOW, NOW, "ash-2026-03-01", Sight.SOME, 0.4),
        ),
        (
            "/batches/birch-2026-03-01/harvest",
            {"hatched_fraction": 0.8, "nauplii": 180000},
            Harvest(NOW, NOW, "birch-2026-03-01", 0.8, 180000),
        ),
        ("/batches/ash-2026-03-01/discard", {"reason": "smells"}, Discard(NOW, NOW, "ash-2026-03-01", "smells")),
        ("/vessels/birch/settling", None, Settle(NOW, NOW, "birch", NOW + 15 * MINUTE)),
        ("/vessels/birch/settling", {"minutes": 10}, Settle(NOW, NOW, "birch", NOW + 10 * MINUTE)),
        ("/alarms/air-stopped:birch/acknowledge", {"by": "ann"}, Acknowledge(NOW, "air-stopped:birch", "ann")),
        (
            "/alarms/air-stopped:birch/shelve",
            {"by": "ann", "minutes": 7.5},
            Shelve(NOW, "air-stopped:birch", NOW + 450_000, "ann"),
        ),
        ("/alarms/air-stopped:birch/unshelve", None, Unshelve(NOW, "air-stopped:birch")),
        (
            "/alarms/air-stopped:birch/out-of-service",
            {"why": "a new pump comes"},
            TakeOutOfService(NOW, "air-stopped:birch", "", "a new pump comes"),
        ),
        ("/alarms/air-stopped:birch/back-in-service", {"by": "ann"}, PutBackInService(NOW, "air-stopped:birch", "ann")),
        ("/alarms/air-stopped%3Abirch/acknowledge", None, Acknowledge(NOW, "air-stopped:birch", "")),
    ],
)
def test_what_a_keeper_does_becomes_the_command_with_its_defaults(
    served: Served, path: str, body: dict[str, Any] | None, command: object
) -> None:
    """Each entry of the log has one address, and what need not be said is filled in."""
    with served.client() as client:
        answer = client.post(f"/api/v1{path}", json=body) if body is not None else client.post(f"/api/v1{path}")
    assert answer.status_code == (201 if path == "/batches" else 200)
    assert served.desk.done == [command]


@pytest.mark.parametrize(
    ("method", "path", "body", "status", "told"),
    [
        ("POST", "/batches", b"{", 400, "JSON"),
        ("POST", "/batches", b'{"vessel": "ash"}', 422, "cysts_g"),
        ("POST", "/batches", b'{"vessel": "ash", "cysts_g": 0}', 422, "greater than 0"),
        ("POST", "/batches", b'{"vessel": "ash", "cysts_g": NaN}', 422, "finite"),
        ("POST", "/batches", b'{"vessel": "ash", "cysts_g": 1e999}', 422, "finite"),
        ("POST", "/batches", b'{"vessel": "ash", "cysts_g": 2, "cyst": 1}', 422, "#/cyst"),
        ("POST", "/batches", b'{"vessel": "oak", "cysts_g": 2}', 404, "ash, birch, cedar"),
        ("POST", "/batches", b'{"vessel": "ash", "cysts_g": 2}', 409, "Harvest or discard"),
        ("POST", "/batches/x/seen", b'{"what": "lots"}', 422, "'none', 'first', 'some' or 'most'"),
        ("POST", "/batches/x/seen", b'{"what": "some", "time": "2026-03-02T01:40:00"}', 422, "zone"),
        ("POST", "/batches/x/seen", b'{"what": "some", "time": 1772429400}', 422, "as text"),
        ("POST", "/batches/x/seen", b'{"what": "some", "time": "2026-03-02T09:40:00Z"}', 422, "future"),
        ("POST", "/batches/x/seen", b'{"what": "some", "fraction": 40}', 422, "less than or equal to 1"),
        ("POST", "/batches/x/harvest", b"{}", 409, "no open batch"),
        ("POST", "/batches/x/harvest", b"[]", 422, "object"),
        ("POST", "/batches/x/harvest", b"\xff\xfe", 400, "JSON"),
        ("POST", "/vessels/oak/settling", b"", 404, "ash, birch, cedar"),
        ("POST", "/vessels/ash/settling", b'{"minutes": 600}', 422, "60"),
        ("POST", "/alarms/no-such:thing/acknowledge", b"", 409, "no alarm"),
        ("GET", "/nothing", None, 404, "nothing at this address"),
        ("DELETE", "/bench", None, 405, "does not take"),
    ],
)
def test_every_refusal_is_a_problem_document_that_says_what_would_be_allowed(
    served: Served, method: str, path: str, body: bytes | None, status: int, told: str
) -> None:
    """RFC 9457 for every error, and nothing is changed by one."""
    with served.client() as client:
        answer = client.request(method, f"/api/v1{path}", content=body)
    problem = answer.json()
    assert (answer.status_code, problem["status"]) == (status, status)
    assert answer.headers["content-type"] == PROBLEM
    assert {"type", "title", "detail"} <= problem.keys()
    assert told in json.dumps(problem, ensure_ascii=False)
    assert served.desk.bench() == bad_night()


def test_all_faults_of_a_body_are_told_at_once_with_their_places(served: Served) -> None:
    """Nobody corrects one field to hear of the next."""
    with served.client() as client:
        answer = client.post("/api/v1/batches", json={"cysts_g": -1, "litres": "x"})
    assert {fault["pointer"] for fault in answer.json()["errors"]} == {"#/vessel", "#/cysts_g", "#/litres"}


@pytest.mark.parametrize("token", [None, "-", "wrong", "x" * 5000, "ü"])
def test_acting_without_the_token_is_refused(served: Served, token: str | None) -> None:
    """Another program on this machine, or a web page that guesses, changes nothing."""
    headers = {} if token is None else {b"Authorization": f"Bearer {token}".encode()}
    with served.client(token=False) as client:
        answer = client.post("/api/v1/vessels/birch/settling", headers=headers)
    assert answer.status_code in (401, 403)
    assert answer.headers["content-type"] == PROBLEM
    assert served.desk.done == []


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8417", "localhost.evil.example", "192.168.1.20", ""])
def test_a_foreign_host_is_refused_whatever_it_asks(served: Served, host: str) -> None:
    """A name rebound to this machine reads and does nothing."""
    with served.client() as client:
        for path in ("/", "/api/v1/bench", "/events", "/static/x", "/api/v1/health"):
            answer = client.get(path, headers={"Host": host})
            assert answer.status_code == 421
            assert "shed" not in answer.text


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:1", "127.0.0.1", "[::1]:99"])
def test_the_names_of_this_machine_are_known(served: Served, host: str) -> None:
    """Every usual way to write loopback works."""
    with served.client() as client:
        assert client.get("/api/v1/bench", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_what_another_site_sends_is_refused_even_with_the_token(served: Served, headers: dict[str, str]) -> None:
    """A request from another origin never acts."""
    with served.client() as client:
        answer = client.post("/api/v1/vessels/birch/settling", headers=headers)
    assert answer.status_code == 403
    assert served.desk.done == []


def test_big_bodies_are_refused_with_and_without_a_length(served: Served) -> None:
    """Nobody fills the memory."""
    with served.client() as client:
        assert client.post("/api/v1/batches", content=b"x" * 70_000).status_code == 413
        chunks = (b"x" * 10_000 for _ in range(10))
        assert client.post("/api/v1/batches", content=chunks).status_code == 413
        assert client.get("/api/v1/health").status_code == 200


def test_every_answer_carries_the_guarding_headers(served: Served) -> None:
    """No framing, no foreign script, no sniffing, on pages, errors and refusals alike."""
    with served.client() as client:
        for answer in (
            client.get("/"),
            client.get("/nothing"),
            client.get("/api/v1/bench"),
            client.get("/", headers={"Host": "evil.example"}),
        ):
            assert "default-src 'self'" in answer.headers["content-security-policy"]
            assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
            assert answer.headers["x-content-type-options"] == "nosniff"
            assert answer.headers["referrer-policy"] == "same-origin"
            assert answer.headers["cache-control"] in ("no-store", "private, no-cache")


def test_health_is_open_and_tells_whether_the_broker_is_linked(served: Served) -> None:
    """A watchdog needs no secret, and learns no more than it must."""
    with served.client(token=False) as client:
        assert client.get("/api/v1/health").json() == {"status": "ok", "broker": True, "now": as_rfc3339(NOW)}
        served.desk.publish(lambda bench: bench["broker"].update(connected=False))
        assert client.get("/api/v1/health").json()["status"] == "degraded"


def test_a_service_that_does_not_decide_is_told_of_in_time(
    serve: Callable[..., Served], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A keeper's tap never hangs for ever."""
    monkeypatch.setattr("monitor.web.site.DECISION_TIMEOUT", 0.2)
    desk = MemoryDesk()
    desk.stuck = True
    with serve(desk).client() as client:
        answer = client.post("/api/v1/vessels/birch/settling")
    assert answer.status_code == 503
    assert answer.headers["retry-after"] == "10"
    assert answer.json()["type"] == "urn:swimup:problem:no-answer"


def test_bytes_that_are_no_http_leave_the_server_standing(served: Served) -> None:
    """Noise on the port is shrugged off."""
    with socket.create_connection(("127.0.0.1", served.server.port), timeout=5) as raw:
        raw.sendall(b"\x00\xff" * 40 + b"\r\n\r\n")
        raw.recv(1000)
    assert httpx.get(served.url + "/api/v1/health", trust_env=False).status_code == 200


def test_no_tin_known_and_none_given_is_asked_for(serve: Callable[..., Served]) -> None:
    """The tin is never invented."""
    bench = bad_night()
    bench["lots"] = []
    for vessel in bench["vessels"]:
        vessel["batch"] = None
    with serve(MemoryDesk(bench)).client() as client:
        answer = client.post("/api/v1/batches", json={"vessel": "ash", "cysts_g": 2})
    assert answer.status_code == 422
    assert answer.json()["errors"] == [{"pointer": "#/lot", "detail": "is missing"}]


def test_testing_the_channels_is_for_those_who_may_act(served: Served) -> None:
    """With the token the result of each channel is told, without it nothing is sent."""
    with served.client() as client:
        answer = client.post("/api/v1/channels/test")
        assert (answer.status_code, answer.json()) == (200, {"channels": []})
    with served.client(token=False) as client:
        assert client.post("/api/v1/channels/test").status_code == 403
