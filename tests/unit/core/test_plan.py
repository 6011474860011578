"""From a choice to a plan that a keeper follows: names, reasons, how long a start can wait, what has changed, what would help."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from monitor.core.demand import demand
from monitor.core.feeding import feed
from monitor.core.food import (
    Choice,
    Costs,
    EaterHeld,
    LotHeld,
    Option,
    Outlook,
    Pantry,
    Plan,
    Problem,
    StoreHeld,
    VesselHeld,
)
from monitor.core.lots import Lot
from monitor.core.model import HOUR, LotSpec, Ms
from monitor.core.outlook import outlook
from monitor.core.plan import make_plan
from monitor.core.plan_costs import priced
from monitor.core.plan_help import lack
from monitor.core.plan_words import figure, grams, listed, odds
from monitor.core.supply import supply
from tests.unit.core.worlds import T0

ROWS, SEED = 200, 5
BATCHES = tuple((vessel, 24 * day) for day, vessel in enumerate(("ash", "birch", "ash", "birch", "ash")))
"""One a day by turns, each good for about two days of meals: vessel and hours from T0, 08:00 in Berlin."""


def a_pantry(water: float = 25.0, **changes: Any) -> Pantry:
    warm: dict[str, Any] = {"begin": T0, "water_c": (water,) * 337, "water_sd_c": (0.4,) * 337}
    vessels = tuple(
        VesselHeld(id=name, litres=2.0, most_g_l=5.0, batch="", **warm) for name in ("ash", "birch", "cedar")
    )
    tin = LotHeld(
        id="tin-8",
        strain="sfb",
        length_um=428.0,
        cysts_per_g=250_000.0,
        left_g=60.0,
        price_per_g=0.4,
        known=Lot.new(LotSpec("tin-8", "sfb", 85.0)).document(),
    )
    until = (T0 + 40 * HOUR, T0 + 44 * HOUR, T0 + 50 * HOUR)
    fridge = StoreHeld(id="fridge", nauplii=150_000.0, lots=(), until=until, keeps_h=(36.0, 44.0, 54.0))
    values: dict[str, Any] = {
        "now": T0,
        "timezone": "Europe/Berlin",
        "feeding_times": (7 * 60, 19 * 60),
        "vessels": vessels,
        "lots": (tin,),
        "eaters": (EaterHeld(id="adults", nauplii_per_day=60_000.0, meals=None, largest_um=None),),
        "stores": (fridge,),
        "days": 6,
    }
    return Pantry(**(values | changes))


def an_option(pantry: Pantry, vessel: str, hours: float, amount: float = 1.5, rows: int = ROWS) -> Option:
    start: Ms = T0 + round(hours * HOUR)
    source = supply(pantry, rows, SEED).planned(vessel, "tin-8", amount, start)
    return Option(
        vessel=vessel,
        lot="tin-8",
        grams=amount,
        start=start,
        harvest=start + 26 * HOUR,
        free=start + 30 * HOUR,
        cost=0.4 * amount,
        source=source,
        store="fridge",
    )


def a_problem(pantry: Pantry, *batches: tuple[str, float]) -> Problem:
    made = supply(pantry, ROWS, SEED)
    return Problem(
        demand=demand(pantry, ROWS, SEED),
        held=made.held(),
        options=tuple(an_option(pantry, *batch) for batch in batches),
        left_g={"tin-8": 60.0},
        chance=pantry.chance,
    )


def all_of(problem: Problem, *unmet: int) -> Choice:
    return Choice(chosen=tuple(range(len(problem.options))), cost=1.0, unmet=unmet)


def looked(pantry: Pantry, problem: Problem) -> Outlook:
    sources = (*problem.held, *(one.source for one in problem.options))
    return outlook(pantry, problem.demand, sources, feed(problem.demand, sources))


def test_each_start_says_for_which_meals_it_is() -> None:
    """Without it they would be short: from the evening of its second day on."""
    pantry = a_pantry()
    problem = a_problem(pantry, *BATCHES)
    plan = make_plan(pantry, problem, all_of(problem))
    first = plan.starts[0]
    assert first.reason.startswith("for ")
    assert "adults; without it there" in first.reason
    assert not first.backup
    assert T0 + 24 * HOUR < first.feeds_from < first.feeds_until < T0 + 4 * 24 * HOUR
    assert first.harvest.lo is not None
    assert first.harvest.hi is not None
    assert first.harvest.lo < first.harvest.hi < first.feeds_until
    assert first.nauplii.mid == pytest.approx(1.5 * 250_000 * 0.85 * 0.9, rel=0.1)


def test_a_batch_that_is_only_there_in_case_another_fails_is_a_backup() -> None:
    """Two started together, each enough: either may be left out, and the meals are full more often than not."""
    pantry = a_pantry(days=2, stores=(replace(a_pantry().stores[0], nauplii=60_000.0),))
    problem = a_problem(pantry, ("ash", 0), ("birch", 0))
    plan = make_plan(pantry, problem, all_of(problem))
    assert [start.backup for start in plan.starts] == [True, True]
    alone = a_problem(pantry, ("ash", 0))
    assert [start.backup for start in make_plan(pantry, alone, all_of(alone)).starts] == [False]


def test_a_start_can_wait_as_long_as_its_meals_stay_full() -> None:
    """With a full store it can wait; with an empty one, its meals come too soon."""
    waits = []
    for stored in (150_000.0, 330_000.0):
        pantry = a_pantry(stores=(replace(a_pantry().stores[0], nauplii=stored),))
        problem = a_problem(pantry, ("ash", 0))
        start = make_plan(pantry, problem, all_of(problem), planned=supply(pantry, ROWS, SEED).planned).starts[0]
        waits.append(start.start_by - start.start)
    assert 0 <= waits[0] <= waits[1]
    pantry = a_pantry(eaters=())
    problem = a_problem(a_pantry(), ("ash", 0))
    idle = make_plan(pantry, replace(problem, demand=demand(pantry, ROWS, SEED)), all_of(problem)).starts[0]
    assert idle.start_by - idle.start == 24 * HOUR


def test_a_start_keeps_its_name_while_it_is_the_same() -> None:
    """Moved by hours and changed by some grams it is the same one; in another vessel it is not."""
    pantry = a_pantry()
    problem = a_problem(pantry, ("ash", 0), ("birch", 24))
    before = make_plan(pantry, problem, all_of(problem))
    assert [start.id for start in before.starts] == ["ash-tin-8-0302-08", "birch-tin-8-0303-08"]
    later = replace(pantry, last=before)
    moved = a_problem(later, ("ash", 3), ("cedar", 24))
    after = make_plan(later, moved, all_of(moved))
    assert [start.id for start in after.starts] == ["ash-tin-8-0302-08", "cedar-tin-8-0303-08"]
    twice = a_problem(pantry, ("ash", 0), ("ash", 0.5))
    assert len({start.id for start in make_plan(pantry, twice, all_of(twice)).starts}) == 2


def test_what_has_changed_is_told_with_its_cause() -> None:
    """A colder vessel starts earlier, and it is said that it is the cold."""
    pantry = a_pantry()
    problem = a_problem(pantry, ("ash", 24), ("birch", 48))
    before = make_plan(pantry, problem, all_of(problem))
    colder = replace(a_pantry(water=21.0), last=before)
    sooner = a_problem(colder, ("ash", 21), ("birch", 48))
    changed = make_plan(colder, sooner, all_of(sooner)).changed
    assert changed == ("ash starts 3 h earlier: the water in ash is going to be 4 °C colder than foreseen.",)
    same = replace(pantry, last=before)
    assert make_plan(same, problem, all_of(problem)).changed == ()


def test_a_first_plan_has_changed_nothing() -> None:
    """All of it is new, so nothing is told as such: with no plan before, and after the empty one from when nobody ate."""
    nobody = Plan(made=T0 - HOUR, until=T0 + HOUR)
    pantry = a_pantry()
    problem = a_problem(pantry, ("ash", 24), ("birch", 48))
    for last in (None, Plan(0, 0), nobody):
        assert make_plan(replace(pantry, last=last), problem, all_of(problem)).changed == ()
    other = a_pantry(last=make_plan(pantry, problem, all_of(problem)))
    more = a_problem(other, ("ash", 24), ("birch", 48), ("cedar", 48))
    assert make_plan(other, more, all_of(more)).changed == ("New: start 1.5 g of tin-8 in cedar at Wed 08:00.",)


def test_costs_are_money_only_where_cysts_have_a_price() -> None:
    """A tin's own price or one for all of them makes them so; the price of salt alone does not."""
    untold = tuple(replace(lot, price_per_g=None) for lot in a_pantry().lots)
    found = []
    for changes in ({}, {"lots": untold}, {"lots": untold, "costs": Costs(cysts_per_g=0.3)}):
        pantry = a_pantry(**changes)
        problem = a_problem(pantry, ("ash", 0))
        found.append(make_plan(pantry, problem, all_of(problem)).priced)
    assert found == [True, False, True]
    assert not priced(a_pantry(lots=untold, costs=Costs(salt_per_kg=2.0)))


def test_a_start_that_was_made_is_no_change() -> None:
    """What the keeper has followed is not told as missing; what is gone otherwise is."""
    pantry = a_pantry()
    problem = a_problem(pantry, ("ash", 0), ("birch", 24))
    before = make_plan(pantry, problem, all_of(problem))
    later = replace(pantry, last=before, now=T0 + 23 * HOUR)
    left = a_problem(later, ("birch", 24))
    assert make_plan(later, left, all_of(left)).changed == (
        "No start of tin-8 in ash at Mon 08:00 any more: its time is over.",
    )
    eaten = replace(later, last=replace(before, starts=before.starts[1:]))
    assert make_plan(eaten, left, all_of(left)).changed == ()


def test_what_nothing_can_meet_says_what_would() -> None:
    """Tried, not guessed: in cold vessels a meal in two and a half days is met by a heater, tonight's by nothing."""
    pantry = a_pantry(water=16.0, stores=(replace(a_pantry().stores[0], nauplii=0.0),))
    problem = a_problem(pantry, ("ash", 0))
    plan = make_plan(pantry, problem, all_of(problem, 0, 4), looked(pantry, problem))
    first, second = plan.unmet
    assert first.chance == 1.0
    assert "buy or borrow about 30 000 young brine shrimp" in first.help
    assert second.help == "A heater (25 °C) in ash would make it full."
    assert first.why


def test_nobody_is_told_to_buy_none() -> None:
    """Where none are missing in most worlds, no number is named."""
    assert [lack(missing) for missing in (-3.0, 0.0, 0.4, 1.0, 30_400.0)] == [
        *["some young brine shrimp"] * 3,
        "about 1 young brine shrimp",
        "about 30 000 young brine shrimp",
    ]


def test_a_store_helps_where_there_is_none() -> None:
    """What is harvested today could be fed tomorrow evening if it were kept cold."""
    pantry = a_pantry(cooled=False, stores=())
    problem = a_problem(pantry, ("ash", 0), ("birch", 0))
    (unmet,) = make_plan(pantry, problem, all_of(problem, 4), looked(pantry, problem)).unmet
    assert "cold store" in unmet.help


def test_a_plan_without_starts_or_eaters_is_just_empty() -> None:
    """Nobody eats, nothing is started, nothing has changed."""
    pantry = a_pantry(eaters=(), last=Plan(0, 0))
    made = supply(pantry, ROWS, SEED)
    problem = Problem(demand=demand(pantry, ROWS, SEED), held=made.held(), options=(), left_g={}, chance=0.98)
    plan = make_plan(pantry, problem, Choice(chosen=(), cost=0.0))
    assert (plan.starts, plan.changed, plan.unmet, plan.cost) == ((), (), (), 0.0)


@pytest.mark.parametrize(
    ("chance", "told"),
    [
        (0.004, "1 chance in 100"),
        (0.05, "5 chances in 100"),
        (0.25, "1 chance in 4"),
        (0.61, "6 chances in 10"),
        (0.98, "almost surely"),
    ],
)
def test_chances_are_told_as_one_says_them(chance: float, told: str) -> None:
    """Never more exact than they are known."""
    assert odds(chance) == told


def test_amounts_are_told_as_they_can_be_weighed() -> None:
    """Tenths of a gram, two digits of a number of nauplii, and no endless lists."""
    assert [grams(value) for value in (3.5, 3.0, 0.25)] == ["3.5 g", "3 g", "0.25 g"]
    assert [figure(value) for value in (0, 87, 9_720, 283_000)] == ["0", "87", "9 700", "280 000"]
    assert listed(["a", "b", "c", "d"]) == "a, b and 2 others"
