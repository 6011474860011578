from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import expect

from monitor.core.model import DAY, MINUTE, Acknowledge, PutBackInService, Refused, Shelve, TakeOutOfService, Unshelve
from monitor.guide import ENTRIES
from tests.adapters.web.memory_desk import NOW, MemoryDesk, an_alarm, bad_night
from tests.adapters.web.until import shown_in
from tests.unit.web.test_palette import contrast

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

    from monitor.web.desk import Command
    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]

with_and_without_script = pytest.mark.parametrize("script", [True, False])
PATHS = ("/guide", "/report", "/alarms/air-stopped%3Abirch", "/alarms/too-hot%3Aash")
EVIL = "<img src=x onerror=alert(1)>'\"&{{7*7}}"


def decided(*reasons: str) -> list[dict[str, Any]]:
    return [
        {"time": f"2026-03-02T01:{n:02d}:00Z", "notify": n % 2 == 0, "reason": reason}
        for n, reason in enumerate(reasons)
    ]


@with_and_without_script
def test_an_alarm_on_the_bench_leads_to_its_story_and_to_the_guide(
    served: Served, open_page: OpenPage, script: bool
) -> None:
    """Whoever was woken finds what it means, and why it rang, with one tap."""
    served.desk.decided = decided("held for 61 s, longer than its on-delay of 60 s", "it stands, and was told already")
    page = open_page(served, java_script_enabled=script)
    alarm = page.locator(".alarm", has_text="Air stopped in birch")
    alarm.get_by_role("link", name="What it means").click()
    expect(page).to_have_url(re.compile("/guide#air-stopped$"))
    expect(page.locator("#air-stopped h2")).to_be_in_viewport()
    page.go_back()
    page.locator(".alarm", has_text="Air stopped in birch").get_by_role("link", name="why it rang").click()
    expect(page.locator("h1")).to_have_text("Air stopped in birch")
    expect(page.locator(".decisions li")).to_have_count(2)
    newest, oldest = page.locator(".decisions li").all()
    expect(newest).to_contain_text("today 02:01 Not told: it stands")
    expect(oldest).to_contain_text("today 02:00 Told: held for 61 s")


@with_and_without_script
def test_what_may_be_done_with_an_alarm_is_done_on_its_page(served: Served, open_page: OpenPage, script: bool) -> None:
    """Acknowledge, put off, take out with a reason; each ends on the same page with a word that it is done."""
    page = open_page(served, "/alarms/cold-snap%3Aash", java_script_enabled=script)
    page.get_by_role("button", name="1 day").click()
    expect(page.locator(".flash.noted")).to_contain_text("Put off until Tue 02:10")
    page.locator("summary", has_text="out of service").click()
    page.get_by_label("Why").fill("heater on order")
    page.get_by_role("button", name="Yes, out of service").click()
    expect(page.locator(".flash")).to_contain_text("Out of service")
    page.goto(served.url + "/alarms/air-stopped%3Abirch")
    expect(page.get_by_role("button", name="1 day")).to_have_count(0)
    page.get_by_role("button", name="30 min").click()
    page.get_by_role("button", name="Acknowledge").click()
    expect(page.locator(".flash")).to_have_text("Acknowledged.")
    expect(page.locator("h1")).to_have_text("Air stopped in birch")
    assert served.desk.done == [
        Shelve(NOW, "cold-snap:ash", NOW + DAY, "page"),
        TakeOutOfService(NOW, "cold-snap:ash", "page", "heater on order"),
        Shelve(NOW, "air-stopped:birch", NOW + 30 * MINUTE, "page"),
        Acknowledge(NOW, "air-stopped:birch", "page"),
    ]


def test_what_is_put_off_or_out_of_service_can_be_brought_back(serve: Any, open_page: OpenPage) -> None:
    """The page offers the way back, and tells since when and why."""
    bench = bad_night()
    bench["alarms"] = [
        an_alarm("cold-snap", "ash", "medium", 9, state="shelved", title="Cold", until="2026-03-02T03:10:00Z"),
        an_alarm("too-hot", "ash", "low", 9, state="out-of-service", title="Hot", reason="taken out: new probe"),
    ]
    served = serve(MemoryDesk(bench))
    page = open_page(served, "/alarms/cold-snap%3Aash")
    expect(page.locator("main")).to_contain_text("shelved until today 04:10")
    page.get_by_role("button", name="End putting off now").click()
    page.goto(served.url + "/alarms/too-hot%3Aash")
    expect(page.locator("main")).to_contain_text("Taken out: new probe")
    expect(page.get_by_role("button", name="30 min")).to_have_count(0)
    page.get_by_role("button", name="Put it back in service").click()
    expect(page.locator(".flash")).to_have_text("Back in service.")
    assert served.desk.done == [Unshelve(NOW, "cold-snap:ash", "page"), PutBackInService(NOW, "too-hot:ash", "page")]


def test_a_refusal_is_told_on_the_page_of_the_alarm(serve: Any, open_page: OpenPage) -> None:
    """What the core refuses is said in its words, where the keeper is."""

    class Strict(MemoryDesk):
        def _carry_out(self, command: Command) -> dict[str, Any]:
            raise Refused(
                f"{command.__class__.__name__.lower()}: allowed is at most 20 min, half of the time that is left"
            )

    served = serve(Strict())
    page = open_page(served, "/alarms/air-stopped%3Abirch")
    page.get_by_role("button", name="2 h").click()
    expect(page.locator(".flash.refused")).to_contain_text("allowed is at most 20 min")
    expect(page.locator("h1")).to_have_text("Air stopped in birch")


def test_forms_from_elsewhere_and_wrong_lengths_do_nothing(served: Served) -> None:
    """No token, no deed; a length that is none is refused with what is allowed."""
    with served.client(token=False) as client:
        assert client.post("/alarms/cold-snap:ash/shelve", data={"minutes": "30"}).status_code == 403
        page = client.get("/alarms/cold-snap:ash").text
        token = page.split('name="csrf" value="')[1].split('"')[0]
        for minutes in ("", "0", "-5", "99999", "1e3", "٣"):
            answer = client.post(
                "/alarms/cold-snap:ash/shelve", data={"csrf": token, "minutes": minutes, "page": "alarm"}
            )
            assert answer.status_code == 303
            assert "allowed is a whole number of minutes" in client.get(answer.headers["location"]).text
    assert served.desk.done == []


def test_an_alarm_that_cannot_be_is_a_plain_answer(served: Served) -> None:
    """A link from long ago leads to words, for people and for programs."""
    with served.client() as client:
        page = client.get("/alarms/too-cold:oak")
        assert page.status_code == 404
        assert "there is no alarm too-cold:oak" in page.text
        assert client.get("/api/v1/alarms/too-cold:oak").json()["status"] == 404


def test_programs_get_the_whole_story(served: Served) -> None:
    """The alarm, every decision that is kept, and the guide's entry, in one answer."""
    served.desk.decided = decided(*(f"reason {n}" for n in range(24)))
    with served.client() as client:
        story = client.get("/api/v1/alarms/air-stopped:birch").json()
        quiet = client.get("/api/v1/alarms/too-hot:ash").json()
    assert story["alarm"]["title"] == "Air stopped in birch"
    assert len(story["decisions"]) == 24
    assert story["guide"]["todo"][0] == ENTRIES["air-stopped"].todo[0]
    assert quiet["alarm"] is None
    assert quiet["guide"]["rule"] == "too-hot"


def test_the_report_is_asked_for_as_many_days_as_are_kept(served: Served) -> None:
    """Thirty when nothing is said; anything else is refused with what is allowed."""
    with served.client() as client:
        assert client.get("/api/v1/report").json()["days_asked"] == 30
        assert client.get("/api/v1/report?days=7").json()["days_asked"] == 7
        for wrong in ("0", "31", "x", "-1", "1.5"):
            answer = client.get(f"/api/v1/report?days={wrong}")
            assert answer.status_code == 422
            assert "from 1 to 30" in answer.json()["detail"]
    assert served.desk.asked_days == [30, 7]


def test_the_report_says_in_words_what_the_picture_shows(served: Served, open_page: OpenPage) -> None:
    """Verdicts, floods, what chatters with its advice, and a bar and a row for each day."""
    page = open_page(served, "/report")
    targets = page.locator(".targets li")
    expect(targets).to_have_count(4)
    expect(targets.nth(2)).to_contain_text("Ten minutes: not kept.")
    expect(targets.nth(0)).to_contain_text("A calm week: kept.")
    shapes = {target.locator("svg").inner_html() for target in targets.all()}
    assert len(shapes) == 2
    expect(page.locator(".findings")).to_contain_text("Flood: 4 pushes")
    expect(page.locator(".findings")).to_contain_text("cold-snap:ash rang 4 times, 4 times within 60 min")
    expect(page.locator(".findings")).to_contain_text("lower cold_below")
    assert page.locator(".days .pushes").count() == 3
    page.locator("summary", has_text="As a table").click()
    expect(page.locator("table").first.locator("tbody tr")).to_have_count(15)
    page.get_by_role("link", name="7 days").click()
    expect(page.get_by_role("link", name="7 days")).to_have_attribute("aria-current", "page")
    page.get_by_role("link", name="cold-snap:ash").first.click()
    expect(page.locator("h1")).to_contain_text("ash")


def test_the_guide_has_every_entry_and_every_page_leads_to_it(served: Served, open_page: OpenPage) -> None:
    """Each alarm can be linked to by its name."""
    page = open_page(served)
    page.get_by_role("link", name="Guide", exact=True).click()
    expect(page.locator(".entry")).to_have_count(len(ENTRIES))
    assert [section.get_attribute("id") for section in page.locator(".entry").all()] == list(ENTRIES)
    page.locator(".contents").get_by_role("link", name=ENTRIES["cold-snap"].title).click()
    assert page.url.endswith("#cold-snap")


_SMALL = """() => [...document.querySelectorAll('a, button, summary, input:not([type=hidden])')]
    .filter(one => one.checkVisibility() && one.getBoundingClientRect().height)
    .filter(one => one.getBoundingClientRect().height < 24 || one.getBoundingClientRect().width < 24)
    .map(one => one.outerHTML.slice(0, 80))"""
_COLOURS = """() => [...document.querySelectorAll('main *, footer *')].filter(one =>
    [...one.childNodes].some(node => node.nodeType === 3 && node.textContent.trim()) && !one.closest('svg')
    && one.checkVisibility()).map(one => {
        let ground = one;
        while (ground && getComputedStyle(ground).backgroundColor === 'rgba(0, 0, 0, 0)') ground = ground.parentElement;
        return [getComputedStyle(one).color, getComputedStyle(ground || document.documentElement).backgroundColor];
    })"""


@pytest.mark.parametrize("path", PATHS)
def test_these_pages_fit_their_screen_and_can_be_read_and_touched(
    served: Served, open_page: OpenPage, path: str
) -> None:
    """No page wider than its screen, every target 24 px or more, every letter 4.5 to 1, from phone to desk, light and dark."""
    served.desk.decided = decided("held for 61 s, longer than its on-delay of 60 s", "it stands, and was told already")
    page = open_page(served, path)
    grounds = set()
    for width, scheme in shown_in(page, (320, 390, 1280)):
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(_SMALL) == []
        pairs = page.evaluate(_COLOURS)
        assert len(pairs) > 10
        assert min(contrast(_hex(letters), _hex(ground)) for letters, ground in pairs) >= 4.5, (width, scheme)
        grounds.add(page.evaluate("getComputedStyle(document.documentElement).backgroundColor"))
    assert len(grounds) == 2, "light and dark are the same"


def _hex(rgb: str) -> str:
    return "#" + "".join(f"{int(part):02x}" for part in rgb.removeprefix("rgb(").rstrip(")").split(","))


def test_names_and_reasons_from_elsewhere_are_never_markup(serve: Any, open_page: OpenPage) -> None:
    """A hostile reason is shown as text on the page of its alarm."""
    bench = bad_night()
    bench["alarms"] = [an_alarm("air-stopped", EVIL, "high", 1, title=EVIL, text=EVIL, todo=EVIL)]
    desk = MemoryDesk(bench)
    desk.decided = decided(EVIL)
    served = serve(desk)
    page = open_page(served)
    page.get_by_role("link", name="why it rang").click()
    expect(page.locator("h1")).to_have_text(EVIL)
    expect(page.locator(".decisions")).to_contain_text(EVIL)
    page.get_by_role("button", name="30 min").click()
    expect(page.get_by_role("status")).to_contain_text("Put off")
    assert served.desk.done == [Shelve(NOW, f"air-stopped:{EVIL}", NOW + 30 * MINUTE, "page")]


def test_these_pages_are_light(served: Served) -> None:
    """A phone on a bad link gets the guide to all alarms in one small piece, and the others in less."""
    with served.client() as client:
        sizes = {path: len(client.get(path).content) for path in PATHS}
    assert sizes["/guide"] < 60_000
    assert all(size < 20_000 for path, size in sizes.items() if path != "/guide")
