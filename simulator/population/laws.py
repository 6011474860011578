"""Rate laws and the ways in which cysts of one batch differ, both as tables that are quick to look up."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.population import ranges
from simulator.population.priors import STANDARD, draw
from simulator.world.cysts import GAS_J_MOL_K, REFERENCE_C

if TYPE_CHECKING:
    from collections.abc import Callable

    from simulator.world.numbers import Floats

Reals = NDArray[np.floating[Any]]
"""Floats of any width: the population's many tins are kept in half the memory."""

COLDEST_C, WARMEST_C, GRAIN_C = -15.0, 50.0, 0.1
CELSIUS: Floats = np.arange(COLDEST_C, WARMEST_C + GRAIN_C / 2, GRAIN_C)
LOG_LEAST, LOG_MOST, LOG_GRAIN = -2.5, 2.0, 0.004
LOG_TIMES: Floats = np.arange(LOG_LEAST, LOG_MOST + LOG_GRAIN / 2, LOG_GRAIN)
DECILE = STANDARD.inv_cdf(0.9)


@dataclass(frozen=True, slots=True)
class Law:
    """A tin's rate law. ``low_c``/``high_c`` are the mean of its cysts' own limits."""

    name: str
    low_c: float
    high_c: float
    activation_j_mol: float = 0.0

    def rate(self, celsius: Floats, low_c: Floats, high_c: Floats) -> Floats:
        """Rate (arbitrary unit) at ``celsius`` for cysts with these limits; shapes broadcast."""
        if self.name == "briere":
            return _briere(celsius, low_c, high_c)
        return _sharpe_schoolfield(celsius, low_c, high_c, self.activation_j_mol)


def draw_law(chance: np.random.Generator) -> Law:
    """One tin's law. All draws are made in any case, so that the choice moves none."""
    name = ranges.LAW.draw(chance)
    activation, cold, heat, low, high = (
        draw(prior, chance)
        for prior in (
            ranges.ACTIVATION_J_MOL,
            ranges.COLD_HALF_C,
            ranges.HEAT_HALF_C,
            ranges.BRIERE_LOW_C,
            ranges.BRIERE_HIGH_C,
        )
    )
    return Law("briere", low, high) if name == "briere" else Law(name, cold, heat, activation)


def _sharpe_schoolfield(celsius: Floats, low_c: Floats, high_c: Floats, activation_j_mol: float) -> Floats:
    """Arrhenius, half switched off at ``low_c`` by cold and at ``high_c`` by heat (Schoolfield et al. 1981)."""
    inverse = 1.0 / (celsius + 273.15)
    reference = 1.0 / (REFERENCE_C + 273.15)
    drive = reference / inverse * np.exp(activation_j_mol / GAS_J_MOL_K * (reference - inverse))
    cold = np.exp(np.minimum(ranges.COLD_J_MOL / GAS_J_MOL_K * (1.0 / (low_c + 273.15) - inverse), 60.0))
    heat = np.exp(np.minimum(ranges.HEAT_J_MOL / GAS_J_MOL_K * (1.0 / (high_c + 273.15) - inverse), 60.0))
    rate: Floats = drive / (1.0 + cold + heat)
    return rate


def _briere(celsius: Floats, low_c: Floats, high_c: Floats) -> Floats:
    """T (T - low) sqrt(high - T) between the limits, zero outside (Briere et al. 1999)."""
    rate: Floats = (
        np.maximum(celsius, 0.0) * np.maximum(celsius - low_c, 0.0) * np.sqrt(np.maximum(high_c - celsius, 0.0))
    )
    return rate


def rate_table(law: Law, low_c: Floats, high_c: Floats) -> Floats:
    """Rate relative to each cyst's own at 25 C, shape (len(CELSIUS), cysts)."""
    table: Floats = law.rate(CELSIUS[:, None], low_c, high_c) / law.rate(np.array(REFERENCE_C), low_c, high_c)
    return table


def look_up_rates(table: Reals, celsius: Floats) -> Reals:
    """Rates at each temperature by straight lines between rows of ``table``; shape (len(celsius), *table.shape[1:])."""
    place = np.clip((celsius - COLDEST_C) / GRAIN_C, 0.0, len(table) - 1.000001)
    row = place.astype(np.intp)
    part = (place - row).astype(table.dtype).reshape(-1, *([1] * (table.ndim - 1)))
    rates: Reals = table[row]
    rates += part * (table[row + 1] - rates)
    return rates


# ------------------------------------------------------------------------------------------- how cysts differ


def share_table(family: str, width: float) -> Floats:
    """Share of cysts out at exp(LOG_TIMES) times the median, for T90 - T10 of ``width`` medians. Shape of LOG_TIMES."""
    relative = np.exp(LOG_TIMES)
    if family == "log-logistic":
        steepness = np.log(9.0) / np.arcsinh(width / 2.0)
        return np.asarray(1.0 / (1.0 + np.exp(-steepness * LOG_TIMES)))
    if family == "lognormal":
        return _normal(LOG_TIMES * (DECILE / np.arcsinh(width / 2.0)))
    if family == "weibull":
        shape = _bisect(
            lambda k: (np.log(10.0) / np.log(2.0)) ** (1 / k) - (-np.log(0.9) / np.log(2.0)) ** (1 / k), width
        )
        return np.asarray(1.0 - np.exp(-np.log(2.0) * relative**shape))
    return _gamma(_bisect(_gamma_width, width))


@cache
def _normal_table() -> tuple[Floats, Floats]:
    grid = np.linspace(-8.0, 8.0, 3201)
    return grid, np.array([STANDARD.cdf(float(value)) for value in grid])


def _normal(z: Floats) -> Floats:
    share: Floats = np.interp(z, *_normal_table())
    return share


def _gamma_raw(shape: float) -> tuple[Floats, Floats]:
    """Log times (about the mode) and distribution function of a gamma law, by summing its density over log time."""
    log_time = np.linspace(np.log(shape) - 4.0, np.log(shape) + 2.2, 3000)
    log_density = shape * log_time - np.exp(log_time)  # of the logarithm of time, up to a factor
    density = np.exp(log_density - log_density.max())
    share = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2)])
    return log_time, share / share[-1]


def _gamma_width(shape: float) -> float:
    log_time, share = _gamma_raw(shape)
    low, median, high = np.exp(np.interp([0.1, 0.5, 0.9], share, log_time))
    return float((high - low) / median)


def _gamma(shape: float) -> Floats:
    log_time, share = _gamma_raw(shape)
    median = float(np.interp(0.5, share, log_time))
    table: Floats = np.interp(LOG_TIMES, log_time - median, share)
    return table


def _bisect(width_of: Callable[[float], float], width: float) -> float:
    """The shape at which a law is as wide as asked; wider laws have smaller shapes."""
    low, high = 0.8, 400.0
    for _ in range(40):
        middle = float(np.sqrt(low * high))
        low, high = (middle, high) if width_of(middle) > width else (low, middle)
    return float(np.sqrt(low * high))
