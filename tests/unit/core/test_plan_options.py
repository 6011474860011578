"""Which starts are offered to the planner."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from monitor.core.demand import demand
from monitor.core.food import Costs, Plan, PlannedStart
from monitor.core.model import DAY, HOUR, Span
from monitor.core.plan_costs import prices_of
from monitor.core.plan_options import kept_of, options
from monitor.core.plan_starts import free_at, start_times
from monitor.core.supply import per_gram
from tests.unit.planner.rooms import NOW, brood, room, tin, vessel

if TYPE_CHECKING:
    from monitor.core.food import Option, Pantry
    from monitor.core.model import Ms
    from monitor.core.supply import Grams

WORLDS = 20
FEW = 900
BEFORE_CLOCKS_GO_BACK: Ms = 1_792_749_600_000  # 2026-10-23 10:00 UTC; they do on the 25th


def offered(pantry: Pantry) -> tuple[Option, ...]:
    def given(vessel_: str, lot: str, start: Ms) -> Grams:
        return per_gram(pantry, vessel_, lot, start, WORLDS, 3)

    return options(pantry, demand(pantry, WORLDS, 3), (), given)


def test_starts_fall_in_the_keepers_hours() -> None:
    """Nothing is to be started at night, also where clocks change."""
    pantry = replace(room(days=6), now=BEFORE_CLOCKS_GO_BACK)
    starts = start_times(pantry)
    there = [datetime.fromtimestamp(start / 1000, ZoneInfo("Europe/Berlin")) for start in starts]
    assert all(7 <= one.hour < 22 for one in there)
    assert {one.date().day for one in there} >= {24, 25, 26}
    assert min(starts) >= pantry.now


def test_density_and_tin_limit_the_grams() -> None:
    """No option has more cysts than the vessel takes or the tin holds, nor less than a balance shows."""
    found = offered(room(vessels=2, tins=2, broods=3, days=6))
    assert found
    assert all(0.1 <= one.grams <= 10.0 for one in found)
    little = replace(room(days=6), lots=(tin("tin-0", left_g=0.7),), broods=(brood("killi", 900.0),))
    assert {one.grams for one in offered(little)} <= {0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7}
    assert offered(replace(little, lots=(tin("tin-0", left_g=0.05),))) == ()


def test_a_tin_that_fits_no_mouth_is_not_offered() -> None:
    """Long nauplii are of no use to small mouths."""
    pantry = replace(room(days=5), lots=(tin("long", 900.0), tin("short", 430.0)), broods=(brood("g", 100.0, 440.0),))
    assert {one.lot for one in offered(pantry)} == {"short"}


def test_a_vessel_is_offered_when_it_is_free() -> None:
    """Not while a batch is in it, and not before the keeper wants it used again."""
    held = room(days=6)
    later = replace(held, vessels=(replace(vessel("ash"), not_before=NOW + DAY), vessel("birch")))
    first = {name: min(one.start for one in offered(later) if one.vessel == name) for name in ("ash", "birch")}
    assert first["ash"] >= NOW + DAY
    assert first["birch"] < NOW + HOUR
    unknown = replace(vessel("ash"), batch="b1")
    assert free_at(held, unknown) == NOW + 12 * HOUR


def test_each_vessel_gets_its_turn_and_there_are_few_options() -> None:
    """Six vessels, four tins and six broods for 14 days make fewer than 900 options, and use all vessels."""
    found = offered(room(vessels=6, tins=4, broods=6, days=14))
    assert len(found) < FEW
    assert {one.vessel for one in found} == {"ash", "birch", "cedar", "damson", "elder", "fir"}
    assert len({(one.vessel, one.lot, one.start, one.grams) for one in found}) == len(found)


def test_what_was_planned_is_offered_again() -> None:
    """A start of the plan before is an option as it was, whatever grams and hour it had."""
    span = Span(None, None, None)
    start = PlannedStart(
        id="x",
        vessel="ash",
        lot="tin-0",
        grams=3.7,
        litres=2.0,
        salinity_g_l=25.0,
        start=NOW + 7 * HOUR + 60_000,
        start_by=NOW + 8 * HOUR,
        harvest=span,
        nauplii=span,
        store="",
        cost=1.0,
        feeds_from=NOW,
        feeds_until=NOW,
        backup=False,
        reason="",
    )
    pantry = replace(room(), last=Plan(made=NOW, until=NOW + DAY, starts=(start,)))
    found = offered(pantry)
    kept = kept_of(pantry, found)
    assert [(found[k].vessel, found[k].grams, found[k].start) for k in kept] == [("ash", 3.7, start.start)]


def test_a_batch_costs_what_it_uses() -> None:
    """2 g at 0.20, 50 g of salt at 1 a kilogram, 24 h of 15 W at 0.30, one visit at 4 in the night: reckoned by hand."""
    costs = Costs(cysts_per_g=0.5, salt_per_kg=1.0, kwh=0.3, vessel_w=15.0, visit=2.0)
    pantry = replace(room(), costs=costs, cooled=False)
    noon = NOW + 4 * HOUR
    by_hand = 2 * 0.2 + 0.05 + 24 * 0.015 * 0.3
    price = prices_of(pantry)
    assert price.batch(pantry.vessels[0], tin("t", price=0.2), 2.0, noon, noon + 24 * HOUR, 1e5) == pytest.approx(
        by_hand
    )
    assert price.batch(pantry.vessels[0], tin("t", price=None), 2.0, noon, noon + 24 * HOUR, 1e5) == pytest.approx(
        by_hand + 2 * 0.3
    )
    night = noon + 16 * HOUR
    assert price.batch(pantry.vessels[0], tin("t", price=0.2), 2.0, night, night + 24 * HOUR, 1e5) == pytest.approx(
        by_hand + 2 * 2.0
    )


def test_without_prices_grams_are_counted() -> None:
    """Where nobody told any price, fewer cysts are still better than more."""
    pantry = replace(room(), costs=Costs(), lots=(tin("a", price=None),))
    assert prices_of(pantry).per_g(pantry.lots[0]) == 1.0
