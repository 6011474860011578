"""Oxygen against published figures; each names where it comes from."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.core.oxygen import (
    CRITICAL_MG_L,
    Vessel,
    demand,
    hours_left,
    saturation,
    surface_per_h,
    weak_hours_left,
    weak_settles,
)


@pytest.mark.parametrize(
    ("celsius", "published"),
    [(0, 14.6), (4, 13.1), (10, 11.3), (15, 10.1), (20, 9.09), (25, 8.26), (28, 7.83), (30, 7.56)],
)
def test_saturation_of_fresh_water(celsius: float, published: float) -> None:
    """Saturation of fresh water at 1 atm agrees with the table of EN 25814 to its last digit."""
    digits = 2 if published < 10 else 1
    assert float(saturation(celsius)) == pytest.approx(published, abs=0.6 * 10**-digits)


@pytest.mark.parametrize(("salinity", "published"), [(25.0, 7.21), (35.0, 6.79)])
def test_saturation_of_salt_water(salinity: float, published: float) -> None:
    """At 25 C and in salt water it agrees with EN 25814 within the 1.5 % by which its linear salt term departs."""
    assert float(saturation(25.0, salinity)) == pytest.approx(published, rel=0.015)


def test_saturation_of_sea_water() -> None:
    """At 10 C and 35 g/kg it agrees with the check value of Garcia & Gordon 1992, 274.610 umol/kg, within 0.5 %."""
    kilograms_per_litre = 1.02695  # sea water of 35 g/kg at 10 C, EOS-80, from memory
    assert float(saturation(10.0, 35.0)) == pytest.approx(274.610e-3 * 31.9988 * kilograms_per_litre, rel=0.005)


@pytest.mark.parametrize(("celsius", "salinity"), [(c, s) for c in (0.0, 15.0, 28.0, 35.0) for s in (0.0, 25.0)])
def test_saturation_is_the_formula_of_benson_and_krause(celsius: float, salinity: float) -> None:
    """Saturation is Benson & Krause 1984 as printed, term by term."""
    t = celsius + 273.15
    terms = [-139.34411, 157570.1 / t, -66423080 / t**2, 1.2438e10 / t**3, -862194900000 / t**4]
    salt = salinity * (0.017674 - 10.754 / t + 2140.7 / t**2)
    assert float(saturation(celsius, salinity)) == pytest.approx(np.exp(sum(terms) - salt), rel=1e-12)


# Hours from 6.5 to 2 mg/L at 28 C without air and without a surface, for 1, 2, 5 g/L: worked out from Glasheen & Hand
# 1989 (cysts, 1.2 mg per g and hour) and Irwin, Wall & Davenport 2007 (nauplii, uncertain by a factor of 1.5).
BEFORE = [(1.0, 3.7, 3.7), (2.0, 1.8, 1.8), (5.0, 0.7, 0.7)]
AFTER = [(1.0, 0.5, 0.8), (2.0, 0.25, 0.4), (5.0, 0.10, 0.17)]


@pytest.mark.parametrize(("density", "low", "high"), BEFORE)
def test_oxygen_lasts_hours_before_the_hatch(density: float, low: float, high: float) -> None:
    """Unhatched cysts use up the oxygen in the worked-out time, within the factor of 1.5 of its uncertainty."""
    hours = (6.5 - 2.0) / float(demand(28.0, density, 0.0))
    assert low / 1.5 <= hours <= high * 1.5


@pytest.mark.parametrize(("density", "low", "high"), AFTER)
def test_oxygen_lasts_minutes_after_the_hatch(density: float, low: float, high: float) -> None:
    """When 60 to 100 % have hatched the oxygen is gone in the worked-out time, within its factor of 1.5."""
    for share in (0.6, 1.0):
        hours = (6.5 - 2.0) / float(demand(28.0, density, share))
        assert low / 1.5 <= hours <= high * 1.5


def left(density: float, share: float, celsius: float = 28.0, litres: float = 1.0, n: int = 64) -> float:
    """Median hours left in a vessel of 25 g/L."""
    vessel = Vessel(density, litres, 25.0)
    return float(np.median(hours_left(vessel, celsius, np.full(n, share), np.ones(n))))


@pytest.mark.parametrize(("density", "low", "high"), [row for row in AFTER if row[0] < 5])
def test_what_a_vessel_has_left_agrees(density: float, low: float, high: float) -> None:
    """A real vessel begins near saturation and has a surface: its time is that of the bare water within a factor of 1.5."""
    assert low / 1.5 <= left(density, 0.8) <= high * 1.5


def test_more_animals_and_warmer_water_have_less() -> None:
    """More cysts, a larger share hatched, or warmer water leave less time; a larger vessel of the same density, too."""
    assert left(1.0, 0.5) > left(2.0, 0.5) > left(4.0, 0.5)
    assert left(1.0, 0.0) > left(1.0, 0.3) > left(1.0, 0.9)
    assert left(1.0, 0.5, celsius=20.0) > left(1.0, 0.5, celsius=28.0)
    assert left(1.0, 0.5, litres=1.0) > left(1.0, 0.5, litres=20.0)


def test_a_thin_batch_lives_from_the_surface() -> None:
    """Where the surface alone feeds them, the oxygen lasts for ever."""
    assert left(0.001, 0.5) == np.inf


def test_a_still_surface_is_no_rescue() -> None:
    """A bottle of 9 cm across exchanges 0.10-0.20 of itself an hour (from Cole et al. 2010); a jug of a litre about so."""
    assert 0.08 <= surface_per_h(1.0) <= 0.25
    assert surface_per_h(10.0) < surface_per_h(1.0)


# -- weak air

N = 64
ONES = np.ones(N)


def weakly(
    density: float, share: float, celsius: float = 28.0, hours: float = 48.0, step_h: float = 0.25
) -> np.ndarray:
    """Hours until 2 mg/L from when the air of a litre became weak, sorted; the share that has hatched stays."""
    shares = np.full((round(hours / step_h), N), share)
    return np.sort(weak_hours_left(Vessel(density, 1.0, 25.0), celsius, shares, ONES, step_h))


def test_a_stone_that_gives_little_air_leaves_a_range() -> None:
    """A weak stone exchanges between 1 and 10 an hour, the weakest of the 5-30 a stone may give: four in five of the samples."""
    full, density = float(saturation(28.0, 25.0)), 0.5
    lacking = full - weak_settles(Vessel(density, 1.0, 25.0), 28.0, np.full(N, 0.5), ONES)
    exchange = np.sort(float(demand(28.0, density, 0.5)) / lacking - surface_per_h(1.0))
    low, mid, high = np.quantile(exchange, [0.1, 0.5, 0.9])
    assert 0.8 <= low <= 2.0
    assert 2.5 <= mid <= 3.5
    assert 5.0 <= high <= 10.0


@pytest.mark.parametrize(("density", "share"), [(0.5, 0.7), (1.0, 0.7), (2.0, 0.0), (2.0, 0.7), (5.0, 0.0)])
def test_it_falls_below_2_just_where_it_settles_below(density: float, share: float) -> None:
    """While what has hatched stays the same, oxygen gets below 2 mg/L if and only if it settles there."""
    settles = weak_settles(Vessel(density, 1.0, 25.0), 28.0, np.full(N, share), ONES)
    hours = weak_hours_left(Vessel(density, 1.0, 25.0), 28.0, np.full((400, N), share), ONES, 0.25)
    assert (np.isfinite(hours) == (settles < CRITICAL_MG_L)).all()


def test_the_time_is_that_of_the_balance_stepped_finely() -> None:
    """The hours agree with small explicit steps of dC/dt = k (Cs - C) - demand, also while a batch hatches."""
    vessel = Vessel(2.0, 1.0, 25.0)
    shares = np.linspace(0.0, 0.8, 40)[:, None] * np.ones(N)
    found = weak_hours_left(vessel, 28.0, shares, ONES, 0.25)
    full = float(saturation(28.0, 25.0))
    exchange = float(demand(28.0, 2.0, 0.0)) / (full - weak_settles(vessel, 28.0, np.zeros(N), ONES))
    usual = (exchange > 1.0) & (found < 9.0)  # of weaker ones the settled level is cut at nothing
    level, reached, step = np.full(N, full), np.full(N, np.inf), 1 / 2000
    for k in range(round(10 / step)):
        use = float(demand(28.0, 2.0, shares[int(k * step / 0.25), 0]))
        level = level + step * (exchange * (full - level) - use)
        reached = np.where(np.isinf(reached) & (level < CRITICAL_MG_L), k * step, reached)
    assert usual.sum() > N // 4
    assert (
        np.abs(found[usual] - reached[usual]).max() < 0.06
    )  # it begins at the little that full air lacks of saturation


def test_the_time_does_not_depend_on_the_steps() -> None:
    """With the same animals, quarter hours and whole hours give the same time."""
    fine, coarse = weakly(2.0, 0.7, hours=24), weakly(2.0, 0.7, hours=24, step_h=1.0)
    assert np.isfinite(fine).any()
    assert np.allclose(fine, coarse)


def test_weak_air_fails_slowly_or_not_at_all() -> None:
    """Thin batches live on weak air; dense hatched ones have minutes to hours, never less than without any air."""
    assert np.isinf(weakly(0.1, 0.7)).all()
    dense = weakly(3.0, 0.8)
    assert np.isfinite(dense[: N // 2]).all()
    assert 2 / 60 <= dense[N // 10] <= 2.0
    none = hours_left(Vessel(3.0, 1.0, 25.0), 28.0, np.full(N, 0.8), ONES)
    assert dense.min() >= none.min()


def test_more_animals_have_less_of_weak_air_too() -> None:
    """A larger share hatched, warmer water or more cysts bring 2 mg/L nearer for every stone."""
    base = weakly(2.0, 0.5)
    for worse in (weakly(2.0, 0.8), weakly(2.0, 0.5, celsius=31.0), weakly(3.0, 0.5)):
        assert (worse <= base).all()
        assert worse[0] < base[0]


def test_what_hatches_meanwhile_counts() -> None:
    """Air that is enough for the cysts is not for the nauplii that come of them: the time is that of the hatch."""
    vessel = Vessel(2.0, 1.0, 25.0)
    still = weak_hours_left(vessel, 28.0, np.zeros((80, N)), ONES, 0.25)
    hatching = np.repeat(np.array([0.0, 0.8]), 40)[:, None] * ONES
    found = weak_hours_left(vessel, 28.0, hatching, ONES, 0.25)
    later = np.isinf(still) & np.isfinite(found)
    assert later.any()
    assert (found[later] >= 10.0).all()


def test_air_that_was_weak_before_it_stopped_leaves_less() -> None:
    """Oxygen already low under weak air lasts no longer when that stops, too."""
    vessel, share = Vessel(1.0, 1.0, 25.0), np.full(N, 0.7)
    full, weak = (hours_left(vessel, 28.0, share, ONES, was_weak=was_weak) for was_weak in (False, True))
    assert (weak <= full).all()
    assert np.median(weak) < 0.9 * np.median(full)
