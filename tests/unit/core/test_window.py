from __future__ import annotations

import numpy as np
import pytest

from monitor.core.model import HOUR
from monitor.core.window import energy_loss_per_h, first_stage_ms, window


@pytest.mark.parametrize(("celsius", "percent"), [(4.0, 2.2), (10.0, 4.1), (20.0, 11.0), (25.0, 19.0), (28.0, 26.0)])
def test_energy_burnt_in_a_day(celsius: float, percent: float) -> None:
    """An unfed nauplius burns this share of its energy a day: oxygen of Irwin, Wall & Davenport 2007, 14.1 J per mg O2."""
    assert 2400 * energy_loss_per_h(celsius) == pytest.approx(percent, abs=0.5)


def test_loss_in_the_warm_is_as_measured() -> None:
    """Warm, a first day unfed costs 22-37 % of the energy (Vanhaecke, Lavens & Sorgeloos 1983): at 28 C the curve says so."""
    assert 0.22 <= 24 * energy_loss_per_h(28.0) <= 0.37


def test_four_days_cost_about_half() -> None:
    """Half of the calories go in 96 h (Paffenhoefer 1967, temperature not told): met by the curve between 20 and 25 C."""
    assert 96 * energy_loss_per_h(20.0) < 0.5 < 96 * energy_loss_per_h(25.0)


def test_first_stage_lasts_about_eight_hours_in_the_warm() -> None:
    """First to second stage takes about 8 h at 25-28 C (Ghent course, restated), longer in the cool."""
    assert first_stage_ms(28.0) == 8 * HOUR
    assert 8 * HOUR < first_stage_ms(25.0) < 10 * HOUR
    assert first_stage_ms(15.0) > 1.5 * first_stage_ms(25.0)


def test_the_best_time_ends_and_says_why() -> None:
    """In the warm the moult ends the best time, in the cold the yolk, and the shares fall from one."""
    half, ready, weights = np.full(4, 0.0), 4.0 * HOUR, np.full(4, 0.25)
    warm = window(half, ready, weights, 27.0, round(6 * HOUR))
    assert warm.until is not None
    assert ready < warm.until < 12 * HOUR
    assert "moulted" in warm.reason
    late = window(half, ready, weights, 27.0, 20 * HOUR)
    assert warm.first_stage is not None
    assert late.first_stage is not None
    assert warm.first_stage > late.first_stage
    assert warm.energy is not None
    assert late.energy is not None
    assert 1 > warm.energy > late.energy > 0
    cool = window(half, ready, weights, 15.0, round(6 * HOUR))
    assert cool.until is not None
    assert cool.until > warm.until


def test_before_half_there_is_nothing_to_say_of_swimmers() -> None:
    """Before half has hatched no share is told, and without a hatch in sight no window."""
    early = window(np.full(4, 9.0 * HOUR), 13.0 * HOUR, np.full(4, 0.25), 25.0, 0)
    assert early.until is not None
    assert early.first_stage is None
    assert window(np.full(4, np.inf), None, np.full(4, 0.25), 25.0, 0).until is None
