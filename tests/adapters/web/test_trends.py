"""The page of trends over a real store, without a script and in Chromium."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING
from urllib.parse import parse_qs, urlsplit

import pytest

from monitor.core.model import DAY
from monitor.web.when import as_rfc3339
from tests.adapters.web.memory_desk import NOW
from tests.adapters.web.shed_record import batch_id, fill, shed_desk

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import httpx
    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

WEEK = f"since={as_rfc3339(NOW - 7 * DAY)}&until={as_rfc3339(NOW)}"


@pytest.fixture
def shed(tmp_path: Path, serve: Callable[..., Served]) -> Served:
    fill(tmp_path / "shed.db")
    return serve(shed_desk(tmp_path / "shed.db"))


def get(served: Served, path: str) -> httpx.Response:
    with served.client(token=False) as client:
        return client.get(path)


def test_trends_can_be_read_without_a_script(shed: Served) -> None:
    """Every section has its drawing and a table beside it; spans and ways through time are links."""
    page = get(shed, f"/trends?{WEEK}")
    assert page.status_code == 200
    for words in ("ash-water", "shed-room", "fridge-cold", "<svg", "<caption>", "Air", "10:"):
        assert words in page.text
    assert page.text.count("<table>") >= 4
    assert re.search(r'href="/trends\?[^"]*since=', page.text)


def test_what_came_often_is_counted_in_words(shed: Served) -> None:
    """Stops of air, and forecasts that held, are told as a person counts: never "1 times"."""
    page = get(shed, f"/trends?{WEEK}&batch={batch_id('ash', 110)}").text
    assert re.search(r"Weak or stopped (once|twice|\d+ times)\.", page)
    assert re.search(
        r"It was told (once|twice|\d+ times) before that, and the range held it (never|once|twice|\d+ times);", page
    )
    assert not re.search(r"\b[012] times", page)


def test_what_is_shown_can_be_taken_along(shed: Served) -> None:
    """CSV and SenML hold the same span, and can be read again."""
    rows = list(csv.DictReader(io.StringIO(get(shed, f"/trends/download.csv?{WEEK}").text)))
    assert len(rows) > 100
    assert {"ash-water", "shed-room"} <= {row["series"] for row in rows}
    records = get(shed, f"/trends/download.senml.json?{WEEK}").json()
    assert isinstance(records, list)
    assert any(record.get("u", record.get("bu")) == "Cel" for record in records)


@pytest.mark.parametrize(
    "query", ["since=yesterday", f"since={as_rfc3339(NOW)}&until={as_rfc3339(NOW - DAY)}", "batch=none"]
)
def test_what_cannot_be_asked_is_said(shed: Served, query: str) -> None:
    """A wrong instant, a span that ends before it begins or an unknown batch is a clear page, not an empty one."""
    page = get(shed, f"/trends?{query}")
    assert 400 <= page.status_code < 500
    assert "<h1" in page.text


def test_without_a_record_the_page_says_so(serve: Callable[..., Served]) -> None:
    """A store that can't be read is told as such."""
    page = get(serve(), "/trends")
    assert page.status_code == 503
    assert "record" in page.text


@pytest.mark.browser
def test_charts_zoom_and_the_link_keeps_the_view(shed: Served, open_page: Callable[..., Page]) -> None:
    """Closer and earlier move all charts and the address; the address opened anew shows the same; nothing leaves the host."""
    page = open_page(shed, f"/trends?{WEEK}", viewport={"width": 390, "height": 800})
    page.wait_for_selector(".plot canvas")
    before = page.inner_text("#span")
    page.click('[data-do="closer"]')
    page.wait_for_function("before => document.getElementById('span').innerText !== before", arg=before)
    page.click('[data-do="earlier"]')
    page.wait_for_timeout(600)
    address, told = page.url, page.inner_text("#span")
    assert "since=" in address
    assert told != before
    again = open_page(shed, address.removeprefix(shed.url))
    again.wait_for_selector(".plot canvas")
    view = parse_qs(urlsplit(address).query)
    assert [again.get_attribute(f"input[name={end}]", "value") for end in ("since", "until")] == [
        view["since"][0],
        view["until"][0],
    ]
    assert again.url == address


@pytest.mark.browser
def test_two_batches_lie_beside_each_other(shed: Served, open_page: Callable[..., Page]) -> None:
    """Chosen in the form, two batches are shown from their starts on, and how good what was told of one has been."""
    first, second = batch_id("ash", 110), batch_id("birch", 82)
    page = open_page(shed, "/trends", viewport={"width": 1280, "height": 900})
    page.select_option('[name="batch"]', first)
    page.select_option('[name="against"]', second)
    page.click("#choose button.main")
    page.wait_for_selector('[id^="beside"] canvas')
    assert page.locator('[id^="told"]').count() >= 1
    assert second in page.inner_text('[id^="beside"]')
