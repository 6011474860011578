"""The floor: what a forecaster would say that knows the physics and the weather to come, but not the luck of the batch.

Its luck is drawn from the same law as the batch's. It knows the water as it will be, with a heater that has not failed as
if it would not, and air that does not stop.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from simulator.population import ranges
from simulator.population.cohort import Classes, hours_until, progress, steps
from simulator.population.heat import BEGIN, HORIZON_H
from simulator.population.laws import CELSIUS, share_table
from simulator.population.priors import STANDARD, spread
from simulator.population.tins import draw_tin
from simulator.world.numbers import stream
from simulator.world.world import STEP_H

if TYPE_CHECKING:
    from simulator.population.laws import Reals
    from simulator.population.tins import Tin
    from simulator.world.numbers import Floats

PERCENTS: Floats = np.arange(1, 100) / 100.0
Z_PERCENTS: Floats = np.array([STANDARD.inv_cdf(float(share)) for share in PERCENTS])
DRAWS = 400
COARSE = 15  # minutes; a new tin's uncertainty is hours
FEW = 6  # classes of cysts in each drawn tin
READY = 0.9


def known_quantiles(tin: Tin, total: Reals) -> Floats:
    """99 quantiles of T90 (h since the start) of a forecaster who knows the tin, for progress (minutes + 1, classes).

    T90 grows with the batch's own slowness and with nothing else, so its quantiles are those of the slowness.
    """
    slowness = np.log(tin.median_h) + tin.batch_log_sd * Z_PERCENTS
    return _told(hours_until(total, slowness, tin.shares, READY, STEP_H))


class NewTin:
    """A forecaster who knows only the population: many tins drawn from it, the same for every batch of a population."""

    def __init__(self, seed: int) -> None:
        self.classes = Classes(FEW)
        chance = stream(seed, "reference")
        # Medians and luck are spread evenly over their laws, so that 400 tins stand for all.
        medians = spread(ranges.MEDIAN_H, _evenly(chance))
        luck = np.array([STANDARD.inv_cdf(float(share)) for share in _evenly(chance)])
        tins = [
            _at_median(draw_tin(seed, f"reference {number}"), float(median)) for number, median in enumerate(medians)
        ]
        self.slowness: Floats = np.log(medians) + np.array([tin.batch_log_sd for tin in tins]) * luck
        self.shares: Floats = np.stack([tin.shares for tin in tins])
        self.rates: Reals = np.empty((len(CELSIUS), DRAWS, FEW), dtype=np.float32)
        for number, tin in enumerate(tins):
            self.rates[:, number] = self.classes.rates(tin)

    def quantiles(self, water: Floats, pace: Floats) -> Floats:
        """99 quantiles of T90 (h since the start); ``pace``: what salt and air leave of the rate in each minute."""
        cells = HORIZON_H * 60 // COARSE
        celsius = water[BEGIN : BEGIN + cells * COARSE].reshape(cells, COARSE).mean(axis=1)
        coarse = pace[: cells * COARSE].reshape(cells, COARSE).mean(axis=1)
        total = progress(steps(self.rates, self.classes.soak_h, celsius, coarse, COARSE / 60.0))
        hours = hours_until(total, self.slowness, self.shares, READY, COARSE / 60.0)
        return _told(np.quantile(np.minimum(hours, HORIZON_H), PERCENTS))


def _evenly(chance: np.random.Generator) -> Floats:
    """Evenly spaced shares in an order by chance."""
    shares: Floats = (chance.permutation(DRAWS) + 0.5) / DRAWS
    return shares


def _at_median(tin: Tin, median_h: float) -> Tin:
    return replace(tin, median_h=median_h, shares=share_table(tin.family, tin.synchrony_h / median_h))


def _told(hours: Floats) -> Floats:
    """What lies beyond the horizon is told as the horizon."""
    capped: Floats = np.minimum(hours, float(HORIZON_H))
    return capped
