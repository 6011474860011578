from __future__ import annotations

import json
import queue
import threading
import time
import warnings
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.model import Priority
from monitor.store import Letter

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


class Catcher(ThreadingHTTPServer):
    """A phone's end of the line: keeps what it is sent, and answers with the status at the front of the path.

    ``/200/…`` takes a message, ``/429/…`` and others refuse it, ``/hang`` never answers. ``refusing`` overrides.
    """

    daemon_threads = True
    block_on_close = False

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Answer)
        self.caught: queue.Queue[dict[str, Any]] = queue.Queue()
        self.refusing: int | None = None
        self.ending = threading.Event()

    def url(self, path: str, query: str = "") -> str:
        return f"json://127.0.0.1:{self.server_port}/{path}{query}"

    def next(self) -> dict[str, Any]:
        return self.caught.get(timeout=20)

    def all_caught(self) -> list[dict[str, Any]]:
        return [self.caught.get_nowait() for _ in range(self.caught.qsize())]


class _Answer(BaseHTTPRequestHandler):
    server: Catcher

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        first = self.path.strip("/").split("/")[0]
        if first == "hang":
            self.server.ending.wait(20)
            return
        status = self.server.refusing or int(first if first.isdigit() else 200)
        if status == 200:
            self.server.caught.put(json.loads(body) | {"path": self.path, "headers": dict(self.headers)})
        self.send_response(status)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002
        """Say nothing: a test's output is its own."""


@pytest.fixture(scope="session", autouse=True)
def _library_loaded() -> None:
    """Load the library's modules once with its own warnings allowed: some import what newer Pythons have removed."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        import apprise

        assert apprise.Apprise.instantiate("json://127.0.0.1/") is not None


@pytest.fixture
def catcher() -> Iterator[Catcher]:
    server = Catcher()
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    yield server
    server.ending.set()
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture
def letter() -> Callable[..., Letter]:
    """Make a letter: ``letter(id, channel=, priority=)``."""

    def make(number: int = 1, channel: str = "phone", priority: Priority = Priority.HIGH) -> Letter:
        return Letter(
            id=number,
            transition_id=None,
            alarm="air-stopped:birch",
            channel=channel,
            title="Air stopped in birch",
            body="Since 05:10.\nLook at the pump.",
            priority=priority,
            created=0,
            token=f"{number:08x}",
        )

    return make


def wait_until(holds: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 20
    while not holds():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.01)
