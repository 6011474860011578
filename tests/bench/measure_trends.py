"""How soon the page of trends can be used, over a store of five years; prints a table for people.

python -m tests.bench.five_years five.sqlite3
python -m tests.bench.measure_trends five.sqlite3

Real server, real Chromium, on the loopback address. A page can be used once its charts are drawn and take a tap. "First visit"
is a browser with an empty cache; "again" one that has the scripts and styles.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from playwright.sync_api import sync_playwright

from monitor.core.model import DAY, HOUR, MINUTE, SECOND
from monitor.store.record import Record
from monitor.web.options import WebOptions
from monitor.web.when import as_rfc3339
from tests.adapters.web.conftest import FLAGS, Served
from tests.adapters.web.memory_desk import MemoryDesk, bad_night
from tests.bench.five_years import EVERY, PROBES
from tests.bench.markdown import say

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext

    from monitor.core.model import Ms

SPANS: Final = {
    "6 hours": 6 * HOUR,
    "1 day": DAY,
    "1 week": 7 * DAY,
    "30 days": 30 * DAY,
    "1 year": 365 * DAY,
    "5 years": 1826 * DAY,
}
DRAWN: Final = "body[data-shown]"


def five_year_desk(path: Path) -> tuple[MemoryDesk, Ms]:
    """A bench whose now is the end of that store, with its eight probes."""
    record = Record(path)
    end = max(probe.last or 0 for probe in record.probes()) // MINUTE * MINUTE + MINUTE
    bench: dict[str, Any] = bad_night()
    bench["now_ms"] = end
    bench["alarms"] = []
    bench["probes"] = [_probe(name) for name in PROBES]
    desk = MemoryDesk(bench)
    desk.record = record
    return desk, end


def _probe(name: str) -> dict[str, Any]:
    place, _, kind = name.partition("-")
    measures = "water" if kind == "water" else kind
    inside = place if measures in ("water", "air") else None
    return {
        "id": name,
        "measures": measures,
        "vessel": inside,
        "store": place if measures == "store" else None,
        "unit": None if measures == "air" else "Cel",
        "every_s": EVERY // SECOND,
        "newest": None,
    }


def usable(context: BrowserContext, url: str) -> float:
    """Milliseconds from asking for the page until its charts are drawn and the page has painted and is idle again."""
    page = context.new_page()
    page.goto(url, wait_until="commit")
    page.wait_for_selector(DRAWN, state="attached")
    spent: float = page.evaluate(
        "new Promise((done) => requestAnimationFrame(() => setTimeout(() => done(performance.now()), 0)))"
    )
    page.close()
    return spent


def measure(browser: Browser, served: Served, end: Ms, times: int) -> None:
    say("| span | page answered, ms | first visit, ms | again, ms (median) | again (worst) |\n|---|---|---|---|---|")
    for name, span in SPANS.items():
        path = f"/trends?since={as_rfc3339(end - span)}&until={as_rfc3339(end)}"
        with served.client(token=False) as client:
            answered = []
            for _ in range(times):
                began = time.perf_counter()
                client.get(path).raise_for_status()
                answered.append(1000 * (time.perf_counter() - began))
        first, again = [], []
        for _ in range(times):
            context = browser.new_context(viewport={"width": 390, "height": 844})
            first.append(usable(context, served.url + path))
            again.append(usable(context, served.url + path))
            context.close()
        say(
            f"| {name} | {statistics.median(answered):.0f} | {statistics.median(first):.0f} "
            f"| {statistics.median(again):.0f} | {max(again):.0f} |"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("store", type=Path)
    parser.add_argument("--times", type=int, default=5)
    asked = parser.parse_args()
    desk, end = five_year_desk(asked.store)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        served = Served(desk, WebOptions(Path(folder) / "state"))
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        try:
            measure(browser, served, end, asked.times)
        finally:
            browser.close()
            served.server.stop(10)


if __name__ == "__main__":
    main()
