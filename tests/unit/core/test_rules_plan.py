"""The reminder of the plan, and what becomes of a planned start."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.core.dispatch import Kind, Manners, Reach, when
from monitor.core.food import FoodAhead, Outlook, Plan, PlannedStart, SkipStart
from monitor.core.food_document import food_document
from monitor.core.log import Start
from monitor.core.model import DAY, HOUR, MINUTE, AlarmState, Ms, Priority, Refused, Span
from monitor.core.pantry import gather
from monitor.core.planned import pending
from monitor.core.wording import meals
from tests.unit.core.worlds import Shed, site

BERLIN = "Europe/Berlin"


def a_start(now: Ms, ahead_h: float = 3.0, **changes: Any) -> PlannedStart:
    start = now + round(ahead_h * HOUR)
    values: dict[str, Any] = {
        "id": "ash-tin-7-1",
        "vessel": "ash",
        "lot": "tin-7",
        "grams": 3.5,
        "litres": 1.5,
        "salinity_g_l": 25.0,
        "start": start,
        "start_by": start + 4 * HOUR,
        "harvest": Span(start + 22 * HOUR, start + 24 * HOUR, start + 27 * HOUR),
        "nauplii": Span(2e5, 3e5, 4e5),
        "store": "fridge",
        "cost": 1.4,
        "feeds_from": start + 30 * HOUR,
        "feeds_until": start + 42 * HOUR,
        "backup": False,
        "reason": "for Tue 19:00 of killi-3",
    }
    return PlannedStart(**(values | changes))


def planned(shed: Shed, *starts: PlannedStart) -> None:
    nothing = Outlook(shed.now, shed.now + 14 * DAY)
    shed.do(FoodAhead(shed.now, nothing, nothing, Plan(made=shed.now, until=shed.now + 14 * DAY, starts=starts)))


@pytest.fixture
def shed() -> Shed:
    return Shed(site("ash", "birch"))


def test_a_start_that_is_due_is_told_once_two_hours_ahead(shed: Shed) -> None:
    """What, where and until when; not before, and not again."""
    planned(shed, a_start(shed.now))
    assert shed.told("start-due") == []
    shed.wait(HOUR + MINUTE * 5)
    (told,) = shed.told("start-due:ash")
    assert told.alarm.title == "Start 3.5 g of tin-7 in ash before 15:00"
    assert "37.5 g of salt in 1.5 L" in told.alarm.todo
    assert told.alarm.priority is Priority.LOW
    shed.wait(4 * HOUR)
    assert len(shed.told("start-due")) == 1


def test_a_start_that_is_late_weighs_more_unless_it_is_in_reserve(shed: Shed) -> None:
    """Told for the first time in its last hour, it is of medium priority; a reserve stays low."""
    planned(shed, a_start(shed.now, -4.0), a_start(shed.now, -4.0, id="birch-tin-7-1", vessel="birch", backup=True))
    found = {move.alarm.subject: move.alarm.priority for move in shed.told("start-due")}
    assert found == {"ash": Priority.MEDIUM, "birch": Priority.LOW}


def test_a_batch_that_is_started_ends_the_reminder_without_a_word(shed: Shed) -> None:
    """The planned start is made, with about the planned values, and the plan lists it no more."""
    planned(shed, a_start(shed.now, 1.0))
    shed.do(Start(shed.now, shed.now, "b1", "ash", "tin-7", 3.0, 1.5, 25.0))
    assert shed.state("start-due:ash") in (AlarmState.NORMAL, AlarmState.RETURNED)
    assert pending(shed.engine.state, shed.now) == ()
    assert food_document(shed.engine.state, shed.now)["plan"]["starts"] == []
    assert len(shed.told("start-due")) == 1


def test_a_newer_plan_without_the_start_ends_the_reminder(shed: Shed) -> None:
    """Nobody is asked for what is not needed any more."""
    planned(shed, a_start(shed.now, 1.0))
    planned(shed)
    assert shed.state("start-due:ash") in (AlarmState.NORMAL, AlarmState.RETURNED)


def test_not_now_keeps_the_vessel_out_of_the_next_plans(shed: Shed) -> None:
    """The start is gone at once, and for half a day nothing is proposed for its vessel, over a restart too."""
    start = a_start(shed.now, 1.0)
    planned(shed, start)
    shed.do(SkipStart(shed.now, start.id))
    assert shed.state("start-due:ash") in (AlarmState.NORMAL, AlarmState.RETURNED)
    for one in (shed, shed.restarted()):
        assert pending(one.engine.state, one.now) == ()
        ash, birch = gather(one.engine.state, one.now).vessels
        assert (ash.not_before, birch.not_before) == (start.start + 12 * HOUR, 0)
    with pytest.raises(Refused, match="the plan has changed"):
        shed.do(SkipStart(shed.now, start.id))


def test_what_is_no_money_is_not_told_as_money(shed: Shed) -> None:
    """Where no cysts have a price the document knows no cost and names no currency, over a restart too."""
    nothing = Outlook(shed.now, shed.now + 14 * DAY)
    costs = {}
    for is_priced in (True, False):
        plan = Plan(made=shed.now, until=nothing.until, starts=(a_start(shed.now),), cost=3.5, priced=is_priced)
        shed.do(FoodAhead(shed.now, nothing, nothing, plan))
        told = food_document(shed.restarted().engine.state, shed.now)["plan"]
        costs[is_priced] = (told["cost"], told["starts"][0]["cost"], told["currency"])
    assert costs == {True: (3.5, 1.4, shed.engine.state.site.costs.currency), False: (None, None, "")}


def test_a_plan_outlasts_a_restart(shed: Shed) -> None:
    """Reminders don't vanish with the process."""
    planned(shed, a_start(shed.now))
    again = shed.restarted()
    assert pending(again.engine.state, again.now) == pending(shed.engine.state, shed.now) != ()
    again.wait(2 * HOUR)
    assert [move.alarm.id for move in again.told("start-due")] == ["start-due:ash"]


def test_a_plan_of_yesterday_reminds_of_nothing(shed: Shed) -> None:
    """What was planned for a room as it was a day ago is not followed."""
    planned(shed, a_start(shed.now, 30.0))
    shed.wait(31 * HOUR)
    assert shed.told("start-due") == []


def test_a_reminder_reaches_the_phone_the_same_day_and_never_at_night(shed: Shed) -> None:
    """Low as it is, it does not wait for the next morning's digest; in the quiet hours it waits for their end."""
    planned(shed, a_start(shed.now, 1.0))
    alarm = shed.told("start-due")[0].alarm
    manners = Manners(timezone=BERLIN)
    day = meals(BERLIN, (14 * 60,), shed.now, shed.now + DAY)[0]
    night = meals(BERLIN, (23 * 60,), shed.now, shed.now + DAY)[0]
    by_day = when(Kind.TROUBLE, alarm, day, manners, Reach(), told=False)
    by_night = when(Kind.TROUBLE, alarm, night, manners, Reach(), told=False)
    assert by_day is not None
    assert by_day.until - day <= MINUTE
    assert by_night is not None
    assert by_night.until == meals(BERLIN, (7 * 60,), night, night + DAY)[0]
    assert when(Kind.TROUBLE, alarm, day, manners, Reach(least=Priority.MEDIUM), told=False) is None
