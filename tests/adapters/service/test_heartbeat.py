"""The sign of life against a real web server that in turn answers, refuses, redirects, hangs, or can't be trusted."""

from __future__ import annotations

import ssl
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any

import pytest

from monitor.service.clock import SystemClock
from monitor.service.heartbeat import VERDICT_HOLDS_S, Heartbeat
from tests.adapters.conftest import until
from tests.adapters.intake.certificates import Authority
from tests.conftest import free_port
from tests.logs import heard

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

TOKEN = "s3cr3t-of-the-shed"
QUICK = 20
"""Milliseconds between two signs."""


class Outside:
    """Somebody else's machine. ``status`` is what it answers, ``hangs`` that it does not."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.status = 200
        self.hangs = threading.Event()
        self.released = threading.Event()
        outside = self

        class Answer(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                outside.asked.append(self.path)
                if outside.hangs.is_set():
                    outside.released.wait(20)
                self.send_response(outside.status)
                if 300 <= outside.status < 400:
                    self.send_header("Location", "/elsewhere")
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: Any) -> None:
                """Nothing: what counts is kept."""

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
        threading.Thread(target=self.server.serve_forever, args=(0.02,), name="outside", daemon=True).start()

    @property
    def port(self) -> int:
        return int(self.server.server_address[1])

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/{TOKEN}"

    def stop(self) -> None:
        self.released.set()
        self.server.shutdown()
        self.server.server_close()


@pytest.fixture
def outside() -> Iterator[Outside]:
    made = Outside()
    yield made
    made.stop()


@pytest.fixture
def heart() -> Iterator[Callable[..., Heartbeat]]:
    """Makes heartbeats that beat, and end with the test."""
    made: list[Heartbeat] = []

    def make(url: str | None, every: int = QUICK, timeout: float = 10.0, clock: SystemClock | None = None) -> Heartbeat:
        heartbeat = Heartbeat(url, every, clock or SystemClock(), timeout)
        made.append(heartbeat)
        heartbeat.start()
        return heartbeat

    yield make
    for heartbeat in made:
        heartbeat.stop(5.0)


def state(heartbeat: Heartbeat) -> str:
    return str(heartbeat.document()["state"])


def test_it_beats_while_all_is_well_and_not_otherwise(outside: Outside, heart: Callable[..., Heartbeat]) -> None:
    """Nothing is sent before anybody has said that all is well, nor while something is wrong; then the reason is told."""
    heartbeat = heart(outside.url)
    assert heartbeat.document() == {"state": "waiting", "reason": "", "last": None}
    heartbeat.judge("the broker is not reached")
    until(lambda: state(heartbeat) == "withheld")
    assert heartbeat.document() == {"state": "withheld", "reason": "the broker is not reached", "last": None}
    assert outside.asked == []
    heartbeat.judge("")
    until(lambda: len(outside.asked) >= 3)
    assert set(outside.asked) == {f"/{TOKEN}"}
    assert state(heartbeat) == "sent"
    last = heartbeat.document()["last"]
    heartbeat.judge("no probe is fresh")
    until(lambda: state(heartbeat) == "withheld")
    count = len(outside.asked)
    time.sleep(10 * QUICK / 1000)
    assert len(outside.asked) == count
    assert heartbeat.document()["last"] >= last


def test_an_old_verdict_is_none(outside: Outside, heart: Callable[..., Heartbeat]) -> None:
    """When the thread that judges hangs, nothing is sent any more, although it said last that all is well."""

    class Later(SystemClock):
        ahead = 0.0

        def steady(self) -> float:
            return super().steady() + self.ahead

    clock = Later()
    heartbeat = heart(outside.url, clock=clock)
    heartbeat.judge("")
    until(lambda: state(heartbeat) == "sent")
    clock.ahead = VERDICT_HOLDS_S + 1
    until(lambda: state(heartbeat) == "withheld")
    assert heartbeat.document()["reason"] == "the thread of decisions does not answer"


@pytest.mark.parametrize(
    ("status", "reason"),
    [
        (404, "127.0.0.1 answered with status 404"),
        (500, "127.0.0.1 answered with status 500"),
        (302, "127.0.0.1 answered with status 302; a redirect is not followed, write the final address"),
    ],
)
def test_a_refusal_is_told_once_without_the_address(
    outside: Outside, heart: Callable[..., Heartbeat], status: int, reason: str, caplog: pytest.LogCaptureFixture
) -> None:
    """However often it is refused, one line says so, and one that it is taken again; neither tells the token."""
    outside.status = status
    with heard(caplog) as logs:
        heartbeat = heart(outside.url)
        heartbeat.judge("")
        until(lambda: len(outside.asked) > 3)
        assert heartbeat.document()["reason"] == reason
        outside.status = 204
        until(lambda: state(heartbeat) == "sent")
    assert [line["event"] for line in logs] == ["heartbeat.failing", "heartbeat.sent"]
    assert TOKEN not in f"{logs} {heartbeat!r}"
    assert set(outside.asked) == {f"/{TOKEN}"}


def test_one_that_hangs_is_given_up(outside: Outside, heart: Callable[..., Heartbeat]) -> None:
    """An answer that does not come within the limit is none, and the next sign is sent all the same."""
    outside.hangs.set()
    heartbeat = heart(outside.url, timeout=0.3)
    heartbeat.judge("")
    until(lambda: state(heartbeat) == "failing")
    assert heartbeat.document()["reason"] == "127.0.0.1 gave no answer within 0.3 s"
    outside.hangs.clear()
    outside.released.set()
    until(lambda: state(heartbeat) == "sent")


def test_nobody_there_is_told(heart: Callable[..., Heartbeat]) -> None:
    """An address where nobody listens is said to be so, in the system's words."""
    heartbeat = heart(f"http://127.0.0.1:{free_port()}/{TOKEN}")
    heartbeat.judge("")
    until(lambda: state(heartbeat) == "failing")
    assert TOKEN not in heartbeat.document()["reason"]
    assert heartbeat.document()["reason"].startswith("127.0.0.1 is not reached: ")


def test_a_certificate_that_nobody_vouches_for_is_refused(
    outside: Outside, heart: Callable[..., Heartbeat], tmp_path: Path
) -> None:
    """Over https the other side must prove who it is; nothing is asked of one that can't."""
    papers = Authority(tmp_path / "ca", "nobody").papers("outside")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(papers.cert, papers.key)
    outside.server.socket = context.wrap_socket(outside.server.socket, server_side=True)
    heartbeat = heart(f"https://127.0.0.1:{outside.port}/{TOKEN}")
    heartbeat.judge("")
    until(lambda: state(heartbeat) == "failing")
    assert "can't be trusted" in heartbeat.document()["reason"]
    assert outside.asked == []


def test_no_proxy_of_the_environment_is_used(
    outside: Outside, heart: Callable[..., Heartbeat], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the environment names as proxy is not on the way: what is configured is what is asked."""
    for name in ("HTTP_PROXY", "http_proxy", "ALL_PROXY", "all_proxy"):
        monkeypatch.setenv(name, f"http://127.0.0.1:{free_port()}")
    for name in ("NO_PROXY", "no_proxy"):
        monkeypatch.delenv(name, raising=False)
    heartbeat = heart(outside.url)
    heartbeat.judge("")
    until(lambda: state(heartbeat) == "sent")


def test_without_an_address_there_is_none(heart: Callable[..., Heartbeat]) -> None:
    """Nothing beats, nothing is missed, and the bench says that it is off."""
    heartbeat = heart(None)
    heartbeat.judge("")
    assert heartbeat.alive
    assert heartbeat.document() == {"state": "off", "reason": "", "last": None}
