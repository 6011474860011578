"""The whole look ahead, from a pantry to a plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.core.demand import demand
from monitor.core.feeding import feed
from monitor.core.food import FULL
from monitor.core.supply import held_sources, planned_sources
from monitor.planner.work import work, work_out
from tests.unit.planner.rooms import brood, room, tin

UNSEEN = 911


def test_what_is_planned_holds_in_worlds_that_nobody_planned_for() -> None:
    """In 300 worlds drawn anew, each meal that can be fed is short in no more than 4 % of them when 2 % were asked for.

    Common practice, no source: twice the chance asked for leaves room for so few worlds.
    """
    pantry = room(vessels=4, tins=2, days=5)
    found = work_out(pantry)
    eaten = demand(pantry, 300, UNSEEN)
    starts = [(one.vessel, one.lot, one.grams, one.start) for one in found.ahead.plan.starts]
    sources = (*held_sources(pantry, 300, UNSEEN), *planned_sources(pantry, starts, 300, UNSEEN))
    short = (feed(eaten, sources).got < FULL * eaten.need).mean(axis=0)
    unmet = {(one.time, one.eater) for one in found.ahead.plan.unmet}
    rest = [float(part) for meal, part in zip(eaten.meals, short, strict=True) if (meal.time, meal.eater) not in unmet]
    assert len(rest) > len(short) / 2
    assert max(rest) <= 0.04
    bare = np.array([one.short for one in found.ahead.bare.meals])
    assert bare.max() > 0.5  # without the plan they would starve


def test_a_plan_is_cheaper_when_less_is_asked() -> None:
    """Nine meals in ten cost less than 98 in 100."""
    strict, easy = (work(room(vessels=3, days=4, chance=chance)).plan.cost for chance in (0.98, 0.8))
    assert easy < strict


def test_a_plan_stays_when_nothing_changed() -> None:
    """An hour's plan made again with the last one known has the same starts."""
    first = work(room())
    again = work(replace(room(), last=first.plan))
    assert [one.id for one in again.plan.starts] == [one.id for one in first.plan.starts]
    assert again.plan.starts


def test_nobody_to_feed_needs_nothing() -> None:
    """Without broods and eaters there are neither meals nor starts."""
    ahead = work(replace(room(), broods=()))
    assert (ahead.outlook.meals, ahead.plan.starts) == ((), ())


@pytest.mark.parametrize("gone", ["vessels", "lots"])
def test_what_nothing_can_feed_is_unmet(gone: str) -> None:
    """Without a vessel or without a tin the meals after the store's end are told as unmet."""
    pantry = replace(room(), vessels=()) if gone == "vessels" else replace(room(), lots=())
    plan = work(pantry).plan
    assert plan.starts == ()
    assert plan.unmet


def test_a_mouth_too_small_for_the_cheap_tin_gets_the_other() -> None:
    """Only nauplii that fit are planned for a brood."""
    pantry = replace(
        room(), lots=(tin("big", 900.0, price=0.05), tin("small", 430.0, price=0.4)), broods=(brood("g", 100.0, 440.0),)
    )
    starts = work(pantry).plan.starts
    assert {one.lot for one in starts} == {"small"}
