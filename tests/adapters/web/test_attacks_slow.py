"""Callers who dawdle or come in crowds, over the real server: others are answered meanwhile."""

from __future__ import annotations

import threading
import time
from contextlib import ExitStack, suppress
from typing import TYPE_CHECKING, Final

import pytest

from monitor.web.access import write_password
from monitor.web.events import STREAMS
from monitor.web.patience import CONNECTIONS, PER_CALLER, network
from tests.adapters.web.attacks import connect, standing, unharmed
from tests.adapters.web.test_login import PASSWORD, form_token, log_in

if TYPE_CHECKING:
    import socket
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from tests.adapters.web.conftest import Served

PATIENCE_S: Final = 3.0
HEAD: Final = b"POST /api/v1/undo HTTP/1.1\r\nHost: 127.0.0.1\r\n"


@pytest.fixture(scope="module")
def hasty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A service with little patience, so that a test needs little too."""
    with standing(tmp_path_factory.mktemp("hasty"), patience_s=PATIENCE_S) as found:
        yield found


def dawdle(link: socket.socket, begin: bytes, piece: bytes) -> float:
    """Send ``begin`` at once and ``piece`` again and again; after how many seconds the other side gave up."""
    begun = time.monotonic()
    link.settimeout(0.1)
    with suppress(BrokenPipeError, ConnectionResetError):
        if begin:
            link.sendall(begin)
        while time.monotonic() - begun < 20:
            if piece:
                link.sendall(piece)
            with suppress(TimeoutError):
                if link.recv(1000) == b"":
                    break
    return time.monotonic() - begun


@pytest.mark.parametrize(
    ("begin", "piece"),
    [
        (b"", b""),
        (b"GET / HTTP/1.1\r\n", b"X: y\r\n"),
        (HEAD + b"Content-Length: 60000\r\n\r\n", b" "),
        (HEAD + b"Transfer-Encoding: chunked\r\n\r\n", b"1\r\n \r\n"),
        (b"GET /api/v1/health HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", b"G"),
    ],
    ids=["silent", "slow head", "slow body", "slow pieces", "slow second"],
)
def test_a_request_that_does_not_arrive_is_not_waited_for(hasty: Served, begin: bytes, piece: bytes) -> None:
    """However busily a caller dawdles, its connection ends; a hundred of them could else shut everybody out."""
    with connect(hasty) as link:
        assert dawdle(link, begin, piece) < 15
    unharmed(hasty)


def test_an_open_page_is_no_dawdler(hasty: Served) -> None:
    """A stream of news stands for longer than a request may take."""
    with hasty.client() as client, client.stream("GET", "/events") as answer:
        lines = answer.iter_lines()
        next(lines)
        time.sleep(2 * PATIENCE_S)
        hasty.desk.publish(lambda bench: bench["vessels"][0]["water"].update(value=25.7))
        assert any("25.7" in line for line in lines)


def test_one_caller_cannot_take_all_connections(served: Served) -> None:
    """Who opens hundreds is cut short, and everybody else is answered at once."""
    with ExitStack() as held:
        for _ in range(2 * CONNECTIONS):
            link = held.enter_context(connect(served, "127.0.0.9"))
            with suppress(OSError):
                link.sendall(HEAD)
        unharmed(served)
        server = served.server._server
        assert server is not None
        theirs = [one for one in list(server.server_state.connections) if getattr(one, "caller", "") == "127.0.0.9"]
        assert 0 < len(theirs) <= PER_CALLER
    unharmed(served)


@pytest.mark.parametrize(
    ("host", "counted"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("2001:db8::1", "2001:db8::/64"),
        ("2001:db8::ffff:1", "2001:db8::/64"),
        ("", ""),
        ("strange", "strange"),
    ],
)
def test_a_caller_is_an_address_or_the_network_of_one(host: str, counted: str) -> None:
    """Addresses of the sixth version have no end; their network is one caller."""
    assert network(host) == counted


def test_a_flood_of_passwords_holds_nobody_up(serve: Callable[..., Served], tmp_path: Path) -> None:
    """Few are reckoned and the rest is refused, while the bench goes on answering whoever is in."""
    path = tmp_path / "page.password"
    write_password(path, PASSWORD)
    served = serve(password_hash_file=path)
    codes: list[int] = []

    def guess() -> None:
        with served.client(token=False) as client:
            token = form_token(client, "/login")
            codes.extend(
                client.post("/login", data={"password": "x" * 8_000, "csrf": token}).status_code for _ in range(4)
            )

    with served.client(token=False) as keeper:
        log_in(keeper)
        crowd = [threading.Thread(target=guess) for _ in range(10)]
        for one in crowd:
            one.start()
        seen = [keeper.get("/api/v1/bench").status_code for _ in range(10)]
        for one in crowd:
            one.join(30)
    assert seen == [200] * 10
    assert len(codes) == 40
    assert set(codes) <= {401, 429, 503}
    assert codes.count(401) <= 5
    unharmed(served)


def test_streams_have_an_end_in_number(served: Served) -> None:
    """A program that opens stream after stream is told to end one first."""
    with ExitStack() as held, served.client() as client:
        heard = []
        for _ in range(STREAMS):
            answer = held.enter_context(client.stream("GET", "/api/v1/events"))
            assert answer.status_code == 200
            heard.append(answer.iter_lines())
            next(heard[-1])
        with client.stream("GET", "/api/v1/events") as refused:
            assert (refused.status_code, refused.headers["retry-after"]) == (503, "30")
        unharmed(served)
