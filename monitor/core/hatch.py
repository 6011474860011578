"""How cysts hatch: thermal time-to-event, log-logistic over progress.

Progress ``x`` is counted in hours at 25 C. Of the cysts that will ever hatch, the share ``1 / (1 + (x / e) ** -b)`` has
hatched at progress ``x`` (the log-logistic form used for seed germination, Onofri et al. 2018); beyond the half ``b`` is a
little steeper. ``x`` grows at the rate ``rate(T)``, which is 1 at 25 C, falls linearly to 0 at ``t_base`` and, above
``t_turn``, falls linearly to 0 at ``t_stop``.

What is not known of a batch is a point in a space of standard normal coordinates; ``draw`` maps points to parameters.
That keeps every prior in one place and lets evidence move a cloud of points without leaving the allowed ranges.
"""

from __future__ import annotations

from dataclasses import fields
from functools import cache
from itertools import islice
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from monitor.core.light import light
from monitor.core.shuffle import orders

Array = NDArray[np.float64]

LOT_COORDINATES: Final = ("half", "base", "turn", "stop", "synchrony", "share", "cold", "hot", "bias")
"""What belongs to the tin, and the bias of the probe it is watched with: learned from batch to batch."""

BATCH_COORDINATES: Final = ("luck", "yield", "lag", "weather", "demand")
"""What is new in every batch."""

COORDINATES: Final = (*LOT_COORDINATES, *BATCH_COORDINATES)
"""Names of the coordinates, in the order of the columns of a cloud."""

LOT_DIMENSIONS: Final = len(LOT_COORDINATES)
SHARE: Final = LOT_COORDINATES.index("share")

SAMPLES: Final = 512

# Priors for a lot that has never been hatched here. Spread of the half time in log units: lot to lot about 0.25 and batch
# to batch 0.08-0.10, together 0.26; the strains and temperatures behind them are in Vanhaecke & Sorgeloos 1982 (Aquacult. Eng.
# 1:263-273) and the pair of temperatures for San Francisco Bay cysts that gives a base of 11.5-12.3 C.
HALF_MEDIAN_H: Final = (
    20.7  # most lots are done at 18-24 h (secondary); shells break after 15-20 h at 25 C (FAO T428 annex 4)
)
HALF_LOG_SD: Final = 0.24
LUCK_LOG_SD: Final = 0.087
SOAK_H: Final = 1.5  # cysts take up water to a sphere in 1-2 h, warm or cold (FAO prawn manual annex 4, restated)
CORNER_C: Final = (
    1.3  # the cysts of a batch have thresholds of their own, so the law has no sharp corner; an assumption
)
NO_CORNER: Final = 600.0  # corners above the base: hotter than any water, and the exponential still is a number
BASE_MEAN_C, BASE_SD_C, BASE_LOW_C, BASE_HIGH_C = 11.0, 1.5, 7.0, 13.5
TURN_MEAN_C, TURN_SD_C = 30.0, 1.5
STOP_MEAN_C, STOP_SD_C = 37.0, 2.5
# T90 - T10 at 25 C of five published lots: 6.4, 6.5, 7.4 h (Yang, Bian & Li 1989), 7 h (Bethioua et al. 2017), 12 h (J. Biol.
# Res. 2005); the 23-27 h of one salt lake lie outside. Sources give hours, not a share of the time it takes: so does the prior.
SYNCHRONY_MEDIAN_H, SYNCHRONY_LOG_SD = 8.5, 0.28
# Hatch percentage of 18 published lots: mean 65, SD 18; good commercial lots are better.
SHARE_LOGIT_MEAN, SHARE_LOGIT_SD = 0.8, 1.0
LABEL_LOGIT_SD: Final = 0.4
YIELD_LOGIT_SD: Final = 0.25  # batch to batch within a lot; an assumption
# The usual rate laws agree within 10 % from 20 to 28 C and part badly outside: more doubt there.
OUTSIDE_LOG_SD: Final = 0.15
COLD_FROM_C, COLD_FULL_C, HOT_FROM_C, HOT_FULL_C = 20.0, 16.0, 29.5, 31.5
COLDEST: Final = 2.0  # the doubt goes on growing in the cold, to this many times
# Log-normal and log-logistic times are even about the median on a log scale, the late half of gamma and Weibull times is quicker:
# nothing published tells which it is, so the middle of them.
LATE_STEEPER: Final = 1.1
PROBE_BIAS_SD_C: Final = 0.3  # cheap digital probes are sold as +-0.5 C; common practice, no source
LAG_MAX_H: Final = 2.0  # restart after lack of oxygen: 0-2 h, an assumption
DEMAND_LOG_SD: Final = 0.27  # oxygen demand is uncertain by x1.5, taken as one and a half standard deviations
SALT_PER_G_L: Final = 0.01  # time rises roughly 1 % per g/L above 20 g/L
SALT_REFERENCE_G_L: Final = 25.0  # the middle of the 20-30 g/L that are recommended, at which the half time is meant

REFERENCE_C: Final = 25.0


@light
class Parameters:
    """One column per sample, shape (n,) each."""

    half: Array  # hours at 25 C, after the soaking, until half of what will hatch has hatched
    base: Array  # C, no progress below
    turn: Array  # C, the rate falls above
    stop: Array  # C, no progress above
    shape: Array  # exponent of the log-logistic
    share: Array  # of all cysts, 0..1, that will ever hatch
    cold: Array  # log factor on the rate in the cold
    hot: Array  # log factor on the rate in the heat
    bias: Array  # C, the water is this much warmer than the probe says
    lag: Array  # hours until progress resumes after a long lack of oxygen
    weather: Array  # standard normal, how the water will depart from its forecast
    demand: Array  # factor on the oxygen demand

    def of(self, those: Array) -> Parameters:
        """Of some samples: indices, or a mask of shape (n,)."""
        return Parameters(*(getattr(self, one.name)[those] for one in fields(self)))


@light(eq=False)
class Prior:
    """What is believed of a batch before anything was seen of it.

    ``mean`` (9,) and ``factor`` (9, 9, lower triangular) place the coordinates of the lot: a new lot has zeros and ones,
    a learned one what its batches have taught.
    """

    mean: Array
    factor: Array
    share_logit_mean: float = SHARE_LOGIT_MEAN
    share_logit_sd: float = SHARE_LOGIT_SD

    @staticmethod
    def of_label(percent: float | None) -> Prior:
        """Prior of a new tin with the hatch percentage on its label, or of one without a label."""
        mean, factor = np.zeros(LOT_DIMENSIONS), np.eye(LOT_DIMENSIONS)
        if percent is None:
            return Prior(mean, factor)
        share = min(max(percent / 100, 0.02), 0.98)
        return Prior(mean, factor, float(np.log(share / (1 - share))), LABEL_LOGIT_SD)

    def lot_points(self, points: Array) -> Array:
        """Coordinates of the lot, shape (n, 9), of a standard normal cloud of shape (n, 14)."""
        return np.asarray(self.mean + points[:, :LOT_DIMENSIONS] @ self.factor.T)

    def half_h(self, coordinate: float) -> float:
        """Hours at 25 C until half has hatched, at a lot's coordinate ``half``."""
        return float(HALF_MEDIAN_H * np.exp(HALF_LOG_SD * coordinate))

    def share(self, coordinate: float) -> float:
        """Share that hatches, at a lot's coordinate ``share``."""
        return float(1 / (1 + np.exp(-(self.share_logit_mean + self.share_logit_sd * coordinate))))

    @property
    def likely_share(self) -> float:
        """Share that hatches of a lot as it is in the middle."""
        return self.share(float(self.mean[SHARE]))


@cache
def cloud(samples: int = SAMPLES) -> Array:
    """Standard normal points, shape (samples, 14): a Latin hypercube from a fixed seed, the same for every batch."""
    levels = np.array([NormalDist().inv_cdf((i + 0.5) / samples) for i in range(samples)])
    columns = islice(orders(20_240, samples), len(COORDINATES))
    points = np.stack([levels[order] for order in columns], axis=1)
    # Columns by chance lean on each other a little, and what is learned of one would move the others.
    points = np.ascontiguousarray(np.linalg.solve(np.linalg.cholesky(np.cov(points.T, bias=True)), points.T).T)
    points.setflags(write=False)
    return points


@cache
def _base_table() -> tuple[Array, Array]:
    """Map from a standard normal to the truncated normal of the base temperature, as a table for interpolation."""
    normal = NormalDist()
    prior = NormalDist(BASE_MEAN_C, BASE_SD_C)
    low, high = prior.cdf(BASE_LOW_C), prior.cdf(BASE_HIGH_C)
    z = np.linspace(-4.5, 4.5, 181)
    return z, np.array([prior.inv_cdf(low + (high - low) * normal.cdf(float(point))) for point in z])


@cache
def _uniform_table() -> tuple[Array, Array]:
    normal = NormalDist()
    z = np.linspace(-4.5, 4.5, 181)
    return z, np.array([normal.cdf(float(point)) for point in z])


def salt_slows(salinity_g_l: float) -> float:
    """Factor on the hours between soaking and hatching; 1 at the reference, and no less below 20 g/L than there."""
    return 1 + SALT_PER_G_L * (max(salinity_g_l, 20.0) - SALT_REFERENCE_G_L)


def draw(points: Array, prior: Prior, salinity_g_l: float = SALT_REFERENCE_G_L) -> Parameters:
    """Parameters of every point of a cloud of shape (n, 14) under a prior and at a salinity."""
    column = dict(zip(LOT_COORDINATES, prior.lot_points(points).T, strict=True))
    column |= dict(zip(BATCH_COORDINATES, points[:, LOT_DIMENSIONS:].T, strict=True))
    salt = salt_slows(salinity_g_l)
    turn = TURN_MEAN_C + TURN_SD_C * column["turn"]
    return Parameters(
        half=(HALF_MEDIAN_H * np.exp(HALF_LOG_SD * column["half"] + LUCK_LOG_SD * column["luck"]) - SOAK_H) * salt,
        base=np.asarray(np.interp(column["base"], *_base_table())),
        turn=turn,
        stop=np.maximum(STOP_MEAN_C + STOP_SD_C * column["stop"], turn + 1.0),
        shape=_shape(column["half"], column["synchrony"]),
        share=1
        / (
            1
            + np.exp(
                -(prior.share_logit_mean + prior.share_logit_sd * column["share"] + YIELD_LOGIT_SD * column["yield"])
            )
        ),
        cold=OUTSIDE_LOG_SD * column["cold"],
        hot=OUTSIDE_LOG_SD * column["hot"],
        bias=PROBE_BIAS_SD_C * column["bias"],
        lag=np.asarray(LAG_MAX_H * np.interp(column["lag"], *_uniform_table())),
        weather=np.array(column["weather"]),
        demand=np.exp(DEMAND_LOG_SD * column["demand"]),
    )


def _shape(half: Array, synchrony: Array) -> Array:
    """Exponent of the log-logistic of a tin, for which T90 - T10 is 2 half sinh(ln 9 / shape)."""
    median = HALF_MEDIAN_H * np.exp(HALF_LOG_SD * half)
    apart = SYNCHRONY_MEDIAN_H * np.exp(SYNCHRONY_LOG_SD * synchrony)
    return np.asarray(np.log(9.0) / np.arcsinh(apart / (2 * median)))


def rate(water_c: Array, p: Parameters) -> Array:
    """Progress per hour, in hours at 25 C. ``water_c`` has shape (k, n) or (n,), the parameters (n,)."""
    warm = 1 / (REFERENCE_C - p.base)
    # The rising part is log(1 + exp(above)), in place and not by logaddexp, which takes five times as long; and this is where
    # most of the time goes. Below e to the -36 it gives 0, which is as slow as makes no difference.
    value = (water_c - p.base) / CORNER_C
    np.minimum(value, NO_CORNER, out=value)
    np.exp(value, out=value)
    value += 1.0
    np.log(value, out=value)
    value *= CORNER_C * warm
    falling = p.stop - water_c
    falling *= (p.turn - p.base) * warm / (p.stop - p.turn)
    np.minimum(value, falling, out=value)
    np.maximum(value, 0.0, out=value)
    if water_c.size and float(water_c.min()) < COLD_FROM_C:
        chill = np.clip((COLD_FROM_C - water_c) / (COLD_FROM_C - COLD_FULL_C), 0.0, COLDEST)
        value *= np.exp(p.cold * chill)
    if water_c.size and float(water_c.max()) > HOT_FROM_C:
        heat = np.clip((water_c - HOT_FROM_C) / (HOT_FULL_C - HOT_FROM_C), 0.0, 1.0)
        value *= np.exp(p.hot * heat)
    return value


def hatched(progress: Array, p: Parameters) -> Array:
    """Share, of the cysts that will ever hatch, that has hatched at this progress; shape as ``progress``."""
    with np.errstate(divide="ignore"):
        logit = p.shape * (np.log(np.maximum(progress, 0.0)) - np.log(p.half))
        logit = np.where(logit > 0, LATE_STEEPER * logit, logit)
    return np.asarray(1 / (1 + np.exp(-np.clip(logit, -500, 500))))


def progress_at(share: float, p: Parameters) -> Array:
    """Progress at which this share (0..1, exclusive) of those that will hatch has hatched; shape (n,)."""
    steepness = p.shape * (LATE_STEEPER if share > 0.5 else 1.0)
    return np.asarray(p.half * (share / (1 - share)) ** (1 / steepness))
