"""Nauplii in the cold, against published and worked-out figures; each names where it comes from."""

from __future__ import annotations

import math

import pytest

from monitor.core.chill import UNCERTAIN, Bag, demand_mg_h, energy_lost, hours_of_oxygen, wet_oxygen_g_l

MILLION = 1_000_000


@pytest.mark.parametrize(("celsius", "published"), [(4.0, 1.396), (10.0, 1.361)])
def test_wet_oxygen(celsius: float, published: float) -> None:
    """Oxygen over water weighs 1.396 g/L at 4 C and 1.361 at 10 C (gas law less vapour pressure)."""
    assert wet_oxygen_g_l(celsius) == pytest.approx(published, abs=0.001)


@pytest.mark.parametrize(
    ("gas", "celsius", "hours"),
    [("oxygen", 4.0, 241.0), ("oxygen", 10.0, 126.0), ("air", 4.0, 77.0), ("air", 10.0, 40.0)],
)
def test_a_litre_of_gas_for_a_million(gas: str, celsius: float, hours: float) -> None:
    """A litre of gas lasts a million nauplii so long: worked out from Irwin, Wall & Davenport 2007 and the gas law."""
    bag = Bag(MILLION, 0.0, 1.0, "oxygen" if gas == "oxygen" else "air")
    assert hours_of_oxygen(bag, celsius) == pytest.approx(hours, rel=0.02)


@pytest.mark.parametrize(("gas", "days"), [("air", 4.0), ("oxygen", 7.0)])
def test_a_refrigerator_is_good_for_days(gas: str, days: float) -> None:
    """About four days under air and a week under oxygen at 4 C, a litre a million: common practice, no source."""
    bag = Bag(MILLION, 0.5, 1.0, "oxygen" if gas == "oxygen" else "air")
    hours = hours_of_oxygen(bag, 4.0)
    assert hours / UNCERTAIN <= 24 * days <= hours * UNCERTAIN
    assert energy_lost(4.0, 24 * days) < 0.2


def test_eight_million_a_litre_need_air() -> None:
    """Up to 8 million/L keep below 10 C for 24 h only with slight aeration (Ghent course): closed, they have minutes."""
    full_bottle = Bag(8 * MILLION, 1.0, 0.0)
    assert hours_of_oxygen(full_bottle, 10.0) < 0.5
    assert energy_lost(10.0, 24.0) < 0.05


def test_two_days_near_freezing_cost_no_significant_weight() -> None:
    """48 h at 2-4 C cost no significant weight (KKT1, J. Biol. Res. 2005): under a twentieth, where a warm day costs a fifth."""
    assert energy_lost(2.0, 48.0) < energy_lost(4.0, 48.0) < 0.05
    assert energy_lost(25.0, 24.0) == pytest.approx(0.19, abs=0.01)


def test_the_budget_adds_up() -> None:
    """Twice the animals have half the time, gas and water add, warmth shortens, and an empty bag lasts for ever."""
    bag = Bag(MILLION, 1.0, 1.0)
    assert hours_of_oxygen(Bag(2 * MILLION, 1.0, 1.0), 4.0) == pytest.approx(hours_of_oxygen(bag, 4.0) / 2)
    apart = hours_of_oxygen(Bag(MILLION, 1.0, 0.0), 4.0) + hours_of_oxygen(Bag(MILLION, 0.0, 1.0), 4.0)
    assert hours_of_oxygen(bag, 4.0) == pytest.approx(apart)
    assert hours_of_oxygen(bag, 10.0) < hours_of_oxygen(bag, 4.0)
    assert hours_of_oxygen(Bag(0.0, 1.0, 1.0), 4.0) == math.inf
    assert energy_lost(28.0, 1000.0) == 1.0


def test_demand_is_that_of_the_published_range() -> None:
    """From 0 to 30 C nauplii use 0.03-0.66 umol per mg dry weight and hour (Irwin, Wall & Davenport 2007)."""
    per_mg = [demand_mg_h(500, celsius) / 0.032 for celsius in (0.0, 30.0)]  # 500 of 2 ug are 1 mg
    assert per_mg[0] == pytest.approx(0.03, rel=0.05)
    assert per_mg[1] == pytest.approx(0.66, rel=0.001)
