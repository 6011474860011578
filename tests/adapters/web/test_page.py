from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import expect

from monitor.core.log import Discard, Harvest, Seen, Settle, Sight, Start
from monitor.core.model import MINUTE, Acknowledge
from tests.adapters.web.memory_desk import NOW, MemoryDesk, a_batch, an_alarm, bad_night
from tests.adapters.web.until import shown_in

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]

pytestmark = pytest.mark.browser
with_and_without_script = pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
EVIL = """"><script>alert(1)</script><img src=x onerror=alert(2)>'--></title>"""


@with_and_without_script
def test_acknowledging_takes_one_tap(served: Served, open_page: OpenPage, script: bool) -> None:
    """The gravest alarm stands first, and one tap says that somebody is on the way."""
    page = open_page(served, java_script_enabled=script)
    expect(page.locator(".headline")).to_have_text("Act now: 2 alarms")
    first = page.locator(".alarm").first
    expect(first).to_contain_text("Air stopped in birch")
    first.get_by_role("button", name="Acknowledge").click()
    expect(page.locator(".flash")).to_have_text("Acknowledged.")
    expect(page.locator(".headline")).to_have_text("When you can: 1 alarm")
    assert served.desk.done == [Acknowledge(NOW, "air-stopped:birch", "page")]


@with_and_without_script
def test_settling_takes_one_tap(served: Served, open_page: OpenPage, script: bool) -> None:
    """Air off on purpose is said with one tap and shows until when."""
    page = open_page(served, java_script_enabled=script)
    page.locator("#vessel-1").get_by_role("button", name="Settling, 15 min, birch").click()
    expect(page.locator("#vessel-1 .settling")).to_have_text("settling until 02:25")
    assert served.desk.done == [Settle(NOW, NOW, "birch", NOW + 15 * MINUTE)]


def test_weak_air_is_a_word_and_a_mark(served: Served, open_page: OpenPage) -> None:
    """Running, weak and stopped air are told apart by words and by shapes, so that nobody needs to see colours."""
    served.desk._bench["vessels"][0]["air"]["value"] = "weak"
    served.desk._bench["vessels"][2]["air"] = {**served.desk._bench["vessels"][1]["air"], "value": "running"}
    page = open_page(served)
    expect(page.locator("#vessel-0 .air-weak b")).to_have_text("weak")
    marks = [page.locator(f"#vessel-{n} .air svg").inner_html() for n in range(3)]
    bubbles = [page.locator(f"#vessel-{n} .cone .bubbles circle").count() for n in range(3)]
    assert len(set(marks)) == 3
    assert bubbles[1] == 0 < bubbles[0] < bubbles[2]


@with_and_without_script
def test_harvesting_takes_two_taps_and_never_one(served: Served, open_page: OpenPage, script: bool) -> None:
    """A thumb that slips does not end a batch."""
    page = open_page(served, java_script_enabled=script)
    birch = page.locator("#vessel-1")
    expect(birch.get_by_role("button", name="Yes, harvested")).to_be_hidden()
    birch.locator("summary", has_text="Harvested").click()
    assert served.desk.done == []
    birch.get_by_role("button", name="Yes, harvested").click()
    expect(birch.locator(".stage")).to_have_text("empty")
    assert served.desk.done == [Harvest(NOW, NOW, "birch-2026-03-01")]


@with_and_without_script
def test_what_the_keeper_sees_takes_two_taps(served: Served, open_page: OpenPage, script: bool) -> None:
    """Looking into a vessel is told to the service from the bench itself."""
    page = open_page(served, java_script_enabled=script)
    page.locator("#vessel-0 summary", has_text="I see").click()
    page.locator("#vessel-0").get_by_role("button", name="Some swim").click()
    expect(page.locator("#vessel-0")).to_contain_text("You saw: some.")
    assert served.desk.done == [Seen(NOW, NOW, "ash-2026-03-01", Sight.SOME)]


@with_and_without_script
def test_starting_a_batch_reads_units_and_keeps_what_was_typed_when_it_cannot(
    served: Served, open_page: OpenPage, script: bool
) -> None:
    """A mistake in one field loses none of the others."""
    page = open_page(served, java_script_enabled=script)
    page.locator("#vessel-2").get_by_role("link", name="Start a batch").click()
    page.get_by_label("Cysts").fill("2 tsp")
    page.locator("summary", has_text="Water, salt, time").click()
    page.get_by_label("Water").fill("0.25 gal")
    page.get_by_label("When").fill("01:40")
    page.get_by_role("button", name="Start").click()
    expect(page.get_by_role("alert")).to_contain_text("weigh it")
    expect(page.get_by_label("Water")).to_have_value("0.25 gal")
    page.get_by_label("Cysts").fill("1500 mg")
    page.get_by_role("button", name="Start").click()
    expect(page.locator("#vessel-2 .stage")).to_have_text("soaking")
    (start,) = served.desk.done
    assert isinstance(start, Start)
    assert (start.vessel, start.lot, start.cysts_g, start.salinity_g_l) == ("cedar", "tin-7", 1.5, 25.0)
    assert start.litres == pytest.approx(0.9464, abs=1e-4)
    assert start.time == NOW - 30 * MINUTE


def test_counts_and_reasons_are_given_on_the_page_of_the_batch(served: Served, open_page: OpenPage) -> None:
    """What takes more words than a tap has its own page, for the past as well."""
    page = open_page(served)
    page.locator("#vessel-0").get_by_role("link", name="More").click()
    seen = page.locator("form", has_text="I see")
    seen.get_by_label("What").select_option("most")
    seen.get_by_label("Counted share").fill("60 %")
    seen.get_by_label("When").fill("20 min ago")
    seen.get_by_role("button", name="Note it").click()
    expect(page.locator(".flash")).to_contain_text("most swim")
    page.goto(served.url + "/batches/ash-2026-03-01")
    thrown = page.locator("form", has_text="Thrown away")
    thrown.get_by_label("Why").select_option("smelt bad")
    thrown.get_by_label("In your words").fill("like eggs")
    thrown.get_by_role("button").click()
    expect(page.locator("#vessel-0 .stage")).to_have_text("empty")
    assert served.desk.done == [
        Seen(NOW - 20 * MINUTE, NOW, "ash-2026-03-01", Sight.MOST, 0.6),
        Discard(NOW, NOW, "ash-2026-03-01", "smelt bad: like eggs"),
    ]


def test_a_refusal_is_told_where_the_keeper_is(served: Served, open_page: OpenPage) -> None:
    """What the bench refuses is said in its own words, and nothing pretends to have worked."""
    page = open_page(served)
    page.locator("#vessel-1 summary", has_text="Harvested").click()
    served.desk._bench["vessels"][1]["batch"] = None
    page.locator("#vessel-1").get_by_role("button", name="Yes, harvested").click()
    expect(page.locator(".flash.refused")).to_contain_text("no open batch")


def test_a_new_view_shows_by_itself_and_leaves_an_open_question_open(
    served: Served, open_page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Live numbers wait for no sign of life of the stream, and never take the button from under the thumb."""
    monkeypatch.setattr("monitor.web.live.HEARTBEAT", 600.0)
    page = open_page(served)
    birch = page.locator("#vessel-1")
    birch.locator("summary", has_text="Harvested").click()
    birch.get_by_role("button", name="Yes, harvested").focus()
    page.wait_for_timeout(600)

    def warmer(bench: dict[str, Any]) -> None:
        bench["vessels"][1]["water"]["value"] = 27.3
        bench["vessels"][1]["batch"]["note"] = "It is getting warm."
        bench["alarms"].append(an_alarm("hot", "birch", "high", 1, title="birch is too hot", text="t", todo="Look."))

    served.desk.publish(warmer)
    expect(birch).to_contain_text("27.3")
    expect(page.locator(".headline")).to_have_text("Act now: 3 alarms")
    expect(page).to_have_title("(3) shed")
    expect(birch.get_by_role("button", name="Yes, harvested")).to_be_focused()
    birch.get_by_role("button", name="Yes, harvested").click()
    expect(birch.locator(".stage")).to_have_text("empty")


def test_forms_that_came_live_act_as_well(served: Served, open_page: OpenPage) -> None:
    """An alarm that arrives while the page is open can be acknowledged on it."""
    page = open_page(served)
    expect(page.locator(".alarm")).to_have_count(3)
    served.desk.publish(lambda bench: bench["alarms"].append(an_alarm("hot", "ash", "high", 1, title="ash is too hot")))
    alarm = page.locator(".alarm", has_text="ash is too hot")
    alarm.get_by_role("button", name="Acknowledge").click()
    expect(page.locator(".flash")).to_have_text("Acknowledged.")
    assert served.desk.done == [Acknowledge(NOW, "hot:ash", "page")]


def test_a_page_that_lost_its_daemon_says_since_when_and_tells_every_age(serve: Any, open_page: OpenPage) -> None:
    """Old numbers are never shown as new ones."""
    served = serve()
    page = open_page(served)
    water = page.locator("#vessel-0 .number").first
    expect(water).to_have_text("24.1 °C ")
    served.server.stop(10)
    expect(page.locator("#cut")).to_have_text("Disconnected since 02:10. What you see is from then.")
    expect(water).to_contain_text(re.compile(r"24\.1 °C \d+ s old"))
    assert water.locator("b").evaluate("each => getComputedStyle(each).fontWeight") == "400"


def test_a_page_that_slept_knows_it_and_recovers(served: Served, open_page: OpenPage) -> None:
    """After an hour asleep the page says so by its own clock, until it hears from the daemon again."""
    page = open_page(served)
    expect(page.locator(".alarm")).to_have_count(3)
    page.route("**/events?*", lambda route: route.abort())
    page.evaluate("""() => {
        const real = Date.now; Date.now = () => real() + 3600e3;
        document.dispatchEvent(new Event('visibilitychange'));
    }""")
    water = page.locator("#vessel-0 .number").first
    expect(page.locator("#cut")).to_be_visible()
    expect(water).to_contain_text("1 h old")
    page.unroute("**/events?*")
    expect(page.locator("#cut")).to_be_hidden()
    expect(water).to_have_text(re.compile(r"^24\.1 °C\s*$"))


def test_a_fresh_number_ages_while_the_page_is_open(served: Served, open_page: OpenPage) -> None:
    """Under simulated time the page's own clock runs as fast as the daemon's."""
    served.desk.publish(lambda bench: bench.update(simulated={"speed": 600}))
    page = open_page(served)
    expect(page.locator(".badge")).to_have_text("Simulated time, 600 times as fast")
    expect(page.locator("#vessel-0 .number").first).to_contain_text(re.compile(r"\d+ min old"))


@with_and_without_script
def test_names_and_texts_from_elsewhere_are_never_markup(
    serve: Callable[..., Served], open_page: OpenPage, script: bool
) -> None:
    """A hostile probe, tin or alarm text is shown as text and acts as none."""
    bench = bad_night()
    bench["site"] = EVIL
    bench["vessels"][0].update(id=EVIL, batch=a_batch("ash", id=EVIL, lot=EVIL, strain=EVIL, note=EVIL, stage=EVIL))
    bench["vessels"][0]["water"].update(probe=EVIL, quality=EVIL)
    bench["room"][0]["probe"] = EVIL
    bench["lots"] = [{"id": EVIL, "strain": EVIL}]
    bench["alarms"] = [an_alarm(EVIL, EVIL, EVIL, 1, id=EVIL, title=EVIL, text=EVIL, todo=EVIL)]
    served = serve(MemoryDesk(bench))
    page = open_page(served, java_script_enabled=script)
    expect(page.locator(".alarm h3")).to_have_text(EVIL)
    expect(page.locator("#vessel-0 h2")).to_contain_text(EVIL)
    served.desk.publish(lambda bench: bench["alarms"][0].update(text=EVIL + "!"))
    if script:
        expect(page.locator(".alarm .text")).to_have_text(EVIL + "!")
    assert page.locator("img, body script").count() == 0
    page.locator(".alarm button").click()
    expect(page.locator(".flash")).to_have_text("Acknowledged.")
    assert served.desk.done == [Acknowledge(NOW, EVIL, "page")]
    page.goto(served.url + "/vessels/cedar/start")
    expect(page.get_by_label("Tin")).to_have_value(EVIL)
    assert page.locator("img, body script").count() == 0


def test_without_a_script_the_page_fetches_itself(served: Served) -> None:
    """A browser without a script still shows the time of its numbers and gets new ones."""
    with served.client() as client:
        without = re.findall(r"<noscript>(.*?)</noscript>", client.get("/").text)
    assert without[0] == '<meta http-equiv="refresh" content="60">'
    assert "As of 02:10." in without[1]


@pytest.mark.parametrize("path", ["/", "/vessels/cedar/start", "/batches/ash-2026-03-01"])
def test_the_page_fits_and_its_buttons_are_large_enough(served: Served, open_page: OpenPage, path: str) -> None:
    """Nothing runs out sideways from 320 px on; targets are 24 px at least, and 48 px for what is done at the bench."""
    page = open_page(served, path)
    for width, _ in shown_in(page, (320, 390, 1280)):
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        for target in page.locator("button:visible, a.button:visible, .actions summary:visible, input:visible").all():
            box = target.bounding_box()
            assert box is not None
            assert min(box["height"], box["width"]) >= 48
        for target in page.locator("summary:visible, a:visible").all():
            box = target.bounding_box()
            assert box is not None
            assert box["height"] >= 24


def test_the_drawing_has_words_and_a_table_beside_it(served: Served, open_page: OpenPage) -> None:
    """Who cannot see the band hears it, and can read it as a table."""
    page = open_page(served)
    band = page.locator("#vessel-0 .band")
    expect(band).to_have_accessible_name("When it will be ready, over the next 9 hours")
    expect(band).to_have_accessible_description(
        "Ready today 05:15 to 09:05, most likely about today 06:45. Feeding times: today 07:00."
    )
    page.locator("#vessel-0 .table summary").click()
    expect(page.locator("#vessel-0 tbody tr").last).to_have_text("Ready to harvesttoday 05:15today 06:45today 09:05")
