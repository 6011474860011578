"""Proper scores of forecasts given as weighted samples or as log-normals, in hours; all of them smaller is better.

CRPS and interval score as in Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102:359-378.
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ALPHA: Final = 0.2  # of the central 80 % range
NEVER_H: Final = 240.0
"""A hatch that never comes counts as one after ten days: later than any in the record, and finite."""
Z_RANGE: Final = NormalDist().inv_cdf(1 - ALPHA / 2)

_erf = np.frompyfunc(math.erf, 1, 1)


class Scored(NamedTuple):
    """One forecast and what it is worth, hours since the start: the 80 % range, the median, CRPS, and the place of the
    truth in the forecast distribution (0..1), or an array of each.
    """

    lo: Array | float
    mid: Array | float
    hi: Array | float
    crps: Array | float
    place: Array | float


def normal_cdf(z: Array) -> Array:
    """Distribution function of the standard normal, any shape."""
    return np.asarray(0.5 * (1 + np.asarray(_erf(np.asarray(z, dtype=float) / math.sqrt(2))).astype(float)))


def crps_of_sample(values: Array, weights: Array, truth: Array) -> Array:
    """CRPS of weighted samples, exactly: ``E|X - y| - E|X - X'| / 2``. Shapes (m, n), (m, n) with rows that sum to 1, (m,)."""
    order = np.argsort(values, axis=1)
    x = np.take_along_axis(values, order, axis=1)
    w = np.take_along_axis(weights, order, axis=1)
    below = np.cumsum(w, axis=1)
    distance = (w * np.abs(x - truth[:, None])).sum(axis=1)
    half_spread = (w * x * (2 * below - w - 1)).sum(axis=1)
    return np.asarray(distance - half_spread)


def place_in_sample(values: Array, weights: Array, truth: Array) -> Array:
    """Weight below the truth and half of that at it, shape (m,): uniform when the forecast is calibrated."""
    y = truth[:, None]
    return np.asarray((weights * (values < y)).sum(axis=1) + 0.5 * (weights * (values == y)).sum(axis=1))


def crps_of_lognormal(median: Array, spread: Array | float, truth: Array) -> Array:
    """CRPS of log-normals with these medians and SDs of the logarithm (Baran & Lerch 2015, Q. J. R. Meteorol. Soc. 141:2289)."""
    s = np.asarray(spread, dtype=float)
    omega = (np.log(truth) - np.log(median)) / s
    tail = normal_cdf(omega - s) + normal_cdf(s / math.sqrt(2)) - 1
    return np.asarray(truth * (2 * normal_cdf(omega) - 1) - 2 * median * np.exp(s**2 / 2) * tail)


def crps_of_normal(mean: Array, sd: Array, truth: Array) -> Array:
    """CRPS of normals, shape (m,) each (Gneiting et al. 2005, Mon. Wea. Rev. 133:1098); without spread the plain error."""
    wide = np.maximum(sd, 1e-9)
    z = (truth - mean) / wide
    density = np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)
    return np.asarray(wide * (z * (2 * normal_cdf(z) - 1) + 2 * density - 1 / math.sqrt(math.pi)))


def interval_score(lo: Array, hi: Array, truth: Array, alpha: float = ALPHA) -> Array:
    """Width of the central ``1 - alpha`` range and a penalty of ``2 / alpha`` for each hour that the truth lies outside."""
    return np.asarray((hi - lo) + 2 / alpha * (np.maximum(lo - truth, 0) + np.maximum(truth - hi, 0)))


def score_lognormal(median: Array, spread: Array | float, truth: Array) -> Scored:
    """Log-normals around ``median``, shape (m,) each."""
    s = np.asarray(spread, dtype=float)
    lo, hi = (np.minimum(median * np.exp(sign * Z_RANGE * s), NEVER_H) for sign in (-1, 1))
    place = normal_cdf((np.log(truth) - np.log(median)) / s)
    return Scored(lo, median, hi, crps_of_lognormal(median, s, truth), place)


def score_sample(values: Array, weights: Array, span: tuple[float, float, float], truth: float) -> Scored:
    """One weighted sample, shape (n,) each, with the range and median that were told. Never counts as ``NEVER_H``."""
    x = np.minimum(values, NEVER_H)[None, :]
    w = (weights / weights.sum())[None, :]
    y = np.array([truth])
    lo, mid, hi = (min(end, NEVER_H) for end in span)
    return Scored(lo, mid, hi, float(crps_of_sample(x, w, y)[0]), float(place_in_sample(x, w, y)[0]))
