from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from monitor.core.log import Seen, Sight
from monitor.core.model import HOUR, MINUTE, Measures, Ms, Sample
from monitor.core.replay import Measured
from monitor.score.baselines import ALWAYS, HELD, LAST, Habits, Warmth, best_spread
from monitor.score.metrics import NEVER_H, crps_of_lognormal
from tests.unit.core.worlds import T0, probe, site

Water = float | Callable[[float], float]


def warmth(celsius: Water, hours: float = 60.0, before: float = 2.0) -> Warmth:
    where = site()
    rows = []
    for step in range(round(-before * 6), round(hours * 6) + 1):
        time: Ms = T0 + step * 10 * MINUTE
        value = celsius(step / 6) if callable(celsius) else celsius
        rows.append(Measured(time, "ash-water", Sample(value=value, time=time)))
    return Warmth.of(where, "ash", rows)


def seen(hour: float, what: Sight, fraction: float | None = None) -> Seen:
    at = T0 + round(hour * HOUR)
    return Seen(at, at, "b1", what, fraction)


def points(
    celsius: Water, age: float, *looks: Seen, last_h: float | None = None, share: float = 0.69
) -> dict[str, float]:
    return Habits(T0, warmth(celsius), last_h, share).points(T0 + round(age * HOUR), looks)


def test_untouched_rules() -> None:
    """Without a look: 24 h, 25.5 h at 25 C by the literature's median, and what the last batch took."""
    found = points(25.0, 6.0, last_h=31.0)
    assert found[ALWAYS] == 24.0
    assert found[HELD] == pytest.approx(20 * 9 ** (1 / 9), rel=1e-3)
    assert found[LAST] == 31.0


def test_the_first_batch_of_a_tin_has_no_last_one() -> None:
    """Then the last-batch rule says 24 h too."""
    assert points(25.0, 6.0)[LAST] == 24.0


@pytest.mark.parametrize("age", [0.6, 12.0, 24.0])
def test_degree_hours_hold_the_last_hour(age: float) -> None:
    """Warm until now and 18 C in the last hour: what is missing comes at 7 degree-hours per hour."""
    needed = 20 * 9 ** (1 / 9) * 14
    found = points(lambda hour: 25.0 if hour <= age - 1 else 18.0, age)[HELD]
    so_far = 14 * max(age - 1, 0) + 7 * min(age, 1)
    assert found == pytest.approx(age + (needed - so_far) / 7, rel=0.01)


def test_degree_hours_tell_when_it_was() -> None:
    """Once enough has accumulated the rule names the instant at which it had."""
    assert points(25.0, 36.0)[HELD] == pytest.approx(25.5, abs=0.1)


def test_too_cold_is_never() -> None:
    """At or below the base temperature nothing is due."""
    assert points(10.0, 6.0)[HELD] == NEVER_H


def test_only_what_was_known_counts() -> None:
    """What the water does later does not move the rule now."""
    now = points(lambda hour: 25.0 if hour <= 12 else 12.0, 12.0)
    assert now == points(25.0, 12.0)


def test_a_counted_half_is_passed_through() -> None:
    """Half of those that will hatch after 30 h: 90 % after 30 h times 9 ** (1/9), on every rule's axis at 25 C."""
    found = points(25.0, 30.0, seen(30.0, Sight.SOME, 0.3), share=0.6, last_h=20.0)
    assert list(found.values()) == pytest.approx([30 * 9 ** (1 / 9)] * 3, rel=1e-3)


def test_the_first_nauplii_are_one_in_ten() -> None:
    """After 'first' at 12 h: 12 h times the ninth root of 9 over odds of one to nine."""
    assert points(25.0, 12.0, seen(12.0, Sight.FIRST))[ALWAYS] == pytest.approx(12 * 81 ** (1 / 9))


def test_nothing_yet_only_delays_and_most_only_hastens() -> None:
    """'none' before a hatch could have begun changes nothing, later it delays; 'most' early hastens, late it changes nothing."""
    assert points(25.0, 6.0, seen(6.0, Sight.NONE))[ALWAYS] == 24.0
    assert points(25.0, 20.0, seen(20.0, Sight.NONE))[ALWAYS] == pytest.approx(20 * 891 ** (1 / 9))
    assert points(25.0, 15.0, seen(15.0, Sight.MOST))[ALWAYS] < 24.0
    assert points(25.0, 30.0, seen(30.0, Sight.MOST))[ALWAYS] == 24.0


def test_readings_a_probe_cannot_mean_are_left_out() -> None:
    """A value outside the probe's limits does not heat the rule."""
    clean = warmth(25.0)
    rows = [Measured(T0 + MINUTE, "ash-water", Sample(value=85.0, time=T0 + MINUTE))]
    rows += [Measured(int(time), "ash-water", Sample(value=25.0, time=int(time))) for time in clean.times]
    where = site(probes={"ash-water": probe("ash-water", Measures.WATER)})
    assert Warmth.of(where, "ash", rows).summed(T0, T0 + HOUR) == pytest.approx(14.0)


def test_the_fitted_spread_is_in_the_rules_favour() -> None:
    """No other spread gives the data it was fitted on a mean CRPS that is better by more than the grid allows."""
    truth = 24 * np.exp(0.17 * np.random.default_rng(3).standard_normal(500))
    median = np.full(500, 24.0)
    fitted = best_spread(median, truth)
    assert fitted == pytest.approx(0.17, rel=0.15)
    best = crps_of_lognormal(median, fitted, truth).mean()
    assert all(best <= crps_of_lognormal(median, fitted * factor, truth).mean() for factor in (0.7, 0.9, 1.1, 1.4))
