"""The page "Food" by thumb and by keyboard, in a real browser: what is due is seen, started by one tap, changed, or left."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import expect

from monitor.core.food import FoodAhead, InHand, MealOutlook, Outlook, Plan, PlannedStart, SkipStart
from monitor.core.food_document import food_document
from monitor.core.log import Start, Undo
from monitor.core.log_food import Eater
from monitor.core.model import HOUR, MINUTE, Ms, Span
from monitor.web.access import write_password
from tests.adapters.web import food_example
from tests.adapters.web.core_desk import CoreDesk
from tests.adapters.web.memory_desk import NOW, MemoryDesk, a_batch, bad_night
from tests.adapters.web.test_bench_drive import PHONE, in_the_morning
from tests.adapters.web.test_keyboard import stops, tab_to
from tests.adapters.web.test_login import log_in

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]

HEAVIEST = 40_000
"""Bytes on the wire, of the page with its style."""


@pytest.fixture
def kitchen(serve: Callable[..., Served]) -> Served:
    """The shed with three starts planned, of which one is due in cedar."""
    return serve(fed(food_example.food()))


def fed(larder: dict[str, Any]) -> MemoryDesk:
    desk = MemoryDesk()
    desk.larder = larder
    return desk


def started(desk: MemoryDesk) -> list[Start]:
    return [command for command in desk.done if isinstance(command, Start)]


@pytest.mark.browser
def test_what_is_due_is_started_by_one_tap(kitchen: Served, open_page: OpenPage) -> None:
    """The first screen of a phone says what to start and holds the button; after it the page asks for it no more."""
    page = open_page(kitchen, "/food", **PHONE)
    expect(page.locator(".headline")).to_have_text("Start 3.5 g of tin-8 in cedar before 06:55")
    button = page.get_by_role("button", name="Start cedar now")
    box = button.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] < 500
    assert box["height"] >= 56
    button.tap()
    expect(page).to_have_url(kitchen.url + "/food")
    expect(page.locator(".flash.noted")).to_contain_text("Noted: 3.5 g of tin-8 in cedar, batch cedar-2026-03-02.")
    (start,) = started(kitchen.desk)
    assert (start.vessel, start.lot, start.cysts_g, start.litres, start.salinity_g_l) == (
        "cedar",
        "tin-8",
        3.5,
        1.0,
        25,
    )
    assert start.time == start.logged == NOW
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.browser
def test_what_is_not_wanted_now_is_put_off_by_one_tap(kitchen: Served, open_page: OpenPage) -> None:
    """The plan loses that start, the page says so, and asks for the next thing instead."""
    page = open_page(kitchen, "/food", **PHONE)
    page.get_by_role("button", name="Not now, cedar").tap()
    expect(page.locator(".flash.noted")).to_contain_text("Noted: not cedar now.")
    expect(page.locator(".headline")).not_to_contain_text("cedar")
    assert kitchen.desk.done == [SkipStart(time=NOW, start="cedar-tin-8-0302-02")]
    page.locator(".planned summary").first.tap()
    page.get_by_role("button", name="Not now, ash").tap()
    expect(page.locator(".flash.noted")).to_contain_text("Noted: not ash now.")
    assert len(kitchen.desk.done) == 2


@pytest.mark.browser
def test_another_amount_at_another_time_and_nothing_typed_is_lost(kitchen: Served, open_page: OpenPage) -> None:
    """What can't be read is told above with the fields as they were typed; put right, it is started so."""
    page = open_page(kitchen, "/food", **PHONE)
    page.locator("summary", has_text="Other amount").first.tap()
    page.get_by_label("Cysts of tin-8").fill("3 spoons")
    page.get_by_label("When").first.fill("20 min ago")
    page.get_by_role("button", name="Start cedar so").tap()
    expect(page.get_by_role("alert")).to_contain_text("Cysts")
    expect(page.get_by_label("Cysts of tin-8")).to_have_value("3 spoons")
    expect(page.get_by_label("When").first).to_have_value("20 min ago")
    assert started(kitchen.desk) == []
    page.get_by_label("Cysts of tin-8").fill("2500 mg")
    page.get_by_role("button", name="Start cedar so").tap()
    expect(page.locator(".flash.noted")).to_contain_text("2.5 g of tin-8 in cedar")
    (start,) = started(kitchen.desk)
    assert (start.cysts_g, start.time) == (2.5, NOW - 20 * MINUTE)


@pytest.mark.browser
def test_a_start_is_made_by_keyboard_alone(kitchen: Served, open_page: OpenPage) -> None:
    """Each stop of the Tab key is seen, none lies under a bar, and Enter on the button starts the batch."""
    page = open_page(kitchen, "/food", viewport={"width": 390, "height": 844})
    found = stops(page)
    assert [one["name"] for one in found if not one["ring"] or not one["free"]] == []
    assert [one["place"] for one in found] == sorted(one["place"] for one in found)
    page.evaluate("document.activeElement.blur(); scrollTo(0, 0)")
    tab_to(page, "Start cedar now")
    expect(page.locator(".flash.noted")).to_contain_text("3.5 g of tin-8 in cedar")
    assert len(started(kitchen.desk)) == 1


class FoodDesk(CoreDesk):
    """The real core, which has been told a plan."""

    def food(self) -> dict[str, Any]:
        return food_document(self.shed.engine.state, self.shed.now)


def planned(now: Ms) -> FoodAhead:
    """A look ahead with one brood and one start that is due in cedar."""
    start = PlannedStart(
        id="cedar-1",
        vessel="cedar",
        lot="tin-6",
        grams=3.5,
        litres=1.0,
        salinity_g_l=25.0,
        start=now,
        start_by=now + 5 * HOUR,
        harvest=Span(now + 22 * HOUR, now + 24 * HOUR, now + 28 * HOUR),
        nauplii=Span(290_000, 380_000, 460_000),
        store="",
        cost=1.4,
        feeds_from=now + 30 * HOUR,
        feeds_until=now + 42 * HOUR,
        backup=False,
        reason="for tomorrow's meals of adults",
    )
    need, nothing, held = Span(9_000, 10_000, 11_000), Span(0, 0, 0), Span(20_000, 30_000, 40_000)
    far = now + 30 * HOUR
    meal = MealOutlook(time=far, eater="adults", need=need, got=need, short=0.01, why="")
    lacking = MealOutlook(time=far, eater="adults", need=need, got=nothing, short=0.5, why="nothing is started")
    in_hand = (InHand(time=far, fresh=held, chilled=nothing),)
    return FoodAhead(
        time=now,
        bare=Outlook(time=now, until=far, meals=(lacking,)),
        outlook=Outlook(time=now, until=far, meals=(meal,), in_hand=in_hand),
        plan=Plan(made=now, until=far, starts=(start,), cost=1.4),
    )


@pytest.mark.browser
def test_the_real_core_starts_it_once_and_takes_it_back(serve: Callable[..., Served], open_page: OpenPage) -> None:
    """The tap starts a batch in the core, which asks for it no more; undone, it asks again, and a second tap puts it off."""
    desk = FoodDesk(in_the_morning())
    desk.shed.do(Eater(time=desk.shed.now, logged=desk.shed.now, eater="adults", nauplii_per_day=10_000))
    desk.shed.do(planned(desk.shed.now))
    desk.shed.now += MINUTE
    desk.renew()
    page = open_page(serve(desk), "/food", **PHONE)
    expect(page.locator(".then")).to_contain_text("may be short for adults (1 chance in 2)")
    page.get_by_role("button", name="Start cedar now").tap()
    expect(page.locator(".flash.noted")).to_contain_text("3.5 g of tin-6 in cedar")
    expect(page.locator(".headline")).to_contain_text("Food for every meal until")
    vessel = next(one for one in desk.bench()["vessels"] if one["id"] == "cedar")
    assert (vessel["batch"]["lot"], vessel["batch"]["cysts_g"]) == ("tin-6", 3.5)
    page.locator("form.undo button").tap()
    expect(page.locator(".flash.noted")).to_contain_text("Undone: ")
    expect(page).to_have_url(re.compile("/food$"))
    page.get_by_role("button", name="Not now, cedar").tap()
    expect(page.locator(".flash.noted")).to_contain_text("Noted: not cedar now.")
    expect(page.locator(".due")).to_have_count(0)
    assert [type(command) for command in desk.done] == [Start, Undo, SkipStart]


@pytest.mark.browser
def test_the_bench_leads_to_it(kitchen: Served, open_page: OpenPage) -> None:
    """One line at the top of the bench says what food asks for, and leads to the page."""
    page = open_page(kitchen, "/", **PHONE)
    page.get_by_role("link", name="Food: start 3.5 g of tin-8 in cedar before 06:55").tap()
    expect(page.get_by_role("button", name="Start cedar now")).to_be_visible()


def test_a_feeding_noted_from_here_leads_back_here(kitchen: Served) -> None:
    """Noted or undone from this page one is on it again and told so; any other address in the link leads to the bench."""
    undo = {"kind": "fed", "subject": "killi-3", "at": "2026-03-02T01:05:00Z"}
    meal = {"who-0": "killi-3", "nauplii-0": "20 000", "source": "", "when": "now"}
    with kitchen.client(token=False) as client:
        page = client.get("/food").text
        assert 'href="/feed?back=food"' in page
        token = client.get("/feed?back=food").text.partition('name="csrf" value="')[2].partition('"')[0]
        ways = {"?back=food": "/food", "": "/", "?back=//evil.example": "/", "?back=%2Flogout": "/"}
        for query, leads in ways.items():
            for path, fields in (("/feed", meal), ("/undo", undo)):
                answer = client.post(f"{path}{query}", data={"csrf": token, **fields})
                assert (answer.status_code, answer.headers["location"]) == (303, leads)
        client.post("/feed?back=food", data={"csrf": token, **meal})
        assert "Noted: 20 000 to killi-3." in client.get("/food").text.replace("\N{NO-BREAK SPACE}", " ")
    assert len(kitchen.desk.done) == 9


def test_a_harvest_that_a_start_waits_for_leads_back_here(kitchen: Served) -> None:
    """The address is kept in every form of the batch's page; another leads to the bench."""
    batch = "/batches/birch-2026-03-01"
    with kitchen.client(token=False) as client:
        page = client.get(f"{batch}?back=food").text
        token = page.partition('name="csrf" value="')[2].partition('"')[0]
        for form in ("seen", "harvest", "discard"):
            assert f'action="{batch}/{form}?back=food"' in page
        assert f'formaction="{batch}/harvest?back=food#harvest-answer"' in page
        assert f'action="{batch}/harvest"' in client.get(f"{batch}?back=//evil.example").text
        for address, leads in {"seen": "/", "seen?back=food": "/food", "harvest?back=food": "/food"}.items():
            fields = {"csrf": token, "page": "batch", "what": "first", "when": "now"}
            answer = client.post(f"{batch}/{address}", data=fields)
            assert (answer.status_code, answer.headers["location"]) == (303, leads)


def test_what_is_drawn_stands_in_a_table_too(kitchen: Served) -> None:
    """Each feeding time of the picture has its line with the same numbers, and a short one says so in words."""
    with kitchen.client(token=False) as client:
        text = client.get("/food").text.replace("\N{NO-BREAK SPACE}", " ")
    assert text.count('<th scope="row">') == food_example.SHOWN
    assert "<td>29 000</td><td>60 000 (36 000 to 78 000)</td>" in text
    assert "<b>1 chance in 25</b>" in text
    assert 'class="short-word"' in text
    assert "style=" not in text
    assert "<script" not in text


def test_a_vessel_that_is_not_free_is_to_be_harvested_first(serve: Callable[..., Served]) -> None:
    """No button starts a batch where one is; the way to its harvest stands there instead, and the core has the last word."""
    bench = bad_night()
    bench["vessels"][2]["batch"] = a_batch("cedar")
    desk = MemoryDesk(bench)
    desk.larder = food_example.food()
    served = serve(desk)
    with served.client(token=False) as client:
        text = client.get("/food").text
        assert "cedar still holds cedar-2026-03-01. Harvest it first." in text
        assert "Start cedar now" not in text
        token = text.partition('name="csrf" value="')[2].partition('"')[0]
        answer = client.post("/food/starts/cedar-tin-8-0302-02/start", data={"csrf": token})
    assert answer.status_code == 409
    assert "Harvest or discard it first" in answer.text


def test_a_start_that_the_plan_dropped_is_refused(kitchen: Served) -> None:
    """Whoever taps on an old page is told that the plan has changed, and nothing is started; no form works without its token."""
    with kitchen.client(token=False) as client:
        token = client.get("/food").text.partition('name="csrf" value="')[2].partition('"')[0]
        answer = client.post("/food/starts/no-such/start", data={"csrf": token})
        assert answer.status_code == 404
        assert "The plan has changed" in answer.text
        assert client.post("/food/starts/cedar-tin-8-0302-02/start").status_code == 403
    assert kitchen.desk.done == []


@pytest.mark.parametrize(
    ("larder", "told"),
    [
        ({}, "The first look ahead is not there yet"),
        (food_example.nothing(), 'href="/broods/new"'),
        (food_example.switched_off(), "No plan is made"),
        (food_example.troubled(), "planning took longer than 20 s and was stopped"),
        (food_example.too_late(), "With a heater (25 C) in cedar it would be in time."),
    ],
)
def test_every_state_has_its_words(serve: Callable[..., Served], larder: dict[str, Any], told: str) -> None:
    """Nothing yet, nobody to feed, switched off, failed, too late: the page opens and says so."""
    with serve(fed(larder)).client(token=False) as client:
        answer = client.get("/food")
    assert answer.status_code == 200
    assert told in answer.text.replace("\N{NO-BREAK SPACE}", " ")


def test_a_viewer_sees_the_plan_and_no_button(serve: Callable[..., Served], tmp_path: Path) -> None:
    """Who looks on reads all of it and finds nothing to press, nor any page that only takes notes."""
    keeper, viewer = tmp_path / "page.password", tmp_path / "viewer.password"
    write_password(keeper, "brine shrimp at dawn")
    write_password(viewer, "guests look in here")
    served = serve(fed(food_example.food()), password_hash_file=keeper, viewer_hash_file=viewer)
    with served.client(token=False) as client:
        log_in(client, "guests look in here")
        text = client.get("/food").text
        assert "Start 3.5" in text
        assert 'action="/food' not in text
        assert 'href="/feed"' not in text
        token = text.partition('name="csrf" value="')[2].partition('"')[0]
        assert client.post("/food/starts/cedar-tin-8-0302-02/start", data={"csrf": token}).status_code == 403
    assert served.desk.done == []


def test_it_weighs_little(kitchen: Served) -> None:
    """The page and its style stay under 40 kB on the wire."""
    with kitchen.client(token=False) as client:
        page = client.get("/food")
        paths = {part.partition('"')[0] for part in page.text.split('href="')[1:] if part.startswith("/static/")}
        size = 0
        for path in ("/food", *(path for path in paths if path.endswith(".css"))):
            with client.stream("GET", path) as answer:
                size += sum(len(part) for part in answer.iter_raw())
    assert len(paths) >= 3
    assert size < HEAVIEST
