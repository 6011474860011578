"""The page of rooms, the same for programs, and the command; whatever was published at the broker."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from monitor.cli.rooms import described
from monitor.core.model import HOUR, MINUTE, SECOND
from monitor.core.rooms import Rooms
from monitor.core.summary import summary
from monitor.intake.room_news import read_summary, write_summary
from monitor.web.rooms_view import RoomView, make_rooms
from tests.adapters.web.described import faults
from tests.adapters.web.memory_desk import NOW, MemoryDesk, a_content, a_store, an_alarm, bad_night

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

HOSTILE = "</li><script>alert(1)</script><img src=x onerror=alert(2)>"


def tells(rooms: Rooms, site: str, ago: int = 0, page: str = "", **changes: Any) -> None:
    """A room writes its summary, and it is read as it would be from the broker: a calm night unless ``changes`` says else."""
    bench = bad_night() | {"site": site, "alarms": [], **changes}
    text = write_summary(summary(bench), "bbbbbbbb", NOW - ago, MINUTE, page)
    rooms.status(site, "up")
    rooms.news(read_summary(site, text.encode()), NOW - ago, live=True)


def other_rooms() -> Rooms:
    """Four of all kinds."""
    rooms = Rooms("shed", "aaaaaaaa", NOW - 9 * HOUR, ("attic", "barn", "cellar", "loft"))
    tells(rooms, "attic", 20 * SECOND, "https://attic.home.arpa:8417", stores=[a_store("fridge", a_content())])
    tells(rooms, "barn", 140 * SECOND, alarms=[an_alarm("cold-snap", "elm", "medium", 12, title="elm is cold")])
    tells(rooms, "cellar", 3 * HOUR)
    rooms.status("cellar", "lost")
    return rooms


def house() -> MemoryDesk:
    """Our shed, whose air has stopped in birch, and the others."""
    desk = MemoryDesk()
    desk.neighbours = other_rooms()
    return desk


def views(desk: MemoryDesk) -> dict[str, RoomView]:
    return {room.site: room for room in make_rooms(desk.rooms()).rooms}


def test_what_needs_somebody_comes_first_and_what_is_not_heard_before_what_can_wait() -> None:
    """Our own and the others in one order: act now, not heard, act soon, calm."""
    view = make_rooms(house().rooms())
    assert [room.site for room in view.rooms] == ["shed", "cellar", "loft", "barn", "attic"]
    assert (view.headline, view.mark) == ("Act now in shed", "high")
    told = views(house())
    assert (told["shed"].head, told["shed"].text) == (
        "Act now: Air stopped in birch",
        "Since today 02:04. 1 more alarm there.",
    )
    assert (told["cellar"].head, told["cellar"].as_of) == ("Not heard since Sun 23:10", "As it was Sun 23:10")
    assert told["loft"].head == "Nothing was heard of it yet"
    assert (told["barn"].head, told["barn"].heard) == ("Act soon: elm is cold", "Heard 2 min ago")
    assert (told["attic"].head, told["attic"].heard) == ("Nothing needs you", "Heard just now")


def test_a_card_says_what_is_ready_next_and_what_is_kept_cold() -> None:
    """The batch that is ready first is told first; empty vessels take one line."""
    attic = views(house())["attic"]
    assert [(line.name, line.main, line.more) for line in attic.lines] == [
        ("birch", "ready to harvest", "26.4 °C, air stopped"),
        ("ash", "ready today 05:15 to 09:05", "24.1 °C, air running"),
        ("fridge", "200 000 young brine shrimp, good until about Tue 16:10", "4.3 °C"),
    ]
    assert attic.rest == "Empty: cedar"


@pytest.mark.parametrize(
    ("rooms", "said"),
    [
        (
            {"problem": "No link to our own broker: it hung up."},
            "it hung up. What you see of other rooms is from before.",
        ),
        ({"doubled": True}, "Another monitor calls itself shed as well"),
        ({"beyond": 3}, "More rooms are heard than can be shown."),
    ],
)
def test_what_is_wrong_with_the_hearing_is_said(rooms: dict[str, Any], said: str) -> None:
    """No link, a name used twice, more rooms than have a place."""
    (notice,) = make_rooms(house().rooms() | rooms).notices
    assert said in notice


def test_the_api_tells_it_as_described_and_the_command_prints_it(serve: Callable[..., Served]) -> None:
    """Every state of a room answers to the description; the command says the same words as the page."""
    desk = house()
    assert desk.neighbours is not None
    desk.neighbours.unreadable("loft", "it is no JSON")
    served = serve(desk, rooms=True)
    with served.client() as client:
        answer = client.get("/api/v1/rooms")
    assert faults(answer, "/rooms") == []
    told = answer.json()
    assert [(room["site"], room["state"]) for room in told["rooms"]] == [
        ("shed", "here"),
        ("attic", "heard"),
        ("barn", "heard"),
        ("cellar", "lost"),
        ("loft", "unreadable"),
    ]
    lines = described(make_rooms(told))
    assert lines[0] == "02:10: Act now in shed."
    assert "! cellar: Not heard since Sun 23:10" in lines
    assert "  ash: ready today 05:15 to 09:05; 24.1 °C, air running" in lines
    assert "  Heard just now; https://attic.home.arpa:8417" in lines


def test_the_command_asks_the_daemon(serve: Callable[..., Served], tmp_path: Any) -> None:
    """``swimup rooms`` for people, ``--json`` for programs."""
    served = serve(house(), rooms=True)
    config = tmp_path / "swimup.toml"
    config.write_text(
        '[site]\nid = "shed"\ntimezone = "Europe/Berlin"\nfeeding_times = ["07:00"]\n'
        f'[store]\npath = "{tmp_path / "state" / "shed.sqlite3"}"\n[web]\nport = {served.server.port}\n'
        '[[vessel]]\nid = "ash"\nlitres = 1.5\n'
    )
    from monitor.cli import swimup

    runner = CliRunner(env={"SWIMUP_CONFIG": str(config)})
    assert "Act now in shed" in runner.invoke(swimup, ["rooms"]).output
    assert len(json.loads(runner.invoke(swimup, ["rooms", "--json"]).output)["rooms"]) == 5


def test_whatever_a_stranger_publishes_is_text_on_the_page(serve: Callable[..., Served]) -> None:
    """Markup in a title is shown as letters, a script is no address, and no name of a room can hold either."""
    desk = MemoryDesk()
    desk.neighbours = Rooms("shed", "aaaaaaaa", NOW - HOUR)
    alarms = [an_alarm("cold-snap", HOSTILE, "high", 3, title=HOSTILE)]
    tells(desk.neighbours, "attic", page="javascript:alert(3)", alarms=alarms)
    with serve(desk, rooms=True).client(token=False) as client:
        page = client.get("/rooms").text
    assert "&lt;script&gt;alert(1)" in page
    assert "<script>alert" not in page
    assert "onerror=alert" not in page.replace("&lt;img src=x onerror=alert(2)&gt;", "")
    assert "javascript:" not in page


def test_a_monitor_that_shows_no_others_says_how_to(serve: Callable[..., Served]) -> None:
    """Its own room is there; the way to the page comes with the option."""
    with serve().client(token=False) as client:
        alone, bench = client.get("/rooms").text, client.get("/").text
    assert "Only this room is shown" in alone
    assert 'href="/rooms"' not in bench
    with serve(house(), rooms=True).client(token=False) as client:
        assert 'href="/rooms"' in client.get("/").text


@pytest.mark.browser
def test_the_page_keeps_itself_fresh_and_fits_a_small_phone(
    serve: Callable[..., Served], open_page: Callable[..., Page]
) -> None:
    """A room that falls silent is seen without loading anew, a lost link is said, the focus stays; at 320 px nothing is wider
    than the screen, and every link is big enough to touch."""
    desk = house()
    page = open_page(serve(desk, rooms=True), "/rooms", viewport={"width": 320, "height": 640})
    assert page.evaluate("document.documentElement.scrollWidth") == 320
    for link in page.locator("main a").all():
        box = link.bounding_box()
        assert box is not None
        assert box["height"] >= 24
    page.locator("#page-attic").focus()
    assert desk.neighbours is not None
    desk.neighbours.status("barn", "stopped")
    page.evaluate("window.unchanged = true")
    page.evaluate("dispatchEvent(new Event('online'))")  # else it looks every 15 s
    page.get_by_text("Stopped; last heard").wait_for()
    page.evaluate("dispatchEvent(new Event('offline'))")
    assert page.locator("#cut").inner_text() == "Disconnected since 02:10. What you see is from then."
    page.evaluate("dispatchEvent(new Event('online'))")
    page.locator("#cut").wait_for(state="hidden")
    assert page.evaluate("window.unchanged")
    assert page.evaluate("document.activeElement.id") == "page-attic"


@pytest.mark.browser
def test_without_a_script_the_page_is_whole_and_fetches_itself(
    serve: Callable[..., Served], open_page: Callable[..., Page]
) -> None:
    """All cards are in the first answer, and the page says how old it is."""
    page = open_page(serve(house(), rooms=True), "/rooms", java_script_enabled=False)
    assert page.locator(".room").count() == 5
    assert "As of 02:10. This page fetches itself anew each minute." in page.locator("noscript").all_inner_texts()
    assert page.locator('noscript > meta[http-equiv="refresh"]').count() == 1
