"""A store to copy from, a real time-series server, and a catcher that speaks the write API."""

from __future__ import annotations

import gzip
import shutil
import threading
import time
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlsplit

import pytest

from monitor.core.model import Measures, ProbeSpec, SiteSpec, VesselSpec
from monitor.forward import Forwarder
from monitor.forward.posting import Server
from monitor.service.clock import SystemClock
from monitor.store import Store
from tests.series_store import SeriesStore

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from monitor.forward.sender import Pace
    from monitor.store.sinks import Forwarded


def site_of(*vessels: str) -> SiteSpec:
    """Water and air in each vessel, and the room."""
    probes = {"room": ProbeSpec("room", Measures.ROOM, None, 60_000, -10.0, 50.0, 5.0)}
    for vessel in vessels:
        water, air = f"{vessel}-water", f"{vessel}-air"
        probes[water] = ProbeSpec(water, Measures.WATER, vessel, 10_000, 0.0, 50.0, 5.0)
        probes[air] = ProbeSpec(air, Measures.AIR, vessel, 10_000, 0.0, 1e9, 1e9)
    return SiteSpec("shed", "UTC", (420,), probes, {v: VesselSpec(v, 1.5, 18.0, 32.0, 2.0, 3_600_000) for v in vessels})


@pytest.fixture
def series_store(tmp_path: Path) -> Iterator[SeriesStore]:
    """Not started yet."""
    if shutil.which("victoria-metrics") is None:
        pytest.fail("victoria-metrics is not installed; deploy/test.sh installs it")
    server = SeriesStore(tmp_path / "series")
    yield server
    server.kill()


@dataclass
class Call:
    path: str
    query: dict[str, str]
    headers: dict[str, str]
    text: str
    at: float  # monotonic, s


@dataclass
class Catcher:
    """Answers each write with the next of ``answers`` (status, headers, body); 204 when there is none left."""

    url: str = ""
    calls: list[Call] = field(default_factory=list)
    taken: list[str] = field(default_factory=list)  # lines of calls that were answered with 204
    answers: list[tuple[int, dict[str, str], str]] = field(default_factory=list)


@pytest.fixture
def catcher() -> Iterator[Catcher]:
    caught = Catcher()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            if self.headers.get("Content-Encoding") == "gzip":
                body = gzip.decompress(body)
            parts = urlsplit(self.path)
            query = {name: values[0] for name, values in parse_qs(parts.query).items()}
            status, headers, said = caught.answers.pop(0) if caught.answers else (204, {}, "")
            text = body.decode()
            caught.calls.append(Call(parts.path, query, dict(self.headers.items()), text, time.monotonic()))
            if status == 204:  # last: whoever sees these lines sees their call
                caught.taken += text.splitlines()
            self.send_response(status)
            for name, value in headers.items():
                self.send_header(name, value)
            if status != 204:
                self.send_header("Content-Length", str(len(said.encode())))
            self.end_headers()
            if status != 204:
                self.wfile.write(said.encode())

        def log_message(self, *_: Any) -> None:
            """Nothing: what counts is kept."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    caught.url = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    yield caught
    server.shutdown()
    server.server_close()
    thread.join()


class Shed:
    """A store and what copies it; the test's thread is the owner."""

    def __init__(self, path: Path, site: SiteSpec) -> None:
        self.path = path
        self.site = site
        self.store = Store.open(path)
        self.moved: list[Forwarded] = []
        self.forwarder: Forwarder | None = None

    def forward(self, url: str, pace: Pace, **more: Any) -> Forwarder:
        """Start copying to a server."""
        server = Server("trends", url, **more)
        self.forwarder = Forwarder([(server, pace)], self.site, self.store, SystemClock(), self.moved.append)
        self.forwarder.start()
        return self.forwarder

    @property
    def state(self) -> dict[str, Any]:
        assert self.forwarder is not None
        state: dict[str, Any] = self.forwarder.document()["series_servers"][0]
        return state

    def commit(self) -> None:
        """As the service does: what has arrived is written with the rest."""
        while self.moved:
            self.store.forwarded(self.moved.pop(0))
        self.store.commit()

    def newest(self) -> int:
        """The number of the newest reading."""
        (at,) = self.store._connection.execute("SELECT max(at) FROM reading").fetchone()
        return int(at)

    def stop(self) -> None:
        if self.forwarder is not None:
            assert self.forwarder.stop(5.0)
            self.forwarder = None

    def restart(self) -> None:
        """End without a last commit, and open the store again."""
        self.stop()
        self.moved.clear()
        self.store.close()
        self.store = Store.open(self.path)


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[Shed]:
    made = Shed(tmp_path / "shed.sqlite3", site_of("ash", "birch"))
    yield made
    made.stop()
    made.store.close()


@pytest.fixture
def patiently() -> Callable[[Callable[[], object], str], None]:
    """Wait until the condition holds, far longer than any healthy machine needs."""

    def wait(condition: Callable[[], object], what: str) -> None:
        deadline = time.monotonic() + 60.0
        while not condition():
            if time.monotonic() > deadline:
                pytest.fail(what)
            time.sleep(0.02)

    return wait
