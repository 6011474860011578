from __future__ import annotations

from typing import TYPE_CHECKING, Any

import httpx
import pytest
from playwright.sync_api import expect, sync_playwright

from monitor.web.app import make_app
from monitor.web.options import WebOptions
from monitor.web.server import WebServer
from tests.adapters.web.memory_desk import MemoryDesk

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from monitor.notify.pushkey import PushKey

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# What a command line asks for, with places for a folder and a port.
CONFIG = """
[site]
id = "shed"
timezone = "Europe/Berlin"
feeding_times = ["07:00"]
[store]
path = "{state}/shed.sqlite3"
[web]
port = {port}
[[vessel]]
id = "ash"
litres = 1.5
"""


class Served:
    """A desk, and the real server in front of it on a port of its own."""

    def __init__(
        self, desk: MemoryDesk, options: WebOptions, key: PushKey | None = None, *, patience_s: float = 20
    ) -> None:
        self.desk, self.options = desk, options
        self.app = make_app(desk, options, key)
        self.server = WebServer(lambda: self.app, options.host, 0, options.cert_file, options.key_file, patience_s)
        self.server.start()

    @property
    def url(self) -> str:
        return self.server.url

    @property
    def token(self) -> str:
        return self.options.token_file.read_text().strip()

    def client(self, *, token: bool = True, **more: Any) -> httpx.Client:
        headers = {"Authorization": f"Bearer {self.token}"} if token else {}
        return httpx.Client(base_url=self.url, headers=headers, trust_env=False, timeout=20, **more)

    def refuses(self, path: str, body: bytes, status: int, told: str) -> None:
        """That such a body is answered with a problem document that says this, and that nothing was done."""
        with self.client() as client:
            answer = client.post(f"/api/v1{path}", content=body)
        assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json")
        assert told in answer.json()["detail"]
        assert self.desk.done == []


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Callable[..., Served]]:
    """Serve a desk with the given options; everything is stopped at the end."""
    running: list[Served] = []

    def start(
        desk: MemoryDesk | None = None, *, key: PushKey | None = None, patience_s: float = 20, **options: Any
    ) -> Served:
        served = Served(desk or MemoryDesk(), WebOptions(tmp_path / "state", **options), key, patience_s=patience_s)
        running.append(served)
        return served

    yield start
    for served in running:
        assert served.server.stop(10)


@pytest.fixture
def served(serve: Callable[..., Served]) -> Served:
    return serve()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """Not longer than a module: while it runs, no test in its thread can run an event loop of its own."""
    expect.set_options(timeout=15_000)  # as long as each page waits for what it is told to do
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium: Browser) -> Iterator[Callable[..., Page]]:
    """A new page of a new profile, which fails the test when the page has a fault or asks another host for anything."""
    contexts, faults = [], []

    def open_at(served: Served, path: str = "/", **options: Any) -> Page:
        context = chromium.new_context(**{"service_workers": "block", **options})
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)

        def asked(url: str) -> None:
            if not url.startswith(served.url):
                faults.append(f"asked for {url}")

        page.on("request", lambda request: asked(request.url))
        page.on("pageerror", lambda error: faults.append(f"script fault: {error}"))
        page.on("console", lambda message: faults.append(message.text) if "Content Security" in message.text else None)
        page.on("dialog", lambda dialog: faults.append(f"a dialog opened: {dialog.message}"))
        page.goto(served.url + path)
        return page

    yield open_at
    for context in contexts:
        context.close()
    assert faults == []
