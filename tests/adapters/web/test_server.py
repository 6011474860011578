from __future__ import annotations

import asyncio
import json
import socket
import threading
import time
from typing import TYPE_CHECKING, Any

import pytest

from monitor.web.options import WebProblem
from monitor.web.server import WebServer
from tests.adapters.web.memory_desk import MemoryDesk, bad_night

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import httpx
    from starlette.applications import Starlette

    from tests.adapters.web.conftest import Served


def events(answer: httpx.Response) -> Iterator[dict[str, Any]]:
    for line in answer.iter_lines():
        if line.startswith("data:"):
            yield json.loads(line[5:])


def test_a_new_view_reaches_an_open_stream_by_itself_and_brings_only_what_changed(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It waits for no sign of life of the stream, and a phone is not sent the whole bench each time."""
    monkeypatch.setattr("monitor.web.live.HEARTBEAT", 600.0)
    with served.client() as client, client.stream("GET", "/events") as answer:
        stream = events(answer)
        first = next(stream)
        assert set(first["parts"]) == {"top", "needs", "alarms", "vessel-0", "vessel-1", "vessel-2"}
        served.desk.publish(lambda bench: bench["vessels"][0]["water"].update(value=25.7))
        second = next(stream)
        assert set(second["parts"]) == {"vessel-0"}
        assert "25.7" in second["parts"]["vessel-0"]
        assert second["build"] == first["build"]


def test_a_page_is_not_sent_what_it_shows(served: Served) -> None:
    """A page that names its view hears only what has changed since; one that names none, or another's, hears all."""
    with served.client() as client:
        shown = client.get("/").text.split('data-shown="')[1].split('"')[0]
        with client.stream("GET", f"/events?shown={shown}") as answer:
            assert next(events(answer))["parts"] == {}
        served.desk.publish(lambda bench: bench["vessels"][0]["water"].update(value=25.7))
        with client.stream("GET", "/events", headers={"Last-Event-ID": shown}) as answer:
            assert set(next(events(answer))["parts"]) == {"vessel-0"}
        for strange in ("", "0.1", shown.partition(".")[0], shown + "7"):
            with client.stream("GET", f"/events?shown={strange}") as answer:
                assert len(next(events(answer))["parts"]) == 6


def test_the_stream_carries_no_token_of_anybodys_session(served: Served) -> None:
    """What goes to all pages alike holds no secret of one."""
    with served.client() as client:
        token = client.get("/").text.split('name="csrf" content="')[1].split('"')[0]
        with client.stream("GET", "/events") as answer:
            parts = next(events(answer))["parts"]
    assert len(token) > 20
    assert token not in json.dumps(parts)
    assert 'name="csrf" value=""' in parts["needs"]


def test_other_vessels_make_open_pages_load_anew(served: Served) -> None:
    """After a change of configuration an old page notices that it no longer fits."""
    with served.client() as client, client.stream("GET", "/events") as answer:
        stream = events(answer)
        first = next(stream)
        served.desk.publish(lambda bench: bench["vessels"].pop())
        assert next(stream)["build"] != first["build"]


def test_stop_ends_open_streams_at_once_and_frees_the_port(serve: Callable[..., Served]) -> None:
    """Open pages do not hold the service up when it is told to stop."""
    served = serve()
    begun, ended = threading.Event(), threading.Event()

    def listen() -> None:
        with served.client() as client, client.stream("GET", "/events") as answer:
            for _ in events(answer):
                begun.set()
        ended.set()

    listener = threading.Thread(target=listen)
    listener.start()
    assert begun.wait(20)
    told = time.monotonic()
    assert served.server.stop(10)
    assert time.monotonic() - told < 3
    listener.join(20)
    assert ended.is_set()
    assert not served.server.alive
    assert served.server.failure is None
    again = WebServer(lambda: served.app, "127.0.0.1", served.server.port)
    again.start()
    assert again.stop(10)


def test_small_answers_leave_at_once(served: Served) -> None:
    """No answer waits for the receipt of its own head: connections are set not to gather small pieces."""
    with served.client() as client:
        client.get("/api/v1/health").raise_for_status()
        server = served.server._server
        assert server is not None
        (connection,) = server.server_state.connections
        assert isinstance(connection, asyncio.Protocol)
        accepted = connection.transport.get_extra_info("socket")
        assert accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


def test_who_calls_before_the_page_is_loaded_is_answered_once_it_is(served: Served) -> None:
    """The address is taken at once, so that readings need not wait for the page, and a caller only waits a little."""
    loading, loaded = threading.Event(), threading.Event()

    def make() -> Starlette:
        loading.set()
        assert loaded.wait(20)
        return served.app

    server = WebServer(make, port=0)
    server.begin()
    assert loading.wait(20)
    assert server.alive
    with socket.create_connection(("127.0.0.1", server.port), 20) as caller:
        caller.sendall(b"GET /api/v1/health HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        loaded.set()
        assert caller.recv(4096).startswith(b"HTTP/1.1 ")
    assert server.stop(10)


def test_a_page_that_is_told_to_stop_while_it_is_loaded_serves_nobody(served: Served) -> None:
    """An end in the first moments is an end."""
    loaded = threading.Event()

    def make() -> Starlette:
        assert loaded.wait(20)
        return served.app

    server = WebServer(make, port=0)
    server.begin()
    assert not server.stop(0.1)
    loaded.set()
    assert server.stop(10)
    assert server.failure is None
    assert not server.alive


def test_a_page_that_cannot_be_made_is_known_to_have_ended() -> None:
    """What was wrong stays, so that the service can tell of it."""

    def make() -> Starlette:
        raise WebProblem("no page today")

    server = WebServer(make, port=0)
    with pytest.raises(WebProblem, match="no page today"):
        server.start()
    assert not server.alive
    assert "no page today" in str(server.failure)


def test_a_port_in_use_is_told_with_what_to_do(served: Served) -> None:
    """The second daemon on one machine says why it can't serve."""
    with pytest.raises(WebProblem, match="port is in use"):
        WebServer(lambda: served.app, "127.0.0.1", served.server.port).start()


def test_an_address_of_another_machine_and_broken_keys_are_told(served: Served, tmp_path: Any) -> None:
    """What can't be served is one clear sentence."""
    with pytest.raises(WebProblem, match=r"web\.host 192\.0\.2\.1"):
        WebServer(lambda: served.app, "192.0.2.1", 0).start()
    broken = tmp_path / "page.pem"
    broken.write_text("not a certificate")
    with pytest.raises(WebProblem, match="swimup cert"):
        WebServer(lambda: served.app, "127.0.0.1", 0, broken, broken).start()


def test_the_whole_page_weighs_less_than_60_kb_and_its_parts_may_be_kept_for_ever(serve: Callable[..., Served]) -> None:
    """The bench loads fast on a weak link, and twice as fast the second time."""
    with serve(MemoryDesk(bad_night())).client() as client:
        page = client.get("/")
        weight = len(page.content)
        for name in ("bench.css", "bench.js", "icon.svg"):
            stem, kind = name.split(".")
            path = page.text.split(f"/static/{stem}.")[1:]
            hashed = next(part.split('"')[0] for part in path if part.split('"')[0].endswith(kind))
            asset = client.get(f"/static/{stem}.{hashed}")
            assert "immutable" in asset.headers["cache-control"]
            weight += len(asset.content)
        assert weight < 60_000
        assert client.get("/static/bench.000000000000.css").status_code == 404
        assert client.get("/static/..%2fapp.py").status_code == 404
