"""A keeper's round at the bench, by thumb, in a real browser, with the real core deciding."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import expect

from monitor.core.log import Discard, Harvest, Seen, Sight, Start, Undo, Work
from monitor.core.model import HOUR, MINUTE, Acknowledge, AlarmState
from tests.adapters.web.core_desk import CoreDesk
from tests.unit.core.worlds import Shed, slow_site

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]

pytestmark = pytest.mark.browser
PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "has_touch": True}


def in_the_morning() -> Shed:
    """Ash is ready, birch is about to hatch, cedar is empty after its first batch; birch's air stands still."""
    shed = Shed(slow_site("ash", "birch", "cedar"))
    for vessel in ("ash", "birch", "cedar"):
        shed.remember(f"{vessel}-water", 30, lambda _: 27.0)
        shed.say(f"{vessel}-water", 27.0)
        shed.say(f"{vessel}-air", True)
    for vessel, hours, lot in (("cedar", 40, "tin-6"), ("ash", 24, "tin-7"), ("birch", 13, "tin-7")):
        began = shed.now - hours * HOUR
        shed.do(Start(began, began, f"{vessel}-1", vessel, lot, 2.0, 1.0, 25.0))
    shed.do(Harvest(shed.now - HOUR, shed.now - HOUR, "cedar-1"))
    go_on(shed, "birch")
    return shed


def go_on(shed: Shed, *still: str) -> None:
    """For seventeen minutes; the air of those named stands still."""
    for _ in range(3):
        shed.wait(5 * MINUTE)
        for vessel in ("ash", "birch", "cedar"):
            shed.say(f"{vessel}-water", 27.0)
            shed.say(f"{vessel}-air", vessel not in still)
    shed.wait(2 * MINUTE)


@pytest.fixture
def desk() -> CoreDesk:
    return CoreDesk(in_the_morning())


@pytest.fixture
def bench(serve: Callable[..., Served], desk: CoreDesk) -> Served:
    return serve(desk)


def noted(page: Page, said: str) -> None:
    expect(page.locator(".flash.noted")).to_contain_text(said)


def test_a_round_at_the_bench(bench: Served, desk: CoreDesk, open_page: OpenPage) -> None:
    """What needs the keeper is acknowledged, looked at, harvested, undone, thrown away and begun again, each by a tap or two."""
    page = open_page(bench, **PHONE)
    needs = page.locator("#needs > ol > li")
    alarms = page.locator("#needs .alarm")
    while alarms.count():
        first = alarms.first
        title = first.locator("h3").inner_text()
        first.get_by_role("button", name="Acknowledge").tap()
        noted(page, "Acknowledged.")
        expect(alarms.filter(has_text=title)).to_have_count(0)
    assert {alarm.state for alarm in desk.shed.engine.alarms()} == {AlarmState.ACKNOWLEDGED}
    assert any(isinstance(done, Acknowledge) for done in desk.done)
    expect(needs.locator("h3")).to_have_text(["Harvest ash", "Look into birch"])
    expect(page.locator(".headline")).to_have_text("2 things to do")

    needs.nth(1).get_by_role("button", name="I see the first ones in birch").tap()
    noted(page, "birch-1: the first few swim")
    expect(needs.locator("h3")).to_have_text(["Harvest ash"])
    expect(page.locator("#vessel-1 form.first")).to_have_count(0)

    needs.first.locator("summary").tap()
    needs.first.get_by_role("button", name="Yes, harvested").tap()
    noted(page, "ash-1 is harvested")
    expect(page.locator("#vessel-0 .stage")).to_have_text("empty")
    page.locator("form.undo button").tap()
    noted(page, "Undone: harvest of ash-1")
    expect(page.locator("#vessel-0 .stage")).to_have_text("ready to harvest")

    page.locator("#vessel-0").get_by_text("Throw away").tap()
    page.locator("#vessel-0").get_by_role("button", name="Smelt bad").tap()
    noted(page, "ash-1 is thrown away")
    expect(needs).to_have_count(0)
    expect(page.locator(".headline")).to_have_text("Nothing new needs you")
    expect(page.locator(".next-up")).to_contain_text("Next: birch, about")

    page.locator("#vessel-0 summary", has_text="Start again: 2 g tin-7, 1 L, 25 g/L").tap()
    page.locator("#vessel-0").get_by_role("button", name="Yes, start ash now").tap()
    expect(page.locator("#vessel-0 .stage")).to_have_text("soaking")

    page.locator("#vessel-2").get_by_role("link", name="Start with changes").tap()
    expect(page.get_by_label("Tin")).to_have_value("tin-6")
    page.get_by_label("Cysts").fill("1.5 g")
    page.get_by_text("Water, salt, time").tap()
    page.get_by_label("When").fill("20 min ago")
    page.get_by_role("button", name="Start").tap()
    expect(page.locator("#vessel-2 .stage")).to_have_text("soaking")
    done = [command for command in desk.done if not isinstance(command, Acknowledge)]
    assert [type(command) for command in done] == [Seen, Harvest, Undo, Discard, Start, Start]
    assert [command.what for command in done if isinstance(command, Seen)] == [Sight.FIRST]
    assert [command.reason for command in done if isinstance(command, Discard)] == ["smelt bad"]
    again, changed = (command for command in done if isinstance(command, Start))
    assert (again.lot, again.cysts_g, again.litres, again.salinity_g_l) == ("tin-7", 2.0, 1.0, 25.0)
    assert (changed.lot, changed.cysts_g, changed.litres) == ("tin-6", 1.5, 1.0)
    assert changed.time == changed.logged - 20 * MINUTE


def test_an_alarm_that_asks_for_a_harvest_takes_it(bench: Served, desk: CoreDesk, open_page: OpenPage) -> None:
    """Who has harvested says so where it was asked for; then the alarm is over, and nobody has to acknowledge it."""
    page = open_page(bench, **PHONE)
    ready = page.locator("#needs .alarm", has_text="ash is ready to harvest")
    ready.locator("summary").tap()
    ready.get_by_role("button", name="Yes, harvested").tap()
    noted(page, "ash-1 is harvested")
    expect(ready).to_have_count(0)
    assert [type(command) for command in desk.done] == [Harvest]


def test_work_that_runs_out_is_asked_for(bench: Served, desk: CoreDesk, open_page: OpenPage) -> None:
    """Five minutes before work ends one tap makes it longer."""
    shed = desk.shed
    shed.do(Work(shed.now, shed.now, "cedar", shed.now + 4 * MINUTE))
    desk.renew()
    page = open_page(bench, **PHONE)
    need = page.locator("#needs .need", has_text="Work on cedar ends in 4 min")
    need.get_by_role("button", name="30 min from now").tap()
    noted(page, "you work on cedar until")
    expect(need).to_have_count(0)


def test_what_comes_in_does_not_move_what_is_under_the_thumb(
    bench: Served, desk: CoreDesk, open_page: OpenPage
) -> None:
    """An alarm that comes up at the top of the page leaves the vessel the keeper looks at where it is on the screen."""
    page = open_page(bench, **PHONE)
    button = page.locator("#vessel-1").get_by_role("button", name="I see the first ones")
    button.scroll_into_view_if_needed()
    alarms = page.locator("#needs .alarm")
    expect(alarms).to_have_count(2)
    before, scrolled = button.bounding_box(), page.evaluate("scrollY")
    go_on(desk.shed, "ash", "birch")
    desk.renew()
    expect(alarms).to_have_count(3)
    assert page.evaluate("scrollY") > scrolled + 100
    after = button.bounding_box()
    assert before is not None
    assert after is not None
    assert abs(after["y"] - before["y"]) < 2
