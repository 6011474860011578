"""A real time-series server for every floor of the tests."""

from __future__ import annotations

import json
import subprocess
import time
from typing import TYPE_CHECKING, Any
from urllib.error import URLError
from urllib.parse import urlencode
from urllib.request import ProxyHandler, build_opener

from tests.conftest import free_port

if TYPE_CHECKING:
    from pathlib import Path

OPENER = build_opener(ProxyHandler({}))
START_S = 20.0


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
            "-retentionPeriod=100y",
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
