"""Oxygen against published figures; each names where it comes from."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.core.oxygen import Vessel, demand, hours_left, saturation, surface_per_h


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
