"""Who needs how many nauplii at which feeding time."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from monitor.core.demand import demand, spread
from monitor.core.food import BroodHeld, EaterHeld, Pantry
from monitor.core.model import DAY, HOUR, Ms
from tests.unit.core.test_broods import GOURAMI

NOW: Ms = 1_774_688_400_000  # 2026-03-28T09:00:00Z: in the night that follows the clocks of Berlin go forward
EATS = replace(GOURAMI, finer_days=0.0, wean_days=20.0)


def brood(name: str = "g-1", **changes: Any) -> BroodHeld:
    values: dict[str, Any] = {"fish": EATS, "spawned": NOW - 6 * DAY, "larvae": 100.0, "counted": NOW, "swam_up": NOW}
    return BroodHeld(id=name, tank_c=None, **{**values, **changes})


def pantry(*broods: BroodHeld, eaters: tuple[EaterHeld, ...] = (), **changes: Any) -> Pantry:
    values: dict[str, Any] = {"timezone": "Europe/Berlin", "feeding_times": (420, 720, 1080)}
    return Pantry(now=NOW, broods=broods, eaters=eaters, **{**values, **changes})


@pytest.mark.parametrize(
    ("times", "meals", "chosen"),
    [
        ((420, 720, 1080), 2, (420, 1080)),
        ((420, 720, 1080), 1, (420,)),
        ((420, 720, 1080), 4, (420, 720, 1080)),
        ((420, 720, 1080), None, (420, 720, 1080)),
        ((360, 600, 840, 1080, 1320), 3, (360, 840, 1320)),
        (tuple(range(0, 1440, 60)), 4, (0, 360, 720, 1080)),
    ],
)
def test_meals_are_spread_over_the_feeding_times(
    times: tuple[int, ...], meals: int | None, chosen: tuple[int, ...]
) -> None:
    """The gaps around the clock differ as little as can be; all times where there are no more than meals."""
    assert spread(times, meals) == chosen


def test_a_days_ration_is_split_over_its_meals_and_grows() -> None:
    """A hundred larvae at a hundred a day get five thousand at each of two meals at first, and 19 % more a day later."""
    found = demand(pantry(brood()), 400, 1)
    need = np.median(found.need, axis=0)
    first, after = need[0], need[2]
    hours = (found.meals[0].time - NOW) / HOUR
    assert first == pytest.approx(5000 * 1.19 ** (hours / 24), rel=0.02)
    assert after / first == pytest.approx(1.19 ** ((found.meals[2].time - found.meals[0].time) / DAY), rel=1e-6)


def test_meals_keep_their_hour_over_the_night_in_which_clocks_change() -> None:
    """Seven in the morning comes 23 hours after seven in the morning, in spring."""
    found = demand(pantry(brood(), feeding_times=(420,)), 3, 1)
    times = [meal.time for meal in found.meals]
    assert times[0] == NOW + 20 * HOUR  # 05:00Z on the 29th; the day before it was 06:00Z
    assert times[1] - times[0] == DAY
    autumn = 1_792_828_800_000  # 2026-10-24T08:00Z, the clocks go back in the night
    found = demand(replace(pantry(brood(swam_up=autumn), feeding_times=(420,)), now=autumn), 3, 1)
    assert found.meals[0].time == autumn + 22 * HOUR  # 06:00Z on the 25th; the day before it was 05:00Z


def test_no_nauplii_before_swim_up_on_finer_food_or_after_weaning() -> None:
    """Only meals that somebody needs are told; the first is after the finer food, the last before weaning."""
    fish = replace(EATS, finer_days=3.0, wean_days=6.0)
    found = demand(pantry(brood(fish=fish, swam_up=NOW + DAY)), 10, 1)
    times = [meal.time for meal in found.meals]
    assert min(times) >= NOW + 4 * DAY
    assert max(times) < NOW + 7 * DAY
    assert (found.need > 0).all()


def test_when_a_brood_swims_up_differs_between_scenarios() -> None:
    """In some courses they eat already, in others not yet; the chance grows from meal to meal."""
    found = demand(pantry(brood(swam_up=None, spawned=NOW - 4 * DAY)), 300, 1)
    eats = (found.need > 0).mean(axis=0)
    assert 0 < eats[0] < 0.5
    assert eats[-1] == 1.0
    assert (np.diff(eats) >= 0).all()


def test_a_number_that_was_just_counted_is_less_in_doubt() -> None:
    """Larvae that were counted today are known better than those foreseen at spawning."""
    doubts = [
        float(np.log(demand(pantry(brood(recounted=recounted)), 500, 1).need[:, 0]).std())
        for recounted in (True, False)
    ]
    assert doubts == [pytest.approx(0.05, rel=0.15), pytest.approx(0.15, rel=0.15)]


def test_mouths_grow_from_meal_to_meal() -> None:
    """The longest nauplius of a meal is that of the mouth on that day; an eater's stays."""
    found = demand(pantry(brood(), eaters=(EaterHeld("adults", 900, None, 500.0),)), 5, 1)
    mouths = [meal.largest_um for meal in found.meals if meal.eater == "g-1"]
    assert mouths == sorted(mouths, key=lambda one: one or 0)
    assert mouths[-1] == pytest.approx(430 + 12 * (found.meals[-1].time - NOW) / DAY, abs=6)
    assert {meal.largest_um for meal in found.meals if meal.eater == "adults"} == {500.0}


def test_other_eaters_get_the_same_every_day() -> None:
    """So many a day over all meals, in each scenario."""
    found = demand(pantry(eaters=(EaterHeld("adults", 900, None, None),)), 4, 1)
    assert len(found.meals) == 14 * 3
    assert (found.need == 300).all()


def test_a_brood_has_the_same_course_whatever_others_there_are() -> None:
    """A plan stays steady: another brood changes no draws, and more scenarios only add rows."""
    one = brood(swam_up=None)
    alone = demand(pantry(one), 50, 7)
    more = demand(pantry(brood("g-0", swam_up=None), one), 80, 7)
    places = [k for k, meal in enumerate(more.meals) if meal.eater == "g-1"]
    known = {meal.time: k for k, meal in enumerate(alone.meals)}
    for place in places:
        k = known.get(more.meals[place].time)
        row = more.need[:50, place]
        assert (row == (alone.need[:, k] if k is not None else 0)).all()
    assert (demand(pantry(one), 50, 8).need != alone.need).any()


def test_nobody_who_eats_is_no_demand() -> None:
    """No brood, no eater: no meal, and an array of no columns."""
    found = demand(pantry(), 20, 1)
    assert (found.meals, found.need.shape) == ((), (20, 0))
