from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from simulator.scenario.models import Batch, Tin
from simulator.world import World
from simulator.world.cysts import LAWS, LawName, Population, tin_traits

if TYPE_CHECKING:
    from collections.abc import Callable

    from simulator.scenario import Scenario

BOTH: list[LawName] = ["sharpe-schoolfield", "briere"]
EVER = 60 * 24 * 6


def population(law: LawName, *, count: int = 800, salinity: float = 25.0, **tin: Any) -> Population:
    traits = {"median_h": 20.0, "spread": 0.13, "threshold_c": 11.0, "viable": 0.7, "batch_sd": 0.0, **tin}
    batch = Batch(id="b", vessel="ash", at="0 s", tin="t", cysts_g=1.0, salinity_g_l=salinity)  # type: ignore[arg-type]
    return Population(batch, Tin(id="t", law=law, **traits), 5, count)


def hours(cysts: Population, share: float, celsius: float, airless: tuple[float, float] = (0.0, 0.0)) -> float:
    """Hours until the share has hatched at a constant temperature, without oxygen between the two hours given."""
    for minute in range(1, EVER):
        oxygen = 0.0 if airless[0] < minute / 60 <= airless[1] else 6.8
        cysts.step(minute * 60, celsius, oxygen, 1 / 60)
        if (moment := cysts.when(share)) is not None:
            return moment / 3600
    return float("inf")


@pytest.mark.parametrize("law", BOTH)
@pytest.mark.parametrize("median", [16.0, 20.0, 26.0])
def test_at_25_c_half_of_the_viable_cysts_hatch_at_the_tins_median(law: LawName, median: float) -> None:
    """At 25 C, 25 g/L and with air the median is what the tin says, 16 to 26 h, whatever the law."""
    assert hours(population(law, median_h=median), 0.5, 25.0) == pytest.approx(median, rel=0.03)


@pytest.mark.parametrize("law", BOTH)
def test_from_20_to_24_c_time_shrinks_as_published(law: LawName) -> None:
    """20 C takes 1.47-1.52 times as long as 24 C (an SFB lot at 35 g/L, secondary source), within 0.15."""
    ratio = hours(population(law), 0.8, 20.0) / hours(population(law), 0.8, 24.0)
    assert 1.32 < ratio < 1.67


@pytest.mark.parametrize("law", BOTH)
def test_colder_is_later_and_too_hot_is_later_again(law: LawName) -> None:
    """Time falls from 17 to 28 C and rises again beyond the best temperature, for each law."""
    cold, cool, mild, warm = (hours(population(law), 0.5, celsius) for celsius in (17.0, 20.0, 25.0, 28.0))
    assert cold > cool > mild > warm
    assert hours(population(law), 0.5, 35.5) > hours(population(law), 0.5, 31.0)


@pytest.mark.parametrize("law", BOTH)
def test_in_the_cold_store_nothing_hatches(law: LawName) -> None:
    """Down to about 4 C nothing develops to speak of (FAO T428, annex 4)."""
    assert hours(population(law, count=60), 0.05, 4.0) == float("inf")


def test_synchrony_is_that_of_published_lots() -> None:
    """T90 - T10 of an ordinary tin lies within the 6.4-12 h of published synchronous lots (Yang, Bian & Li 1989; 2005)."""
    spans = []
    for seed in range(5):
        spread = tin_traits(Tin(id="t"), seed).spread
        cysts = population("briere", spread=spread)
        spans.append(hours(cysts, 0.9, 25.0) - hours(cysts, 0.1, 25.0))
    assert 5.5 < min(spans) < max(spans) < 13.0


@pytest.mark.parametrize("law", BOTH)
def test_each_cyst_has_its_own_threshold(law: LawName) -> None:
    """Near the threshold some cysts go on while others stand: the quick tenth is half again as fast as the slow one."""
    cysts = population(law, threshold_sd_c=1.0)
    speeds = LAWS[law](11.5, cysts._low_c, cysts._high_c) * cysts._scale
    slow, fast = np.quantile(speeds, [0.1, 0.9])
    assert fast > 1.45 * slow
    alike = population(law, threshold_sd_c=0.0)
    assert np.ptp(alike._low_c) == 0.0


@pytest.mark.parametrize("law", BOTH)
def test_the_laws_are_not_degree_hours(law: LawName) -> None:
    """Neither law is a straight line above its threshold: the best line between 13 and 30 C misses by over 2 % of 25 C."""
    celsius = np.arange(13.0, 30.1, 0.5)
    high = np.array([34.5 if law == "sharpe-schoolfield" else 37.0])
    rates = np.array([float(LAWS[law](c, np.array([11.0]), high)[0]) for c in celsius])
    rates /= np.interp(25.0, celsius, rates)
    line = np.polyval(np.polyfit(celsius, rates, 1), celsius)
    assert np.max(np.abs(rates - line)) > 0.02


@pytest.mark.parametrize("law", BOTH)
def test_without_oxygen_cysts_pause_and_restart_late(law: LawName) -> None:
    """Three hours without oxygen cost three hours and a restart lag of at most the tin's, and not one cyst."""
    with_air, paused = population(law, restart_h=1.5), population(law, restart_h=1.5)
    delay = hours(paused, 0.5, 25.0, (5.0, 8.0)) - hours(with_air, 0.5, 25.0)
    assert 3.2 < delay < 4.5
    assert hours(paused, 0.995, 25.0) < float("inf")


def test_a_short_pause_costs_no_more_than_it_took_again() -> None:
    """Five minutes without oxygen put a batch back by five to ten minutes, not by a whole restart lag."""
    delay = hours(population("briere"), 0.5, 25.0, (5.0, 5.0 + 5 / 60)) - hours(population("briere"), 0.5, 25.0)
    assert 4.5 / 60 < delay < 11 / 60


def test_nauplii_without_oxygen_die_within_hours_and_cysts_do_not() -> None:
    """Resistance is lost at hatching (J. exp. Biol. 200:897, 1997): nauplii die, what is unhatched goes on later."""
    cysts = population("briere")
    reached = round(hours(cysts, 0.5, 25.0) * 60)
    hatched, alive = cysts.hatched, cysts.alive
    assert alive == hatched > 0.3
    for minute in range(reached, reached + 20):
        cysts.step(minute * 60, 25.0, 0.0, 1 / 60)
    assert cysts.alive > 0.9 * alive
    for minute in range(reached + 20, reached + 240):
        cysts.step(minute * 60, 25.0, 0.0, 1 / 60)
    assert cysts.alive < 0.05
    assert cysts.hatched == hatched
    for minute in range(reached + 240, reached + 240 + 40 * 60):
        cysts.step(minute * 60, 25.0, 6.8, 1 / 60)
    assert cysts.hatched == pytest.approx(0.7, abs=0.005)


def test_above_40_c_hydrated_cysts_are_dead_for_good() -> None:
    """Hydrated cysts die above 40 C (FAO T428, annex 4) and hatch no more at 25 C."""
    cysts = population("sharpe-schoolfield")
    cysts.step(60, 42.0, 6.8, 1 / 60)
    assert hours(cysts, 0.01, 25.0) == float("inf")


def test_brine_too_strong_lets_nothing_hatch() -> None:
    """Above 85-90 g/L cysts take up no water; at 35 g/L they take longer than at 25, by about a tenth."""
    assert population("briere", salinity=100.0).viable == 0
    ratio = hours(population("briere", salinity=35.0), 0.5, 25.0) / hours(population("briere"), 0.5, 25.0)
    assert 1.05 < ratio < 1.12


def test_tins_differ_and_batches_of_a_tin_less(make: Callable[..., Scenario]) -> None:
    """Tins left to chance take both laws and medians of 16-26 h; batches of one tin stay near its own."""
    tins = [tin_traits(Tin(id=f"tin-{n}"), 1) for n in range(200)]
    medians = np.array([traits.median_h for traits in tins])
    assert {traits.law for traits in tins} == set(BOTH)
    assert 16.0 <= medians.min() < 18.0
    assert 23.0 < medians.max() <= 26.0
    batches = [
        {"id": f"b{n}", "vessel": "ash", "at": f"{n} h", "harvest": f"{n}:30", "tin": "tin-1", "cysts_g": 1}
        for n in range(40)
    ]
    tin = [{"id": "tin-1", "median_h": 20.0, "batch_sd": 0.08}]
    within = np.log([brood.population.median_h for brood in World(make(tin=tin, batch=batches)).broods])
    assert 0.04 < np.std(within) < 0.13


def test_saying_one_trait_of_a_tin_changes_no_other() -> None:
    """The draws of what is left open don't depend on what is said."""
    free, said = tin_traits(Tin(id="t"), 4), tin_traits(Tin(id="t", median_h=18.0, viable=0.5), 4)
    assert said.median_h == 18.0
    assert (said.law, said.spread, said.threshold_c) == (free.law, free.spread, free.threshold_c)
