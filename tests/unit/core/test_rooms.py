"""What is known of other rooms, whoever publishes and in whatever order."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.model import HOUR, MINUTE, SECOND, Ms
from monitor.core.rooms import MOST_ROOMS, News, Rooms
from monitor.core.summary import LARGEST, LONGEST, MOST_ALARMS, MOST_STORES, MOST_VESSELS, summary, urgent
from monitor.intake.room_news import write_summary
from tests.adapters.web.memory_desk import a_batch, a_content, a_store, an_alarm, bad_night

if TYPE_CHECKING:
    from monitor.core.rooms import Status

NOW: Ms = 1_772_413_800_000
OURS = "aaaaaaaa"


def board(*awaited: str) -> Rooms:
    return Rooms("shed", OURS, NOW - HOUR, awaited)


def news(site: str = "attic", ago: Ms = 0, run: str = "bbbbbbbb") -> News:
    return News(site, run, NOW - ago, 60 * SECOND, "", {"site": site})


def only(rooms: Rooms, now: Ms = NOW) -> dict[str, Any]:
    (found,) = rooms.documents(now)
    return found


def test_news_counts_for_three_periods_and_a_minute() -> None:
    """Then the room is silent, with the time it was last heard and what it told."""
    rooms = board()
    rooms.news(news(ago=60 * SECOND), NOW - 60 * SECOND, live=True)
    rooms.news(news(), NOW, live=True)
    assert only(rooms, NOW + 4 * MINUTE)["state"] == "heard"
    silent = only(rooms, NOW + 4 * MINUTE + 1)
    assert (silent["state"], silent["heard"], silent["told"]) == ("silent", "2026-03-02T01:10:00Z", {"site": "attic"})


def test_what_was_kept_is_as_old_as_it_says() -> None:
    """A summary of yesterday that the broker still keeps is no news; nor does one from a wrong future last for ever."""
    rooms = board()
    rooms.news(news(ago=5 * HOUR), NOW, live=False)
    assert (only(rooms)["state"], only(rooms)["age_s"]) == ("silent", 5 * 3600)
    rooms.news(news("cellar", ago=-5 * HOUR), NOW, live=False)
    (_, ahead) = rooms.documents(NOW)
    assert (ahead["state"], ahead["age_s"]) == ("heard", 0)


def test_a_bridge_that_says_the_old_again_makes_nothing_new() -> None:
    """After a cut a bridge repeats what it keeps, and it looks live; the same summary twice is heard once."""
    rooms = board()
    rooms.news(news(ago=3 * HOUR), NOW - HOUR, live=True)
    rooms.news(news(ago=3 * HOUR), NOW, live=True)
    assert only(rooms)["age_s"] == 3 * 3600


def test_a_room_whose_clock_is_wrong_is_heard_all_the_same() -> None:
    """From its second live summary on, arrival counts and not what its clock says."""
    rooms = board()
    for ago in (9 * HOUR + 60 * SECOND, 9 * HOUR):
        rooms.news(news(ago=ago), NOW, live=True)
    assert (only(rooms)["state"], only(rooms)["age_s"]) == ("heard", 0)


@pytest.mark.parametrize(("word", "state"), [("lost", "lost"), ("stopped", "stopped"), ("up", "heard")])
def test_the_will_counts_at_once(word: Status, state: str) -> None:
    """However fresh the summary is: a monitor that its broker has lost, or that was stopped, watches nothing."""
    rooms = board()
    rooms.news(news(), NOW, live=True)
    rooms.status("attic", word)
    assert only(rooms)["state"] == state


def test_nobody_can_speak_for_our_own_room() -> None:
    """What others publish under our name is not shown; a second monitor of our name is told of, our own earlier run is not."""
    rooms = board()
    rooms.status("shed", "lost")
    rooms.unreadable("shed", "it is no JSON")
    rooms.cleared("shed")
    rooms.news(news("shed", run=OURS), NOW, live=True)
    rooms.news(news("shed", ago=2 * HOUR), NOW, live=True)
    rooms.news(news("shed"), NOW, live=False)
    assert (rooms.documents(NOW), rooms.doubled) == ([], False)
    rooms.news(news("shed"), NOW, live=True)
    assert (rooms.documents(NOW), rooms.doubled) == ([], True)


def test_awaited_rooms_are_missed_and_others_passed_over() -> None:
    """With names given, one that never told anything is there, and nobody else."""
    rooms = board("attic", "cellar")
    rooms.news(news("attic"), NOW, live=True)
    rooms.news(news("loft"), NOW, live=True)
    told = {one["site"]: one["state"] for one in rooms.documents(NOW)}
    assert told == {"attic": "heard", "cellar": "never"}
    rooms.cleared("attic")
    assert rooms.documents(NOW)[0]["state"] == "never"


def test_no_more_rooms_than_there_is_place_for() -> None:
    """Whoever makes up names fills no memory; that some were left out is told."""
    rooms = board()
    for n in range(3 * MOST_ROOMS):
        rooms.status(f"room-{n}", "up")
        rooms.news(news(f"room-{n}"), NOW, live=True)
    assert (len(rooms.documents(NOW)), rooms.beyond) == (MOST_ROOMS, MOST_ROOMS)


def test_a_room_that_was_taken_away_is_forgotten() -> None:
    """Both topics cleared at the broker: its card is gone."""
    rooms = board()
    rooms.status("attic", "lost")
    rooms.news(news(), NOW, live=True)
    rooms.cleared("attic")
    assert only(rooms)["state"] == "lost"
    rooms.status("attic", "")
    assert rooms.documents(NOW) == []


def test_what_cannot_be_read_takes_the_place_of_what_could() -> None:
    """An old summary is not shown as if it were the newest; the next sound one is."""
    rooms = board()
    rooms.news(news(), NOW, live=True)
    rooms.unreadable("attic", "it is no JSON")
    assert (only(rooms)["state"], only(rooms)["reason"], only(rooms)["told"]) == ("unreadable", "it is no JSON", None)
    rooms.news(news(), NOW, live=True)
    assert only(rooms)["reason"] == ""


def crowded() -> dict[str, Any]:
    """As much as there can be of everything, in letters of four bytes."""
    bench = bad_night()
    long = "\N{SHRIMP}" * 400
    vessel = bench["vessels"][0]
    bench["vessels"] = [{**vessel, "id": "v" * 40, "batch": a_batch("ash", id=long)} for _ in range(200)]
    bench["alarms"] = [an_alarm("cold-snap", long, "medium", 12, title=long) for _ in range(200)]
    bench["stores"] = [a_store("s" * 40, a_content()) for _ in range(200)]
    return bench


def test_a_summary_is_bounded_however_much_there_is() -> None:
    """The fullest room's summary is one that others read."""
    told = summary(crowded())
    assert (len(told["alarms"]), len(told["vessels"]), len(told["stores"])) == (MOST_ALARMS, MOST_VESSELS, MOST_STORES)
    assert told["waiting"] == 200
    assert len(told["alarms"][0]["title"]) == LONGEST
    assert len(write_summary(told, OURS, NOW, MINUTE, "https://" + "h" * 250).encode()) <= LARGEST


def test_a_summary_names_the_gravest_first_and_changes_with_news_only() -> None:
    """An alarm that waits comes before one that somebody knows of; that time passes changes nothing."""
    bench = bad_night()
    told = summary(bench)
    assert [alarm["id"] for alarm in told["alarms"]] == [
        "air-stopped:birch",
        "probe-silent:cedar-water",
        "cold-snap:ash",
    ]
    later = json.loads(json.dumps(bench))
    later["now"], later["now_ms"] = "2026-03-02T01:11:00Z", bench["now_ms"] + MINUTE
    for vessel in later["vessels"]:
        for key in ("water", "air"):
            if vessel[key] is not None:
                vessel[key]["age_s"] += 60
    assert summary(later) == told
    later["vessels"][0]["water"]["value"] = 24.2
    assert summary(later) != told
    assert urgent(summary(later)) == urgent(told)
    later["vessels"][0]["batch"]["stage"] = "ready"
    assert urgent(summary(later)) != urgent(told)
