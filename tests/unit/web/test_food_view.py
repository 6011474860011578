"""The page "Food" in words and places, without a server."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pytest

from monitor.core.model import DAY, HOUR
from monitor.web.food_chart import pictures, servings
from monitor.web.food_view import food_line, make_food
from monitor.web.food_view_words import chance, some, some_range
from monitor.web.when import rfc3339
from tests.adapters.web import food_example
from tests.adapters.web.food_example import FIRST_MEAL, a_brood, a_meal, a_plan, a_planned_start, at, count, food
from tests.adapters.web.memory_desk import NOW, a_batch, bad_night

BERLIN = ZoneInfo("Europe/Berlin")


def bench(**inside: Any) -> dict[str, Any]:
    """The shed with nothing in cedar, or with what is said."""
    found = bad_night()
    for vessel in found["vessels"]:
        vessel["batch"] = inside.get(vessel["id"])
    return found


def quiet(**changes: Any) -> dict[str, Any]:
    """A fortnight in which nothing is to be done now."""
    found = food(plan=a_plan() | {"starts": a_plan()["starts"][1:], "changed": []})
    for meal in found["meals"]:
        meal["short"], meal["why"] = 0.0, ""
    return found | changes


@pytest.mark.parametrize(
    ("share", "told"),
    [
        (0.003, "hardly any chance"),
        (0.021, "1 chance in 50"),
        (0.04, "1 chance in 25"),
        (0.25, "1 chance in 4"),
        (0.49, "1 chance in 2"),
        (0.61, "3 chances in 5"),
        (0.92, "9 chances in 10"),
        (0.99, "almost surely"),
        (1.0, "almost surely"),
    ],
)
def test_a_chance_is_told_as_people_say_it(share: float, told: str) -> None:
    """A tired person reads one of a few simple fractions, the nearest one."""
    assert chance(share) == told


@pytest.mark.parametrize(
    ("value", "told"),
    [(0.0, "0"), (0.4, "0"), (7.0, "7"), (23_847, "24 000"), (999_600, "1 million"), (1_234_567, "1.2 million")],
)
def test_numbers_are_told_as_finely_as_they_are_known(value: float, told: str) -> None:
    """Two digits, thousands apart, millions as such."""
    assert some(value) == told


def test_a_range_says_its_unit_once() -> None:
    """Both ends, or one number where they round to the same."""
    assert some_range(count(151_000, 190_000, 233_000)) == "150 000 to 230 000"
    assert some_range(count(1.1e6, 1.2e6, 1.31e6)) == "1.1 to 1.3 million"
    assert some_range(count(151_000, 151_500, 152_000)) == "150 000"


def test_what_is_due_comes_first_with_what_happens_without_it() -> None:
    """The headline says what to start and until when; below it stands which meal depends on it."""
    view = make_food(food(), bench())
    assert view.headline == "Start 3.5 g of tin-8 in cedar before 06:55"
    assert view.then == "Without it Tue 19:00 may be short for killi-3 (1 chance in 4)."
    assert view.due is not None
    assert [one.vessel for one in view.starts] == ["ash", "birch"]
    assert view.unmet == (
        "Tue 07:00 may be short for killi-3 (1 chance in 25). The batch in ash may come up to 3 h too late.",
    )
    assert view.mark == "low"


def test_what_has_no_price_costs_no_money() -> None:
    """No start tells a cost, and the plan says why there is none."""
    view = make_food(food_example.unpriced(), bench())
    assert view.due is not None
    assert {one.cost for one in (view.due, *view.starts)} == {""}
    assert view.cost == "3 batches until 16 Mar 02:10. No tin has a price, so the cost is not known."


def test_a_start_that_cannot_wait_is_marked_as_such() -> None:
    """Within the last hour, and after it, the mark is that of trouble, and the words say now."""
    late = a_planned_start(start_by=at(-0.2))
    view = make_food(food(plan=a_plan() | {"starts": [late]}), bench())
    assert (view.headline, view.mark) == ("Start 3.5 g of tin-8 in cedar now", "medium")


def test_when_nothing_is_due_the_headline_says_how_long_food_lasts() -> None:
    """Until the first meal that what is under way does not cover, and what comes next."""
    view = make_food(quiet(), bench())
    assert view.headline == "Food for every meal until Tue 07:00"
    assert view.then == "Next: start 1.5 g of tin-7 in ash, today 19:00 to 22:00."
    assert view.mark == ""
    all_there = quiet(bare=[])
    assert make_food(all_there, bench()).headline == "Food for every meal until 15 Mar 19:00"


def test_a_meal_that_nothing_makes_full_is_told_with_what_would_help() -> None:
    """When, for whom, how likely, why and what would help, also beside a start that is due."""
    view = make_food(food_example.too_late(), bench())
    told = (
        "Tue 07:00 may be short for killi-3 all the same (3 chances in 5). A batch started now comes 5 h too late. "
        "With a heater (25 C) in cedar it would be in time."
    )
    assert view.unmet == (told,)
    nothing_due = food_example.too_late()
    nothing_due["plan"]["starts"] = []
    view = make_food(nothing_due, bench())
    assert view.headline == "Tue 07:00 may be short for killi-3 (3 chances in 5)"
    told = "A batch started now comes 5 h too late. With a heater (25 C) in cedar it would be in time."
    assert (view.mark, view.then, view.unmet) == ("medium", told, ())


def test_meals_that_lack_for_the_same_reason_are_told_together() -> None:
    """One sentence for all eaters and times with one reason; what is sure enough after all is not told of."""
    one = food_example.unmet()
    more = [
        one,
        one | {"eater": "adults"},
        one | {"time": at(60), "chance": 0.1},
        one | {"time": at(80), "why": "b", "chance": 0.01},
    ]
    (told,) = make_food(food(plan=a_plan() | {"unmet": more}), bench()).unmet
    assert told.startswith(
        "2 feeding times from Tue 07:00 to Wed 14:10 may be short for killi-3 and adults all the same (3"
    )


def test_a_start_that_was_made_since_is_not_asked_for_again() -> None:
    """Until the plan is made anew the bench tells that the batch is there; another one in the vessel blocks the start."""
    there = a_batch("cedar", lot="tin-8", start=at(-0.05), id="cedar-7")
    view = make_food(food(), bench(cedar=there))
    assert view.due is None
    assert view.starts[0].done == "Started today 02:07 as cedar-7."
    assert [deed.kind for deed in view.pictures[0].deeds] == ["start", "harvest", "start", "harvest"]
    old = a_batch("cedar", lot="tin-8", start=at(-30), id="cedar-6")
    view = make_food(food(), bench(cedar=old))
    assert view.due is not None
    assert (view.due.blocked, view.due.done) == ("cedar-6", "")
    assert make_food(food(), bench()).due.blocked == ""  # type: ignore[union-attr]


def test_states_without_a_plan_say_what_to_do() -> None:
    """Nothing looked at yet, nobody to feed, switched off, failed before it ever succeeded."""
    assert make_food({}, bench()).headline == "The first look ahead is not there yet"
    nobody = make_food(food_example.nothing(), bench())
    assert (nobody.headline, nobody.begin, nobody.pictures) == ("Nobody to feed yet", True, ())
    off = make_food(food_example.switched_off(), bench())
    assert (off.headline, "plan = false" in off.then) == ("No plan is made", True)
    empty = a_plan() | {"starts": [], "changed": [], "cost": 0.0}
    failed = food_example.nothing(broods=[a_brood()], planned_at=None, trouble="no memory", plan=empty)
    view = make_food(failed, bench())
    assert view.headline == "No look ahead has succeeded yet"
    assert view.notices == ("The newest look ahead failed: no memory.",)


def test_a_look_ahead_of_long_ago_says_so() -> None:
    """What failed tells why, and what was merely missed tells its age; a fresh one tells neither."""
    told = (
        "The newest look ahead failed: planning took longer than 20 s and was stopped. "
        "What stands here was reckoned Sun 21:10, 5 h ago."
    )
    assert make_food(food_example.troubled(), bench()).notices == (told,)
    old = make_food(food(planned_at=at(-3)), bench()).notices
    assert old == ("Reckoned Sun 23:10, 3 h ago: what has been noted since is not in it yet.",)
    assert make_food(food(), bench()).notices == ()


def test_meals_soon_are_told_one_by_one_and_later_ones_by_day() -> None:
    """Two days in full, with the reason beside a meal that may be short; the rest folded."""
    view = make_food(food(), bench())
    assert [day.name for day in view.near] == ["Today, Mon 2 Mar", "Tue 3 Mar"]
    morning = view.near[1].servings[0]
    assert (morning.clock, morning.troubled) == ("07:00", True)
    killi, adults = morning.meals
    assert (killi.short, killi.why) == (
        "may be short (1 chance in 25)",
        "The batch in ash may come up to 3 h too late.",
    )
    assert (adults.short, adults.why) == ("", "")
    assert view.far_told == "24 feeding times from Wed 07:00 on"
    assert len(view.rows) == 28


def test_a_reason_that_all_share_is_told_once() -> None:
    """Who is short at the same time for the same reason stands in a row, and the reason behind the last of them."""
    found = food()
    (time,) = {meal["time"] for meal in found["meals"] if meal["short"] == 0.04}
    why = next(meal["why"] for meal in found["meals"] if meal["time"] == time and meal["why"])
    for meal in found["meals"]:
        if meal["time"] == time:
            meal.update(short=0.04, why=why)
    (meals,) = (one.meals for day in make_food(found, bench()).near for one in day.servings if one.troubled)
    assert len(meals) > 1
    assert [one.short for one in meals] == ["may be short (1 chance in 25)"] * len(meals)
    assert [one.why for one in meals] == [""] * (len(meals) - 1) + ["The batch in ash may come up to 3 h too late."]


def test_past_meals_are_gone_and_the_picture_begins_now() -> None:
    """What was to be fed before now is nobody's business any more."""
    later = bench() | {"now_ms": FIRST_MEAL + HOUR}
    view = make_food(food(), later)
    assert len(view.rows) == 27
    assert view.pictures[0].now_x == pytest.approx(1.0)


def test_columns_and_marks_stand_in_one_scale_and_inside() -> None:
    """In each picture a column is to its mark as what is in hand is to what is needed; nothing is drawn outside."""
    served = servings(food(), NOW)
    near, far = pictures(served, a_plan()["starts"], NOW, BERLIN)
    assert len(near.columns) + len(far.columns) == len(served)
    for picture in (near, far):
        for column in picture.columns:
            assert column.x >= 0
            assert column.x + column.width <= 100
            assert picture.top <= column.fresh_y <= column.chilled_y <= picture.base
            assert column.high_y <= column.fresh_y <= column.low_y or column.cut
    first, column = served[2], near.columns[2]
    assert not column.cut
    assert (near.base - column.fresh_y) / (near.base - column.need_y) == pytest.approx(first.mid / first.need, rel=0.02)
    assert [column.short for column in near.columns] == [False, False, True, False, False, False, False, False]
    assert near.columns[2].word == "short"
    assert "1 chance in 25" in near.columns[2].full
    assert [day.label for day in near.days] == ["Tue", "Wed", "Thu"]
    assert (near.deeds[0].kind, near.deeds[0].full) == ("start", "Start cedar today 02:10")


def test_a_store_that_overflows_does_not_flatten_what_is_needed() -> None:
    """More in hand than four times the largest need is cut off, and says so."""
    rich = food()
    for item in rich["in_hand"]:
        item["chilled"] = count(5e6, 6e6, 7e6)
    near = pictures(servings(rich, NOW), [], NOW, BERLIN)[0]
    assert all(column.cut for column in near.columns)
    assert near.base - near.columns[-1].need_y > 10
    assert "there is more" in near.description


@pytest.mark.parametrize("day", ["2026-03-29", "2026-10-25"])
def test_nights_and_days_are_right_when_clocks_change(day: str) -> None:
    """In Berlin's short and its long night meals, nights and midnights keep their local hours."""
    now = rfc3339(f"{day}T00:00:00Z") - 6 * HOUR
    times = [now + 13 * HOUR + n * DAY for n in range(5)]
    one = food(meals=[a_meal(time, "killi-3", "", 20_000) for time in times], in_hand=[])
    near = pictures(servings(one, now), [], now, BERLIN)[0]
    begins = [column.middle for column in near.columns]
    assert begins == sorted(begins)
    assert all(stretch.width > 0 for stretch in near.nights)
    long_ = 25 if day.endswith("25") else 23
    first, second = (mark.x for mark in near.days[:2])
    ordinary = near.days[2].x - second
    assert (second - first) / ordinary == pytest.approx(long_ / 24, rel=0.01)


def test_both_kinds_in_hand_are_not_both_at_their_worst_at_once() -> None:
    """The range of the sum is narrower than the sum of the ranges, and wider than each."""
    one = servings(food(), NOW)[0]
    assert one.mid - (one.fresh[1] - one.fresh[0]) - (one.chilled[1] - one.chilled[0]) < one.low
    assert one.low < one.mid - max(one.fresh[1] - one.fresh[0], one.chilled[1] - one.chilled[0])


def test_the_bench_gets_one_line_or_none() -> None:
    """What is due, else the next meal that may be short within two days, else nothing."""
    assert food_line(food(), bench()) == "Food: start 3.5 g of tin-8 in cedar before 06:55"
    assert food_line(quiet(), bench()) == ""
    assert food_line({}, bench()) == ""
    short = quiet()
    short["meals"][0]["short"] = 0.3
    assert food_line(short, bench()) == "Food: today 07:00 may be short for killi-3 (1 chance in 3)"
    far = quiet()
    far["meals"][-1]["short"] = 0.3
    assert food_line(far, bench()) == ""


def test_what_there_is_is_told_with_its_life() -> None:
    """Tins with what is left and how long it lasts, a store with a bar of its life, broods with what they need."""
    view = make_food(food(), bench())
    tin, falling = view.tins
    assert (tin.left, tin.lasts, tin.kept) == (
        "41.5 g left",
        "enough for 9 to 14 days",
        "opened 21 days ago, kept cool",
    )
    assert tin.facts == "hatches 84 %, 1.85 EUR per million young"
    assert falling.caution == "Fewer hatch than before."
    (fridge,) = view.stores
    assert (fridge.until, fridge.spread) == ("Tue 16:10", "Tue 00:10 to Wed 16:10")
    assert fridge.life is not None
    assert [fridge.life.low, fridge.life.high] == pytest.approx([22.9, 64.6])
    killi, gourami = view.broods
    assert killi.stage == "Swims since Thu 02:10"
    assert gourami.stage == "Swims up about Wed 06:10 (Tue 18:10 to Wed 20:10)"
    assert gourami.needs.startswith("nothing yet, at most 150 000")
    unknown = food(stores=[food()["stores"][0] | {"until": {"lo": None, "mid": None, "hi": None}}])
    (store,) = make_food(unknown, bench()).stores
    assert (store.life, store.until) == (None, "not in sight")


def test_a_plan_that_may_not_be_the_best_says_so() -> None:
    """What time did not allow to look for is told, from one part in a hundred on."""
    assert "may exist" not in make_food(food(), bench()).cost
    told = make_food(food(plan=a_plan() | {"gap": 0.04}), bench()).cost
    assert "A plan up to 4 % cheaper may exist" in told
