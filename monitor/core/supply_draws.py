"""Chance in the look ahead: the same world in the same row, whoever asks for it and in whatever order.

What is drawn for a thing depends on the seed and its name alone, so that a batch that is added changes nothing of the others.
Draws are stratified: of 100 worlds a thing that fails one time in twenty fails in five, not in two or nine.
"""

from __future__ import annotations

from functools import lru_cache
from math import log
from statistics import NormalDist
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.hatch import BATCH_COORDINATES, COORDINATES, LOT_COORDINATES

if TYPE_CHECKING:
    from monitor.core.hatch import Array

LEVEL_10: Final = NormalDist().inv_cdf(0.9)  # how far the 10 % and the 90 % are from the middle, in standard deviations
WEATHER: Final = "weather"


def _generator(seed: int, name: str) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64([seed, int.from_bytes(name.encode(), "big")]))


@lru_cache(maxsize=8)
def _levels(scenarios: int) -> Array:
    """The middles of as many equal parts of a standard normal."""
    normal = NormalDist()
    return np.array([normal.inv_cdf((k + 0.5) / scenarios) for k in range(scenarios)])


def normals(seed: int, name: str, scenarios: int, columns: int = 1) -> Array:
    """Standard normal draws of a thing, shape (columns, scenarios): each level once in each column."""
    generator = _generator(seed, name)
    levels = _levels(scenarios)
    return np.stack([levels[generator.permutation(scenarios)] for _ in range(columns)])


def uniforms(seed: int, name: str, scenarios: int) -> Array:
    """Draws between 0 and 1 of a thing, shape (scenarios,), each part of that range once."""
    generator = _generator(seed, name)
    within = np.arange(scenarios) + generator.uniform(size=scenarios)
    return np.asarray(within[generator.permutation(scenarios)] / scenarios)


def weather(seed: int, scenarios: int) -> Array:
    """How the water of all vessels departs from its forecast, standard normal, shape (scenarios,)."""
    return np.asarray(normals(seed, WEATHER, scenarios)[0])


def lot_points(seed: int, lot: str, scenarios: int) -> Array:
    """Points for ``hatch.draw``, shape (scenarios, 14): the tin's own coordinates and the weather; what is a batch's is 0."""
    points = np.zeros((scenarios, len(COORDINATES)))
    points[:, : len(LOT_COORDINATES)] = normals(seed, f"lot {lot}", scenarios, len(LOT_COORDINATES)).T
    points[:, len(LOT_COORDINATES) + BATCH_COORDINATES.index("weather")] = weather(seed, scenarios)
    return points


def spread(lo: float, mid: float, hi: float, normal: Array) -> Array:
    """Draws of something above 0 with these 10, 50 and 90 %: log-normal, each side with a width of its own."""
    low, middle, high = max(lo, 1e-9), max(mid, 1e-9), max(hi, 1e-9)
    down, up = log(middle / min(low, middle)), log(max(high, middle) / middle)
    width: Array = np.where(normal < 0, down, up)
    return np.asarray(middle * np.exp(width * normal / LEVEL_10))
