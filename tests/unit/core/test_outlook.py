"""Supply against demand: chances, what is in hand, and what a short meal is due to."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from monitor.core.feeding import feed
from monitor.core.model import HOUR, Span
from monitor.core.outlook import outlook
from monitor.core.supply import held_sources
from tests.unit.core.larder import demand, fridge, pantry, source, under_way
from tests.unit.core.worlds import T0

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.food import Demand, MealOutlook, Outlook, Source

INF = float("inf")
SCENARIOS = 200


def looked(wanted: Demand, sources: Sequence[Source], **changes: Any) -> Outlook:
    return outlook(pantry(days=3, **changes), wanted, sources, feed(wanted, sources))


def one_meal(
    sources: Sequence[Source], need: Sequence[float], hour: float = 24, mouth: float | None = None
) -> MealOutlook:
    return looked(demand([(hour, "killi-3", mouth)], [[one] for one in need]), sources).meals[0]


def test_a_meal_is_short_below_nine_tenths() -> None:
    """The chance is the share of courses of the world in which a meal gets less than 90 % of its need (common practice)."""
    meal = one_meal([source([0] * 4, [99] * 4, [89, 90, 100, 1000])], [100, 100, 100, 100])
    assert meal.short == 0.25
    assert meal.need == Span(100, 100, 100)
    assert meal.got.mid == pytest.approx(95)
    assert meal.time == T0 + 24 * HOUR


def test_who_needs_nothing_is_not_short() -> None:
    """In courses in which a brood does not eat yet its meal is never short."""
    assert one_meal([], [0, 0, 0, 100]).short == 0.25
    assert one_meal([], [0, 0, 0, 0]).why == ""


def test_nothing_under_way_is_said() -> None:
    """With nothing at all that is what a meal is short for."""
    assert one_meal([], [100.0]).why == "Nothing is under way for it."


def test_a_late_batch_is_named_with_how_late() -> None:
    """A batch that comes after the meal is named, with when it comes and how much later that is."""
    late = source([30], [99], [200], kind="batch", name="b7")
    early = source([0], [10], [500], kind="batch", name="b6")
    assert one_meal([early, late], [100.0]).why == (
        "Batch b7 may come too late: then it can be fed at about Tue 14:00, 6 h later."
    )


def test_a_late_batch_comes_at_one_time_for_all_who_eat_together() -> None:
    """Who is short in other courses of the world than the others is told the same of the batch that all wait for."""
    late = source([30, 30, 30, 36], [99] * 4, [500] * 4, kind="batch", name="b7")
    wanted = demand([(24, "killi-3", None), (24, "adults", None)], [[100.0, 0.0]] * 3 + [[100.0, 100.0]])
    killi, adults = looked(wanted, [late]).meals
    assert (killi.short, adults.short) == (1.0, 0.25)
    assert killi.why == adults.why == "Batch b7 may come too late: then it can be fed at about Tue 14:00, 6 h later."


def test_a_failed_batch_is_named() -> None:
    """Where a meal is short since one batch may fail, that batch is named, and no other."""
    fails = source([20] * 19 + [INF], [99] * 19 + [INF], [100] * 20, kind="batch", name="b7")
    other = source([20] * 19 + [INF], [23] * 19 + [INF], [100] * 20, kind="batch", name="b6")
    meal = one_meal([other, fails], [100.0] * 20)
    assert meal.short == pytest.approx(0.05)
    assert meal.why == "If batch b7 fails, there is no other one for it."


def test_far_meals_name_no_batch() -> None:
    """What is short in a week is told why, without the name of a batch that may be another by then."""
    fails = source([140] * 9 + [INF], [199] * 9 + [INF], [100] * 10, kind="batch", name="b7")
    late = source([170], [199], [200], kind="batch", name="b7")
    assert one_meal([fails], [100.0] * 10, hour=150).why == "If a batch fails, there is no other one for it."
    assert one_meal([late], [100.0], hour=150).why == "What is under way comes too late for it."


def test_a_store_that_ends_before_is_named() -> None:
    """What spoils before the meal is named."""
    store = source([0], [20], [500], kind="store", name="fridge")
    assert one_meal([store], [100.0]).why == "What fridge holds is no longer good then."


def test_a_store_that_is_eaten_before_is_named() -> None:
    """What earlier meals have eaten is told, with how many are missing."""
    wanted = demand([(1, "killi-3", None), (24, "killi-3", None)], [[4000.0, 3000.0]])
    store = source([0], [99], [4600], kind="store", name="fridge")
    first, second = looked(wanted, [store]).meals
    assert first.why == ""
    assert second.why == "What fridge holds is eaten before: about 2 400 are missing."


def test_too_large_for_the_mouth_is_said() -> None:
    """Where there is enough, but too long, the mouth is told."""
    large = source([0], [99], [500], length_um=490.0)
    assert one_meal([large], [100.0], mouth=430.0).why == (
        "What there is then is longer than the 430 um that they can take."
    )


def test_too_few_cysts_are_said() -> None:
    """A batch that is there in time but gives too little is no late one."""
    assert one_meal([source([0], [99], [41], kind="batch", name="b7")], [100.0]).why == (
        "There are too few: about 59 are missing."
    )


def test_what_is_in_hand_before_each_feeding() -> None:
    """Fresh and chilled nauplii are told for each feeding time, before anybody has eaten then, and without what was eaten."""
    wanted = demand([(5, "killi-3", None), (23, "killi-3", None)], [[30.0, 30.0]])
    sources = [
        source([0], [99], [100], kind="store", name="fridge"),
        source([4], [40], [50], kind="batch", name="b7"),
        source([INF], [INF], [999], kind="batch", name="b8"),
    ]
    found = looked(wanted, sources).in_hand
    assert [round((one.time - T0) / HOUR, 2) for one in found[:5]] == [4, 10, 23, 28, 34]
    assert [(one.fresh.mid, one.chilled.mid) for one in found[:5]] == [(50, 100), (20, 100), (0, 120), (0, 90), (0, 90)]
    assert len(found) == 9


def test_one_batch_alone_is_short_as_often_as_one_fails() -> None:
    """Two batches rather than one when a single failure would starve a brood (common practice, no source)."""
    wanted = demand([(30, "killi-3", None)], [[1000.0]] * SCENARIOS)
    chances = []
    for number in (1, 2):
        batches = tuple(under_way(f"b{k}", ready_h=20.0) for k in range(number))
        held = pantry(batches=batches, failed=(0, 0))
        sources = held_sources(held, SCENARIOS, 5)
        chances.append(outlook(held, wanted, sources, feed(wanted, sources)).meals[0].short)
    assert chances[0] == pytest.approx(0.05, abs=0.005)
    assert chances[0] > 0.02  # more than a site's usual 98 % allows
    assert chances[1] < 0.01


def test_the_outlook_ends_with_the_days_that_are_looked_at() -> None:
    """It says from when to when it looks."""
    found = looked(demand([], np.zeros((3, 0))), [source([0] * 3, [9] * 3, [5] * 3)])
    assert (found.time, found.until) == (T0, T0 + 72 * HOUR)
    assert found.meals == ()
    assert looked(demand([], np.zeros((3, 0))), []).in_hand[0].chilled == Span(0, 0, 0)
    assert fridge().nauplii == 0
