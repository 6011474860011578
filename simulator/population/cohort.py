"""The cysts of a batch, exactly instead of by lot: a few classes of limits and lags, and in each the whole distribution.

A cyst hatches when its class's progress (hours at 25 C) passes its own time, so the share out at an instant is the mean
over classes of the tin's distribution function. Many tins or many strokes of luck are solved at once.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from simulator.population import ranges
from simulator.population.laws import LOG_GRAIN, LOG_LEAST, LOG_TIMES, Reals, look_up_rates, rate_table
from simulator.population.priors import STANDARD

if TYPE_CHECKING:
    from simulator.population.tins import Tin
    from simulator.world.numbers import Floats

STRIDES = (0.8566748838545029, 0.733891856627126, 0.6287067210378087, 0.5385972572236101)  # powers of 1/1.16730...

WIDE = 500  # numbers in a row


class Classes:
    """``count`` classes of equal weight, evenly spread over limits, soaking times and restart lags (shape (count,)).

    ``shares`` (count, 4) fills the unit cube evenly (an additive recurrence), the first column exactly so.
    """

    def __init__(self, count: int) -> None:
        number = np.arange(count)
        shares = (0.5 + (number[:, None] + 1) * np.array(STRIDES)) % 1.0
        # Ranked, every column holds the same evenly spaced shares: means and spreads come out exactly.
        self.shares: Floats = (np.argsort(np.argsort(shares, axis=0), axis=0) + 0.5) / count
        normal = np.array([[STANDARD.inv_cdf(float(share)) for share in row] for row in self.shares[:, :2]])
        self.normal: Floats = normal / normal.std(axis=0)
        self.soak_h: Floats = np.array([ranges.SOAK_H.at(float(share)) for share in self.shares[:, 2]])

    def rates(self, tin: Tin) -> Floats:
        """Relative rate of each class of this tin, shape (len(CELSIUS), count)."""
        low = tin.law.low_c + tin.threshold_sd_c * self.normal[:, 0]
        high = tin.law.high_c + tin.heat_limit_sd_c * self.normal[:, 1]
        return rate_table(tin.law, low, high)

    def restart_h(self, tin: Tin) -> Floats:
        """Longest lag of each class after a time without oxygen."""
        return tin.restart_h * self.shares[:, 3]


def steps(rates: Reals, soak_h: Floats, celsius: Floats, pace: Floats, step_h: float) -> Reals:
    """Progress within each step from the start on.

    ``rates`` as a table over temperature with cysts along its last axis, ``celsius`` and ``pace`` (n,; the share of the rate that
    salt and air leave) of each step.
    While a cyst soaks its clock runs whatever the temperature. Returns (n, *rates.shape[1:]).
    """
    done = look_up_rates(rates, celsius)
    axes = (-1, *([1] * (done.ndim - 1)))
    done *= pace.astype(done.dtype).reshape(axes)
    soaking = int(np.ceil(float(soak_h.max()) / step_h))
    ends = step_h * np.arange(1, soaking + 1).reshape(axes)
    soaked = np.clip((ends - soak_h) / step_h, 0.0, 1.0).astype(done.dtype)
    done[:soaking] = 1.0 - soaked + soaked * done[:soaking]
    done *= step_h
    return done


def progress(done: Reals) -> Reals:
    """Progress (h at 25 C) at the beginning and after each step: one row more than ``done``."""
    total: Reals = np.empty((len(done) + 1, *done.shape[1:]), dtype=done.dtype)
    total[0] = 0.0
    if done[0].size < WIDE:
        np.cumsum(done, axis=0, out=total[1:])
    else:  # row by row is four times as fast: a sum along the first axis strides through memory
        for row, step in enumerate(done):
            np.add(total[row], step, out=total[row + 1])
    return total


def share_out(advance: Reals, log_scale_h: Floats | float, shares: Floats) -> Floats:
    """Share of the cysts that hatch that is out, for progress ``advance`` (..., classes); returns (...).

    ``log_scale_h``: logarithm of the batch's median; ``shares`` the tin's table (all the same) or, with ``advance`` of
    (batches, classes), one row a batch.
    """
    place = (np.log(np.maximum(advance, 1e-6)) - np.asarray(log_scale_h)[..., None] - LOG_LEAST) / LOG_GRAIN
    place = np.clip(place, 0.0, len(LOG_TIMES) - 1.000001)
    row = place.astype(np.intp)
    if shares.ndim == 1:
        low, high = shares[row], shares[row + 1]
    else:
        batch = np.arange(len(shares))[:, None]
        low, high = shares[batch, row], shares[batch, row + 1]
    mean: Floats = (low + (place - row) * (high - low)).mean(axis=-1)
    return mean


def hours_until(total: Reals, log_scale_h: Floats, shares: Floats, share: float, step_h: float) -> Floats:
    """Hours until ``share`` of the hatching cysts are out, inf where that is not reached; shape (batches,).

    ``total``: (n, batches, classes), or (n, classes) when all batches live through the same; then ``shares`` is one table.
    """
    count = len(log_scale_h)
    batch = np.arange(count)

    def out(row: np.ndarray) -> Floats:
        return share_out(total[row] if total.ndim == 2 else total[row, batch], log_scale_h, shares)

    low, high = np.zeros(count, dtype=np.intp), np.full(count, len(total) - 1, dtype=np.intp)
    never = out(high) < share
    while np.any(high - low > 1):
        middle = (low + high) // 2
        reached = out(middle) >= share
        high = np.where(reached, middle, high)
        low = np.where(reached, low, middle)
    before, after = out(low), out(high)
    part = np.clip((share - before) / np.maximum(after - before, 1e-12), 0.0, 1.0)
    hours: Floats = np.where(never, np.inf, (low + part) * step_h)
    return hours
