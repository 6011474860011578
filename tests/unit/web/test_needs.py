"""What needs the keeper and is no alarm: named, in order, and not said twice."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.core.model import HOUR, MINUTE
from monitor.core.rules_batch import RULES
from monitor.web.needs import LOOK_AGAIN, WORK_ENDS
from monitor.web.view import BenchView, make_view
from monitor.web.when import as_rfc3339
from tests.adapters.web.memory_desk import NOW, a_batch, a_start, an_alarm, bad_night, span

FAR = span(20, 24, 30)


def waiting(name: str, **changes: Any) -> dict[str, Any]:
    """A batch that develops, with all of its times far ahead."""
    return a_batch(name, **{"stage": "developing", "t10": FAR, "t50": FAR, "t90": FAR, "ready": FAR, **changes})


def ripe(name: str, best: float, **changes: Any) -> dict[str, Any]:
    """Ready for three hours, at its best until ``best`` hours from now."""
    stage = "ready" if best > 0 else "past"
    return a_batch(name, stage=stage, ready=span(-4, -3, -2), best_until=span(None, best, None)["mid"], **changes)


def shown(*vessels: dict[str, Any], alarms: tuple[dict[str, Any], ...] = ()) -> BenchView:
    bench = bad_night()
    empty = {**bench["vessels"][2], "water": bench["vessels"][0]["water"]}
    bench["vessels"] = [{**empty, **vessel} for vessel in vessels]
    bench["alarms"] = list(alarms)
    return make_view(bench)


def test_the_most_pressing_comes_first_and_vessels_keep_their_places() -> None:
    """Past its best, then hands in the water, then the harvest that ends soonest, then a look, then what is lost."""
    view = shown(
        {"id": "ash", "batch": a_batch("ash", stage="lost")},
        {"id": "birch", "batch": a_batch("birch")},
        {"id": "cedar", "batch": ripe("cedar", 5)},
        {"id": "doum", "batch": ripe("doum", 2), "work_until": as_rfc3339(NOW + 3 * MINUTE)},
        {"id": "elm", "batch": ripe("elm", -1)},
        {"id": "fir", "batch": waiting("fir")},
    )
    assert [need.title for need in view.needs] == [
        "Harvest elm: past its best",
        "Work on doum ends in 3 min",
        "Harvest doum",
        "Harvest cedar",
        "Look into birch",
        "ash is lost",
    ]
    assert [vessel.id for vessel in view.vessels] == ["ash", "birch", "cedar", "doum", "elm", "fir"]
    assert [need.text for need in view.needs[:3]] == [
        "Ready since Sun 23:10. They were at their best until today 01:10.",
        "Then its alarms ring again.",
        "Ready since Sun 23:10. At their best until today 04:10.",
    ]
    assert (view.headline, view.next_up) == ("6 things to do", "Next: birch, about today 06:45")


def test_when_nothing_needs_anybody_it_says_what_is_next() -> None:
    """An empty list is told in words, with the batch that comes first."""
    view = shown({"id": "ash", "batch": waiting("ash")}, {"id": "birch", "batch": None})
    assert view.needs == ()
    assert (view.headline, view.next_up) == ("Nothing needs you", "Next: ash, about Tue 02:10")
    assert shown({"id": "ash", "batch": None}).next_up == "No batch is under way"
    assert shown({"id": "ash", "batch": ripe("ash", 5)}).next_up == ""


@pytest.mark.parametrize(
    ("early", "looked_ago", "first_seen", "wanted"),
    [
        (0, None, False, True),
        (1, None, False, False),
        (-HOUR, LOOK_AGAIN, False, True),
        (-HOUR, LOOK_AGAIN - 1, False, False),
        (-HOUR, 5 * HOUR, True, False),
    ],
)
def test_a_look_is_wanted_from_the_first_chance_on_until_some_were_seen(
    early: int, looked_ago: int | None, first_seen: bool, wanted: bool
) -> None:
    """Not before the range begins, not again within two hours, and never once the first ones were seen."""
    t10 = {**span(None, 2, 4), "lo": as_rfc3339(NOW + early)}
    looked = None if looked_ago is None else {"what": "none", "time": as_rfc3339(NOW - looked_ago)}
    seen = as_rfc3339(NOW - 5 * HOUR) if first_seen else None
    view = shown({"id": "ash", "batch": waiting("ash", t10=t10, looked=looked, first_seen=seen)})
    assert [need.kind for need in view.needs] == (["look"] if wanted else [])
    if wanted:
        assert view.needs[0].text.startswith("The first ones may be swimming.")
        assert view.vessels[0].batch is not None
        assert view.vessels[0].batch.first_next


@pytest.mark.parametrize(("ahead", "asked"), [(WORK_ENDS, True), (WORK_ENDS + 1000, False), (0, False)])
def test_work_is_asked_about_shortly_before_it_ends(ahead: int, asked: bool) -> None:
    """Five minutes before, and no more once it is over."""
    view = shown({"id": "ash", "work_until": as_rfc3339(NOW + ahead)})
    assert [need.kind for need in view.needs] == (["work"] if asked else [])


@pytest.mark.parametrize("rule", RULES)
def test_what_an_alarm_asks_for_is_not_asked_twice(rule: str) -> None:
    """While an alarm of the same vessel asks for the harvest it stands alone; acknowledged, the harvest is still to be done."""
    vessels = {"id": "ash", "batch": ripe("ash", 5)}, {"id": "birch", "batch": ripe("birch", 5)}
    alarm = an_alarm(rule, "ash", "medium", 5)
    assert [need.vessel.id for need in shown(*vessels, alarms=(alarm,)).needs] == ["birch"]
    known = shown(*vessels, alarms=({**alarm, "state": "acknowledged"},))
    assert [need.vessel.id for need in known.needs] == ["ash", "birch"]


def test_an_alarm_leads_to_the_vessel_it_is_about() -> None:
    """By its vessel, its batch or its probe; one about the house leads nowhere."""
    bench = bad_night()
    bench["probes"] = [{"id": "ash-water", "vessel": "ash", "store": None}]
    subjects = ("birch", "ash-2026-03-01", "ash-water", "site")
    bench["alarms"] = [an_alarm("any", subject, "low", n) for n, subject in enumerate(subjects)]
    led = {alarm.id: (alarm.about, alarm.place) for alarm in make_view(bench).alarms}
    assert [led[f"any:{subject}"] for subject in subjects] == [
        ("birch", "vessel-1"),
        ("ash", "vessel-0"),
        ("ash", "vessel-0"),
        ("", ""),
    ]


def test_a_start_is_offered_again_as_it_was() -> None:
    """Amounts are said in full: what is tapped is what is noted."""
    again = shown({"id": "ash", "last_start": a_start("ash", cysts_g=0.125, litres=0.9464)}).vessels[0].again
    assert again is not None
    assert again.text == "0.125 g tin-7, 0.9464 L, 25 g/L"
    assert shown({"id": "ash"}).vessels[0].again is None
