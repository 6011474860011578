"""Food and its plan in the API, at the command line and in the calendar."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner
from icalendar import Calendar

from monitor.cli import swimup
from monitor.core.food import SkipStart
from monitor.core.log import Start
from monitor.core.model import HOUR
from monitor.web.calendar import calendar
from monitor.web.links import Links
from monitor.web.plan_answers import Food
from monitor.web.when import rfc3339
from tests.adapters.web import food_example as example
from tests.adapters.web.conftest import CONFIG
from tests.adapters.web.memory_desk import NOW, MemoryDesk, an_alarm

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.adapters.web.conftest import Served

    Serve = Callable[..., Served]

PLANNED = example.a_planned_start()


class FoodDesk(MemoryDesk):
    """With food for the shed."""

    def __init__(self) -> None:
        super().__init__()
        self.larder = example.food()


@pytest.fixture
def shed(serve: Serve) -> Served:
    return serve(FoodDesk())


# -- the API


@pytest.mark.parametrize(
    "document",
    [
        example.food(),
        example.nothing(),
        example.troubled(),
        example.too_late(),
        example.unpriced(),
        example.switched_off(),
    ],
    ids=["food", "nothing", "troubled", "too-late", "unpriced", "off"],
)
def test_the_example_is_what_the_api_promises(document: dict[str, Any]) -> None:
    """What pages are built on has the shape that the description tells, no key more and none less."""
    assert Food.model_validate(document).model_dump() == document


def test_food_is_told_and_asked_for_again_cheaply(shed: Served) -> None:
    """The document goes out as it is, and whoever has the newest is told so."""
    with shed.client() as client:
        first = client.get("/api/v1/food")
        again = client.get("/api/v1/food", headers={"If-None-Match": first.headers["etag"]})
    assert first.json() == example.food()
    assert again.status_code == 304


def test_a_planned_start_is_made_with_the_planned_values(shed: Served) -> None:
    """Nothing needs to be typed: vessel, tin, grams, water and salt are those of the plan."""
    with shed.client() as client:
        answer = client.post(f"/api/v1/plan/{PLANNED['id']}/start", json={})
    assert answer.status_code == 201
    assert shed.desk.done == [Start(NOW, NOW, "", "cedar", "tin-8", 3.5, 1.0, 25.0)]


def test_a_planned_start_can_be_made_otherwise(shed: Served) -> None:
    """Other grams, and an hour ago."""
    body = {"cysts_g": 3.0, "time": example.at(-1)}
    with shed.client() as client:
        assert client.post(f"/api/v1/plan/{PLANNED['id']}/start", json=body).status_code == 201
    assert shed.desk.done == [Start(NOW - HOUR, NOW, "", "cedar", "tin-8", 3.0, 1.0, 25.0)]


def test_a_planned_start_can_be_put_aside(shed: Served) -> None:
    """Not now, said once."""
    with shed.client() as client:
        assert client.post(f"/api/v1/plan/{PLANNED['id']}/skip", json={}).status_code == 200
    assert shed.desk.done == [SkipStart(time=NOW, start=PLANNED["id"])]


def test_a_start_that_is_not_planned_is_refused_with_those_that_are(shed: Served) -> None:
    """A plan may have changed since the page was loaded: nothing is started by guess."""
    with shed.client() as client:
        answer = client.post("/api/v1/plan/dogwood-1/start", json={})
    assert answer.status_code == 404
    assert PLANNED["id"] in answer.json()["detail"]
    assert shed.desk.done == []


# -- the link of a reminder


def reminded(serve: Serve) -> tuple[Served, str]:
    """A shed whose letter reminded of cedar, and that letter's link."""
    served = serve(FoodDesk(), address="http://localhost:8417")
    title = "Start 3.5 g of tin-8 in cedar before 07:00"
    served.desk.publish(lambda bench: bench["alarms"].append(an_alarm("start-due", "cedar", "low", 9, title=title)))
    token = Links.kept(served.options.link_key_file, served.options.address).token(["start-due:cedar"], 3600)
    return served, f"/act/{token}"


def test_the_link_of_a_reminder_starts_what_it_reminds_of(serve: Serve) -> None:
    """One press: the batch is begun as planned; looking alone begins nothing."""
    served, path = reminded(serve)
    with served.client(token=False) as client:
        page = client.get(path).text
        assert "3.5 g of tin-8 in cedar: noted as planned" in page
        assert served.desk.done == []
        told = client.post(path, data={"do": "started"})
    assert "Noted: 3.5 g of tin-8 in cedar is started." in told.text
    assert served.desk.done == [Start(NOW, NOW, "", "cedar", "tin-8", 3.5, 1.0, 25.0)]


def test_a_link_about_something_else_starts_nothing(serve: Serve) -> None:
    """Only a reminder's link can say that a batch was started."""
    served, _ = reminded(serve)
    token = Links.kept(served.options.link_key_file, served.options.address).token(["air-stopped:birch"], 3600)
    with served.client(token=False) as client:
        assert "It is started" not in client.get(f"/act/{token}").text
        assert client.post(f"/act/{token}", data={"do": "started"}).status_code == 409
    assert served.desk.done == []


# -- the calendar


def events(feed: bytes) -> dict[str, Any]:
    return {str(event["uid"]): event for event in Calendar.from_ical(feed).walk("VEVENT")}


def test_the_calendar_tells_starts_harvests_and_meals() -> None:
    """Each at its instant in UTC, with what is to be done and the range of a harvest."""
    found = events(calendar(example.food(), "shed", NOW))
    start = found[f"start-{PLANNED['id']}@shed.swimup"]
    assert str(start["summary"]) == "Start 3.5 g of tin-8 in cedar"
    assert int(start["dtstart"].dt.timestamp() * 1000) == rfc3339(PLANNED["start"])
    assert "25 g of salt in 1 L" in str(start["description"])
    harvest = found[f"harvest-{PLANNED['id']}@shed.swimup"]
    assert int(harvest["dtstart"].dt.timestamp() * 1000) == rfc3339(PLANNED["harvest"]["mid"])
    assert "Between Tue 05:10 and Tue 11:10" in str(harvest["description"])
    meals = [event for uid, event in found.items() if uid.startswith("meal-")]
    assert len({event["dtstart"].dt for event in meals}) == len(meals) == 10
    assert "killi-3: 20 000" in str(meals[0]["description"])


def test_the_calendar_keeps_to_the_rules_of_its_format() -> None:
    """RFC 5545: lines end in CRLF and are folded at 75 octets, and what has a meaning is escaped (sections 3.1, 3.3.11)."""
    start = example.a_planned_start(reason="für; Do, 07:00 \\ und " + "sehr lange Sätze " * 12)
    feed = calendar(example.food(plan=example.a_plan() | {"starts": [start]}), "shed", NOW)
    lines = feed.split(b"\r\n")
    assert b"\n" not in feed.replace(b"\r\n", b"")
    assert max(len(line) for line in lines) <= 75
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert {b"VERSION:2.0", b"METHOD:PUBLISH", b"REFRESH-INTERVAL;VALUE=DURATION:PT30M"} <= set(lines)
    assert b"f\xc3\xbcr\\; Do\\, 07:00 \\\\ und" in feed.replace(b"\r\n ", b"").replace(b"F\xc3", b"f\xc3")
    for event in Calendar.from_ical(feed).walk("VEVENT"):
        assert {"UID", "DTSTAMP", "DTSTART", "SEQUENCE"} <= set(event)  # section 3.6.1
        assert event["dtstart"].to_ical()[-1:] == b"Z"
    assert start["reason"][1:40] in str(events(feed)[f"start-{start['id']}@shed.swimup"]["description"])


def test_events_stay_the_same_events_and_grow_newer() -> None:
    """A newer plan moves an event by its UID, with a higher sequence."""
    before = events(calendar(example.food(), "shed", NOW))
    later = example.a_plan() | {"made": example.at(1), "starts": [example.a_planned_start(start=example.at(2))]}
    after = events(calendar(example.food(plan=later), "shed", NOW))
    uid = f"start-{PLANNED['id']}@shed.swimup"
    assert after[uid]["sequence"] > before[uid]["sequence"]
    assert after[uid]["dtstart"].dt > before[uid]["dtstart"].dt


def test_a_meal_of_the_night_the_clocks_change_is_at_its_local_hour() -> None:
    """07:00 in Berlin is 06:00 UTC the day before summer time begins, and 05:00 the day after."""
    now = rfc3339("2026-03-28T00:00:00Z")
    times = ("2026-03-28T06:00:00Z", "2026-03-29T05:00:00Z")
    meals = [example.a_meal(rfc3339(time), "killi-3", "killifish", 20_000) for time in times]
    found = events(calendar(example.food(meals=meals, now_ms=now), "shed", now))
    local = [e["dtstart"].dt.astimezone(ZoneInfo("Europe/Berlin")) for u, e in found.items() if u.startswith("meal-")]
    assert [f"{time:%H:%M}" for time in local] == ["07:00", "07:00"]


def test_a_calendar_before_there_is_a_plan_is_empty_and_can_be_read() -> None:
    """A calendar program that looks too early is not put off."""
    assert events(calendar({}, "shed", NOW)) == {}


def test_the_calendars_address_needs_no_session_and_can_be_renewed(shed: Served) -> None:
    """Whoever has the address sees the calendar without logging in; renewed, the one before shows nothing."""
    with shed.client() as client:
        path = client.get("/api/v1/calendar").json()["path"]
        assert client.get(path, headers={"Authorization": ""}).headers["content-type"].startswith("text/calendar")
        newer = client.post("/api/v1/calendar/renew", json={}).json()["path"]
        assert newer != path
        assert client.get(path).status_code == 404
        assert client.get(newer).status_code == 200


def test_the_keeper_finds_the_calendars_address_on_a_page(serve: Serve) -> None:
    """Complete, with the address that is configured, and renewed by a button of that page."""
    served = serve(FoodDesk(), address="https://shed.example:8417")
    with served.client(token=False) as client:
        assert 'href="/food/calendar"' in client.get("/food").text
        before = client.get("/food/calendar").text
        url = before.partition("<code>")[2].partition("</code>")[0]
        origin, _, path = url.partition("/calendar.ics")
        assert origin == "https://shed.example:8417"
        assert client.get(f"/calendar.ics{path}").status_code == 200
        token = before.partition('name="csrf" value="')[2].partition('"')[0]
        assert client.post("/food/calendar/renew").status_code == 403
        assert client.get(f"/calendar.ics{path}").status_code == 200
        answer = client.post("/food/calendar/renew", data={"csrf": token})
        assert answer.headers["location"] == "/food/calendar"
        after = client.get("/food/calendar").text
        assert url not in after
        assert "This address is new." in after
        assert client.get(f"/calendar.ics{path}").status_code == 404


def test_an_address_that_no_phone_reaches_is_told_as_such(shed: Served) -> None:
    """Opened on the machine itself, where no address is configured, the page says that this one is of no use elsewhere."""
    with shed.client(token=False) as client:
        text = client.get("/food/calendar").text
    assert f"<code>{shed.url}/calendar.ics?token=" in text
    assert "only works on this machine" in text


# -- the command line


def command(shed: Served, folder: Path, *arguments: str) -> str:
    file = folder / "swimup.toml"
    file.write_text(CONFIG.format(state=shed.options.state_dir, port=shed.server.port))
    done = CliRunner().invoke(swimup, [*arguments, "--config", str(file)])
    assert done.exit_code == 0, done.output
    return done.output


def test_food_is_told_at_the_command_line(shed: Served, tmp_path: Path) -> None:
    """The meals of two days with their chance to be short, what is to be started, tins and stores."""
    told = command(shed, tmp_path, "food")
    assert "Planned at 01:52." in told
    assert "Mon 07:00" not in told  # that is today
    assert "07:00      killi-3: 20 000" in told
    assert "short: 4 chances in 100" in told
    assert f"! 02:00 to 06:58: 3.5 g of tin-8 in cedar  [{PLANNED['id']}]" in told.replace("01:59", "02:00")
    assert "tin-8: 41.5 g left, for 9 to 14 days" in told
    assert "fridge: 200 000, good until about" in told


def test_the_plan_is_told_at_the_command_line(shed: Served, tmp_path: Path) -> None:
    """What has changed, and each start with salt, yield, cost and reason."""
    told = command(shed, tmp_path, "food", "plan")
    assert "birch starts 3 h earlier" in told
    assert "25 g of salt in 1 L; gives about 380 000; costs 1.42 EUR" in told
    assert "(in reserve)" in told


def test_a_plan_without_prices_tells_no_cost(serve: Serve, tmp_path: Path) -> None:
    """Where no tin has a price the command line says so instead of a sum."""
    desk = FoodDesk()
    desk.larder = example.unpriced()
    told = command(serve(desk), tmp_path, "food", "plan")
    assert "gives about 380 000\n" in told
    assert "costs 1" not in told
    assert "What it costs is not known: no tin has a price" in told


def test_the_plan_is_followed_at_the_command_line(shed: Served, tmp_path: Path) -> None:
    """A start with other grams, another put aside, and the calendar's address."""
    command(shed, tmp_path, "food", "start", PLANNED["id"], "--cysts", "3 g")
    command(shed, tmp_path, "food", "skip", "ash-tin-7-0302-07")
    start, skipped = shed.desk.done
    assert isinstance(start, Start)
    assert start.cysts_g == 3.0
    assert skipped == SkipStart(time=NOW, start="ash-tin-7-0302-07")
    assert "/calendar.ics?token=" in command(shed, tmp_path, "food", "calendar")
