"""The page of a batch, the list of all, and the story for programs: over a real store, without a script and in Chromium."""

from __future__ import annotations

import re
from html import unescape
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from monitor.core.log import Discard, Harvest, Seen, Sight, Start, Undo
from monitor.core.model import HOUR, MINUTE
from monitor.store.store import Store
from tests.adapters.web.described import faults
from tests.adapters.web.memory_desk import NOW, MemoryDesk
from tests.adapters.web.shed_record import PAST, batch_id, fill, shed_desk

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import httpx
    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]

OPEN = batch_id("ash", 15)


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The week in the shed; read only."""
    path = tmp_path_factory.mktemp("week") / "shed.db"
    fill(path)
    return path


@pytest.fixture
def shed(week: Path, serve: Callable[..., Served]) -> Served:
    return serve(shed_desk(week))


def get(served: Served, path: str) -> httpx.Response:
    with served.client() as client:
        return client.get(path)


def said(page: httpx.Response) -> str:
    """Its words."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]*>", " ", page.text)))


def test_an_ended_batch_tells_its_whole_story(shed: Served) -> None:
    """Its end in one line, the opening, each sentence under its day, numbers, and ways to its trends and its tin."""
    page = get(shed, f"/batches/{PAST[-1]}")
    text = said(page)
    for words in (
        "Harvested Sat 28 Feb 15:10, 27 h after its start.",
        "2 g of tin-7 in ash, started Fri 27 Feb 12:10, was harvested after 27 h with about 310 000 young brine shrimp",
        "06:40 You looked: the first few swam.",
        "200 000 of them went into fridge, to be kept cold.",
        "How good was it? Most swam some time between 10:40 and 13:10, 1 h earlier than told at the start",
        "For each gram of cysts about 155 000",
        f"swimup export --batch {PAST[-1]}",
    ):
        assert words in text
    assert f'href="/trends?batch={PAST[-1]}&amp;against={PAST[-2]}"' in page.text
    assert 'aria-describedby="strip-text"' in page.text
    assert "<form" not in page.text
    trends = get(shed, f"/trends?batch={PAST[-1]}").text
    assert f'href="/batches/{PAST[-1]}"' in trends


def test_an_air_stop_of_the_record_is_told_with_its_alarm(tmp_path: Path, serve: Callable[..., Served]) -> None:
    """What the probe said and what rang are one sentence."""
    path = tmp_path / "air.db"
    fill(path)
    with Store.open(path, now=NOW) as store:
        begun = NOW - 45 * HOUR
        store.log(Start(begun, begun, "birch-x", "birch", "tin-7", 2.0, 2.0, 25.0))
        store.commit()
    told = get(serve(shed_desk(path)), "/api/v1/batches/birch-x").json()
    (air,) = [one["text"] for one in told["story"] if one["kind"] == "air"]
    assert air == "Air stopped for 50 min. The alarm rang at 10:10, answered after 5 min."


def test_the_story_for_programs_is_described_and_holds_until_something_is_recorded(shed: Served) -> None:
    """Sentences with time and kind; the same answer, by its tag, however late it is asked for again."""
    address = f"/api/v1/batches/{PAST[-1]}"
    answer = get(shed, address)
    assert faults(answer, "/batches/{batch}") == []
    told = answer.json()
    assert told["summary"].startswith("2 g of tin-7 in ash")
    assert [one["kind"] for one in told["story"]] == [
        "start",
        "told",
        "told",
        "seen",
        "seen",
        "seen",
        "harvest",
        "chill",
        "verdict",
    ]
    shed.desk.publish(lambda bench: bench.update(now_ms=NOW + 5 * HOUR))
    assert get(shed, address).headers["etag"] == answer.headers["etag"]
    open_one = f"/api/v1/batches/{OPEN}"
    before = get(shed, open_one).json()
    shed.desk.publish(lambda bench: bench.update(now_ms=NOW + 9 * HOUR))
    again = get(shed, open_one).json()
    assert (again["story"], again["summary"]) == (before["story"], before["summary"])


def test_what_was_undone_is_no_batch_and_a_taken_back_end_ends_nothing(
    tmp_path: Path, serve: Callable[..., Served]
) -> None:
    """An undone start is unknown to page, list and trends; an undone harvest is told and leaves the forms."""
    path = tmp_path / "undone.db"
    fill(path, days=1)
    at = NOW - HOUR
    with Store.open(path, now=NOW) as store:
        store.log(Start(at, at, "cedar-slip", "cedar", "tin-7", 2.0, 1.0, 25.0))
        store.log(Undo(at + MINUTE, at + MINUTE, "start", "cedar-slip", at))
        store.log(Harvest(at, at, OPEN))
        store.log(Undo(at + 2 * MINUTE, at + 2 * MINUTE, "harvest", OPEN, at))
        store.commit()
    served = serve(shed_desk(path))
    assert get(served, "/batches/cedar-slip").status_code == 404
    assert get(served, "/trends?batch=cedar-slip").status_code == 404
    assert "cedar-slip" not in get(served, "/batches").text
    page = get(served, f"/batches/{OPEN}")
    assert f"Noted and taken back 2 min later: the harvest of {OPEN}; it counts for nothing." in said(page)
    assert "<form" in page.text


def test_all_batches_stand_in_a_list_that_can_be_sifted(shed: Served) -> None:
    """Open ones on top, then the newest first; by tin and by vessel; a sieve that lets nothing through says so."""
    text = get(shed, "/batches").text
    ids = re.findall(r'<th scope="row"[^>]*><a class="ref" href="/batches/([^"]+)"', text)
    assert ids == [batch_id("birch", 15), OPEN, *reversed(PAST)]
    for words in ("ready to harvest", "thrown away: smells", "22.5 to 25 h", "1 h earlier", "310 000"):
        assert words in text
    only = get(shed, "/batches?vessel=birch&lot=tin-7").text
    assert re.findall(r'href="/batches/((?:ash|birch)-[^"]+)"', only) == [batch_id("birch", 15), PAST[3], PAST[1]]
    assert "No batch here of tin-9" in said(get(shed, "/batches?lot=tin-9"))
    assert get(shed, "/batches?page=none").status_code == 422


def test_a_long_list_comes_page_by_page(tmp_path: Path, serve: Callable[..., Served]) -> None:
    """Sixty batches are three pages that lead to each other, and each batch is on one of them."""
    path = tmp_path / "many.db"
    with Store.open(path, now=NOW - 100 * HOUR) as store:
        for n in range(60):
            at = NOW - (60 - n) * HOUR
            store.log(Start(at, at, f"ash-{n:02d}", "ash", "tin-7", 2.0, 1.5, 25.0))
            store.log(Discard(at + 30 * MINUTE, at + 30 * MINUTE, f"ash-{n:02d}"))
        store.commit()
    served = serve(shed_desk(path))
    found, address, pages = [], "/batches?vessel=ash", 0
    while address:
        text = get(served, address).text
        found += re.findall(r'href="/batches/(ash-\d\d)"', text)
        after = re.search(r'href="([^"]+)" rel="next"', text)
        address, pages = unescape(after[1]) if after else "", pages + 1
    assert (pages, found) == (3, [f"ash-{n:02d}" for n in reversed(range(60))])


def test_a_record_without_any_batch_says_what_to_do(tmp_path: Path, serve: Callable[..., Served]) -> None:
    """The way to the first one is a button."""
    with Store.open(tmp_path / "new.db", now=NOW):
        pass
    page = get(serve(shed_desk(tmp_path / "new.db")), "/batches")
    assert "No batch has been started yet" in said(page)
    assert 'href="/vessels/cedar/start"' in page.text


def test_an_unknown_batch_is_told_with_the_newest_there_are(shed: Served) -> None:
    """A typing error is seen at once."""
    page = get(shed, "/batches/oak-1")
    assert page.status_code == 404
    assert f'There is no batch "oak-1" on record. The newest are {batch_id("birch", 15)}, {OPEN}, {PAST[-1]}' in said(
        page
    )


def test_a_record_that_cannot_be_read_keeps_nobody_from_noting(serve: Callable[..., Served]) -> None:
    """What stands on the bench can be harvested from its page all the same; what does not is told as it is."""
    served = serve(MemoryDesk())
    page = get(served, "/batches/ash-2026-03-01")
    assert page.status_code == 200
    assert "The record cannot be read just now" in said(page)
    assert "Hatching. Ready about today 06:45; 8 chances in 10: today 05:15 to 09:05." in said(page)
    assert "Harvested: end this batch" in page.text
    assert get(served, "/batches/ash-2026-02-01").status_code == 503
    assert get(served, "/batches").status_code == 503


@pytest.mark.browser
def test_a_keeper_reads_an_open_batch_and_notes_what_is_seen_earlier(shed: Served, open_page: OpenPage) -> None:
    """From the bench to the story, the look an hour ago, back on the bench; a mistake stays in its form with the story."""
    page = open_page(shed, viewport={"width": 390, "height": 800})
    page.locator("#vessel-0").get_by_role("link", name="More").click()
    expect(page.locator(".state")).to_have_text(re.compile(r"^Hatching\. Ready about today 06:45"))
    expect(page.locator(".tale li").first).to_contain_text("Started in ash: 2 g of tin-7 (Great Salt Lake)")
    expect(page.locator("svg.strip[role=img]")).to_have_accessible_description(
        re.compile(r"^Started 11:10\. Now Mon 02:10\. Told first: ready Mon 04:20 to 13:20\.")
    )
    form = page.locator("#seen")
    form.get_by_label("What").select_option("first")
    form.get_by_label("When").fill("soon")
    form.get_by_role("button").click()
    expect(page.get_by_role("alert")).to_contain_text("soon")
    expect(page.locator(".tale li").first).to_contain_text("Started in ash")
    form.get_by_label("When").fill("1 h ago")
    form.get_by_role("button").click()
    expect(page.locator(".flash")).to_contain_text("the first few swim")
    assert shed.desk.done == [Seen(NOW - HOUR, NOW, OPEN, Sight.FIRST)]


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_story_and_list_fit_a_narrow_screen(shed: Served, open_page: OpenPage, scheme: str) -> None:
    """At 320 px nothing runs out sideways, the list stands as cards with each value named, and links are large enough."""
    page = open_page(shed, "/batches", viewport={"width": 320, "height": 700}, color_scheme=scheme)
    cell = page.locator("tbody tr").nth(2).get_by_role("cell", name="22.5 to 25 h")
    expect(cell).to_be_visible()
    assert cell.evaluate("each => getComputedStyle(each, '::before').content") == '"Ready after"'
    for path in ("/batches", f"/batches/{PAST[-1]}", f"/batches/{OPEN}"):
        page.goto(shed.url + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
        for link in page.locator("main a:visible, .way-back a").all():
            box = link.bounding_box()
            assert box is not None
            assert box["height"] >= 24
