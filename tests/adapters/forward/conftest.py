"""A store to copy from, a real time-series server, and a catcher that speaks the write API."""

from __future__ import annotations

import gzip
import json
import shutil
import subprocess
import threading
import time
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any
from urllib.error import URLError
from urllib.parse import parse_qs, urlencode, urlsplit
from urllib.request import ProxyHandler, build_opener

import pytest

from monitor.core.model import Measures, ProbeSpec, SiteSpec, VesselSpec
from monitor.forward import Forwarder, Pace, Server
from monitor.service.clock import SystemClock
from monitor.store import Store
from monitor.store.sinks import Forwarded
from tests.conftest import free_port

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

OPENER = build_opener(ProxyHandler({}))
START_S = 20.0


def site_of(*vessels: str) -> SiteSpec:
    """Water and air in each vessel, and the room."""
    probes = {"room": ProbeSpec("room", Measures.ROOM, None, 60_000, -10.0, 50.0, 5.0)}
    for vessel in vessels:
        water, air = f"{vessel}-water", f"{vessel}-air"
        probes[water] = ProbeSpec(water, Measures.WATER, vessel, 10_000, 0.0, 50.0, 5.0)
        probes[air] = ProbeSpec(air, Measures.AIR, vessel, 10_000, 0.0, 1e9, 1e9)
    return SiteSpec("shed", "UTC", (420,), probes, {v: VesselSpec(v, 1.5, 18.0, 32.0, 2.0, 3_600_000) for v in vessels})


class SeriesStore:
    """A stock victoria-metrics on the loopback address, as deploy/series/README.md sets it up; it keeps its port."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self.folder.mkdir(exist_ok=True)
        command = [
            "victoria-metrics",
            f"-httpListenAddr=127.0.0.1:{self.port}",
            f"-storageDataPath={self.folder / 'data'}",
            "-retentionPeriod=5y",
            "-dedup.minScrapeInterval=1ms",
            "-search.latencyOffset=0s",
        ]
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log)
        until = time.monotonic() + START_S
        while time.monotonic() < until and self._process.poll() is None:
            try:
                self._ask("/health")
            except (URLError, OSError):
                time.sleep(0.02)
            else:
                return
        raise RuntimeError(f"victoria-metrics did not start: {(self.folder / 'log').read_text()}")

    def kill(self) -> None:
        """An end without warning."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(10)
            self._process = None

    def points(self, match: str) -> list[tuple[dict[str, str], int, float]]:
        """All that is kept of the series that match: labels, ms, value."""
        self._ask("/internal/force_flush")
        found = []
        for line in self._ask("/api/v1/export?" + urlencode({"match[]": match, "start": "0"})).splitlines():
            row = json.loads(line)
            found += [
                (row["metric"], time, value) for time, value in zip(row["timestamps"], row["values"], strict=True)
            ]
        return found

    def query(self, text: str, at: float) -> list[dict[str, Any]]:
        """What a query gives at an instant, Unix seconds."""
        self._ask("/internal/force_flush")
        answer = json.loads(self._ask("/api/v1/query?" + urlencode({"query": text, "time": f"{at:.3f}"})))
        assert answer["status"] == "success", answer
        result: list[dict[str, Any]] = answer["data"]["result"]
        return result

    def _ask(self, path: str) -> str:
        with OPENER.open(self.url + path, timeout=20) as answer:
            text: str = answer.read().decode()
            return text


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
            if status == 204:
                caught.taken += body.decode().splitlines()
            caught.calls.append(Call(parts.path, query, dict(self.headers.items()), body.decode()))
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
