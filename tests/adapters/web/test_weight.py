"""What a first visit to the bench costs a phone at the edge of the room's Wi-Fi."""

from __future__ import annotations

import time
from collections import Counter
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import pytest

from tests.adapters.web.memory_desk import MemoryDesk, a_batch, a_content, a_start, a_store, an_alarm, bad_night

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Browser

    from tests.adapters.web.conftest import Served

pytestmark = pytest.mark.browser
MOST = 60_000
"""Bytes on the wire for all of a first visit, headers and the first event included."""


def a_full_shed() -> MemoryDesk:
    """Six vessels, of which four hatch, two cold stores and six alarms: more than most keepers have."""
    bench = bad_night()
    for vessel, name in zip(bench["vessels"][:3], ("doum", "elm", "fir"), strict=True):
        batch = a_batch(name) if vessel["batch"] else None
        bench["vessels"].append({**vessel, "id": name, "batch": batch, "last_start": a_start(name)})
        bench["alarms"].append(
            an_alarm(
                "cold-snap",
                name,
                "medium",
                12,
                title=f"{name} is getting cold",
                text="From 26.2 to 24.1 °C within 1 h. Ready moves from today 05:10 to today 06:45.",
                todo=f"Look at the heater of {name}.",
            )
        )
    bench["stores"] = [a_store("fridge", a_content()), a_store("cellar", a_content(90_000))]
    return MemoryDesk(bench)


class Scale:
    """Weighs what a browser receives, by path, as it tells over its own protocol."""

    def __init__(self, browser: Browser, served: Served) -> None:
        self.wire: Counter[str] = Counter()
        self.unpacked: Counter[str] = Counter()
        self.foreign: list[str] = []
        self._served = served
        self._paths: dict[str, str] = {}
        self.page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
        cdp = self.page.context.new_cdp_session(self.page)
        cdp.send("Network.enable")
        cdp.on("Network.requestWillBeSent", self._asked)
        cdp.on("Network.dataReceived", self._received)
        cdp.on("Network.loadingFinished", self._finished)

    def _asked(self, told: dict[str, Any]) -> None:
        url = told["request"]["url"]
        self._paths[told["requestId"]] = urlsplit(url).path
        if not url.startswith(self._served.url):
            self.foreign.append(url)

    def _received(self, told: dict[str, Any]) -> None:
        path = self._paths[told["requestId"]]
        self.unpacked[path] += told["dataLength"]
        if path == "/events":  # it never finishes, and is not packed
            self.wire[path] += told["dataLength"]

    def _finished(self, told: dict[str, Any]) -> None:
        self.wire[self._paths[told["requestId"]]] = told["encodedDataLength"]

    def hears(self, path: str) -> bool:
        """Whether something of it comes, however busy the machine is."""
        until = time.monotonic() + 20.0
        while not self.unpacked[path] and time.monotonic() < until:
            self.page.wait_for_timeout(50)
        return self.unpacked[path] > 0

    def fetch_the_rest(self) -> None:
        """Icons and the like, which a browser without a window does not ask for by itself."""
        for link in self.page.locator("link[href]").all():
            path = link.get_attribute("href") or ""
            if path in self.wire:
                continue
            with self._served.client(token=False) as client, client.stream("GET", path) as answer:
                assert answer.status_code == 200
                self.wire[path] = sum(len(part) for part in answer.iter_raw())
                self.unpacked[path] = self.wire[path]


def test_a_first_visit_weighs_little(serve: Callable[..., Served], chromium: Browser) -> None:
    """Page, style, script, icons and the first event of a full shed stay under 60 kB, and nothing is asked of another host."""
    served = serve(a_full_shed())
    scale = Scale(chromium, served)
    with scale.page.expect_request("**/events*"):
        scale.page.goto(served.url)
    assert scale.hears("/events")
    scale.page.wait_for_timeout(1200)  # and whatever else may come
    scale.fetch_the_rest()
    assert {"/", "/events"} <= set(scale.wire)
    assert {path.rpartition(".")[2] for path in scale.wire} >= {"css", "js", "svg"}
    assert sum(scale.wire.values()) < MOST, (scale.wire, scale.unpacked)
    assert scale.unpacked["/events"] < 1000, "the page was sent again what it holds"
    assert scale.foreign == []
    scale.page.context.close()
