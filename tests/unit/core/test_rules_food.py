"""A meal that nothing can make up for is told once, and what a start can still save is left to the plan."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from monitor.core.food import FoodAhead, MealOutlook, Outlook, Plan, PlannedStart, Unmet
from monitor.core.model import DAY, HOUR, MINUTE, AlarmState, Ms, Priority, Span
from monitor.core.rules import can_ring
from tests.unit.core.worlds import T0, Shed, site

SHORT = "food-short:site"
LATE = "Batch b7 may come too late: then it can be fed at about Tue 14:00, 7 h later."


def meal(hours: float, short: float, **changes: Any) -> MealOutlook:
    values: dict[str, Any] = {
        "time": T0 + round(hours * HOUR),
        "eater": "killi-3",
        "need": Span(20_000, 20_000, 20_000),
        "got": Span(8_000, 20_000, 20_000),
        "short": short,
        "why": LATE if short else "",
    }
    return MealOutlook(**(values | changes))


def ahead(now: Ms, *meals: MealOutlook, bare: tuple[MealOutlook, ...] = (), **plan: Any) -> FoodAhead:
    followed = Outlook(time=now, until=now + 14 * DAY, meals=meals)
    alone = replace(followed, meals=bare or meals)
    return FoodAhead(time=now, bare=alone, outlook=followed, plan=Plan(made=now, until=now + 14 * DAY, **plan))


def start(at: Ms, by: Ms) -> PlannedStart:
    return PlannedStart(
        id="s1", vessel="birch", lot="tin-8", grams=3.5, litres=2.0, salinity_g_l=25.0, start=at, start_by=by,
        harvest=Span(None, None, None), nauplii=Span(None, None, None), store="", cost=1.0, feeds_from=by, feeds_until=by,
        backup=False, reason="",
    )  # fmt: skip


def shed() -> Shed:
    return Shed(site(probes={}))


def test_a_meal_that_is_likely_short_is_told_with_its_reason_and_what_to_do() -> None:
    """The alarm says which meal, how likely, how many are missing, why, and what is left to do."""
    room = shed()
    room.do(ahead(T0, meal(24, 0.3), starts=(start(T0 + 2 * HOUR, T0 + 4 * HOUR),)))
    room.wait(19 * MINUTE)
    assert room.told(SHORT) == []
    room.wait(10 * MINUTE)
    (told,) = room.told(SHORT)
    assert (told.alarm.id, told.alarm.priority) == (SHORT, Priority.MEDIUM)
    assert told.alarm.title == "Food may be short at Tue 08:00"
    assert told.alarm.text == (
        f"The Tue 08:00 meal of killi-3 may be short (chance 30 %): up to 12 000 of 20 000 are missing. {LATE}"
    )
    assert told.alarm.todo == (
        "Give a little less at each meal until then, rather than nothing at one; buy or borrow some. "
        "For the meals after it start 3.5 g of tin-8 in birch at 10:00."
    )


def test_what_a_start_can_save_is_the_plans_to_tell() -> None:
    """A meal that is short without the plan and full with it rings nothing."""
    room = shed()
    room.do(ahead(T0, meal(30, 0.01), bare=(meal(30, 1.0),)))
    room.wait(3 * HOUR)
    assert room.told(SHORT) == []


@pytest.mark.parametrize(("hours", "chance", "rings"), [(35, 0.11, True), (35, 0.09, False), (37, 1.0, False)])
def test_what_is_far_or_seldom_rings_nothing(hours: float, chance: float, rings: bool) -> None:
    """Beyond a day and a half a start can still mend it; and one time in ten is what a single batch may fail."""
    room = shed()
    room.do(ahead(T0, meal(hours, chance)))
    room.wait(30 * MINUTE)
    assert bool(room.told(SHORT)) is rings


def test_a_keeper_who_asks_for_less_is_told_later() -> None:
    """Where one meal in four may be short by the configuration, one in five rings nothing."""
    room = Shed(site(probes={}, food_chance=0.75))
    room.do(ahead(T0, meal(24, 0.2)))
    room.wait(HOUR)
    assert room.told(SHORT) == []


def test_it_holds_until_it_is_well_over() -> None:
    """A chance that goes up and down around the limit rings once; below half of it, it is over and told."""
    room = shed()
    for hour, chance in enumerate([0.15, 0.09, 0.12, 0.06, 0.14]):
        room.do(ahead(room.now, meal(30, chance)))
        room.wait(HOUR)
        assert len(room.told(SHORT)) == 1, hour
    room.do(ahead(room.now, meal(30, 0.02)))
    room.wait(HOUR)
    assert room.engine.state.alarm_state(SHORT) is AlarmState.RETURNED
    assert len(room.told(SHORT)) == 2


def test_several_meals_are_one_alarm() -> None:
    """The first three feeding times are told, later ones by their number, and each reason once."""
    room = shed()
    meals = (
        meal(10, 1.0, got=Span(0, 5_000, 6_000)),
        *(meal(h, 0.2) for h in (15, 20, 25, 30)),
        meal(30, 0.2, eater="severum"),
    )
    room.do(ahead(T0, *meals))
    room.wait(HOUR)
    (told,) = room.told(SHORT)
    assert told.alarm.text.startswith(
        "The 18:00 meal of killi-3 will be short: up to 15 000 of 20 000 are missing. The 23:00 meal"
    )
    assert told.alarm.text.endswith(f"So are 2 later feeding times. {LATE}")
    assert told.alarm.text.count(LATE) == 1


def test_who_is_short_at_the_same_time_is_told_together() -> None:
    """One sentence for a feeding time, with what all of them lack together: it is read on a phone at night."""
    room = shed()
    room.do(ahead(T0, *(meal(24, chance, eater=name) for name, chance in (("killi-3", 0.3), ("severum", 0.2)))))
    room.wait(HOUR)
    (told,) = room.told(SHORT)
    assert told.alarm.text == (
        "The Tue 08:00 meal of killi-3 and severum may be short (chance 30 %): up to 24 000 of 40 000 are missing. "
        f"{LATE}"
    )


def test_what_would_help_is_told() -> None:
    """Where the plan knows what would have saved the meal, that is told as well."""
    room = shed()
    lacking = Unmet(time=T0 + 24 * HOUR, eater="killi-3", chance=0.3, why=LATE, help="A heater in ash would.")
    room.do(ahead(T0, meal(24, 0.3), unmet=(lacking,)))
    room.wait(HOUR)
    assert room.told(SHORT)[0].alarm.todo == "A heater in ash would."


def test_an_old_look_ahead_says_nothing() -> None:
    """What was foreseen more than six hours ago neither rings nor ends what stands; after a day it is no alarm any more."""
    room = shed()
    room.do(ahead(T0 - 7 * HOUR, meal(20, 1.0)))
    room.wait(HOUR)
    assert room.told(SHORT) == []
    room.do(ahead(room.now, meal(20, 1.0)))
    room.wait(20 * HOUR)
    assert room.engine.state.alarm_state(SHORT) is AlarmState.UNACKNOWLEDGED
    room.wait(5 * HOUR)
    assert room.engine.state.alarm_state(SHORT) in (AlarmState.NORMAL, AlarmState.RETURNED)
    assert len(room.told(SHORT)) == 1


def test_a_room_without_food_rings_nothing() -> None:
    """Who has no broods never hears of it, though the guide and a shelf know the alarm."""
    room = shed()
    room.wait(2 * HOUR)
    assert room.moves == []
    assert can_ring(room.engine.state)[SHORT] == ("food-short", "site")
