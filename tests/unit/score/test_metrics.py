from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest

from monitor.score.metrics import (
    NEVER_H,
    crps_of_lognormal,
    crps_of_normal,
    crps_of_sample,
    interval_score,
    normal_cdf,
    place_in_sample,
    score_lognormal,
    score_sample,
)

MANY = (np.arange(4000) + 0.5) / 4000
NORMAL = np.array([NormalDist().inv_cdf(float(level)) for level in MANY])
EQUAL = np.full(len(MANY), 1 / len(MANY))


@pytest.mark.parametrize("truth", [-2.0, 0.0, 0.7, 3.0])
def test_crps_of_a_normal_sample_is_that_of_the_normal(truth: float) -> None:
    """The CRPS of many quantiles of N(24, 3) is that of the closed form (Gneiting & Raftery 2007, equation 21)."""
    z = NormalDist()
    closed = 3 * (truth * (2 * z.cdf(truth) - 1) + 2 * z.pdf(truth) - 1 / math.sqrt(math.pi))
    found = crps_of_sample((24 + 3 * NORMAL)[None, :], EQUAL[None, :], np.array([24 + 3 * truth]))
    assert found[0] == pytest.approx(closed, abs=2e-3)


def test_crps_by_hand() -> None:
    """Weights 1/4 and 3/4 at 1 and 3 and a truth of 2: 1 less half of 3/4."""
    found = crps_of_sample(np.array([[3.0, 1.0]]), np.array([[0.75, 0.25]]), np.array([2.0]))
    assert found[0] == pytest.approx(0.625)


def test_a_weight_is_as_good_as_a_repetition() -> None:
    """A sample with weights has the CRPS and the place of one in which values are repeated."""
    weighted = np.array([[20.0, 26.0, 23.0]]), np.array([[0.5, 0.25, 0.25]]), np.array([23.0])
    repeated = np.array([[20.0, 20.0, 23.0, 26.0]]), np.full((1, 4), 0.25), np.array([23.0])
    assert crps_of_sample(*weighted) == pytest.approx(crps_of_sample(*repeated))
    assert place_in_sample(*weighted) == pytest.approx([0.625])
    assert place_in_sample(*repeated) == pytest.approx([0.625])


@pytest.mark.parametrize("truth", [14.0, 24.0, 40.0])
def test_crps_of_a_lognormal_is_that_of_its_quantiles(truth: float) -> None:
    """The closed form of the log-normal agrees with a sample of its quantiles."""
    sample = crps_of_sample((24 * np.exp(0.2 * NORMAL))[None, :], EQUAL[None, :], np.array([truth]))
    assert crps_of_lognormal(np.array([24.0]), 0.2, np.array([truth])) == pytest.approx(sample, abs=5e-3)


def test_a_certain_forecast_is_scored_by_its_error() -> None:
    """The CRPS of a sample at a point is its distance from the truth."""
    found = crps_of_sample(np.full((1, 3), 22.0), np.full((1, 3), 1 / 3), np.array([25.0]))
    assert found[0] == pytest.approx(3.0)


def test_interval_score_by_hand() -> None:
    """A range of 10 h costs 10 when it holds the truth, and ten more for each hour the truth lies outside."""
    lo, hi = np.full(3, 20.0), np.full(3, 30.0)
    assert interval_score(lo, hi, np.array([25.0, 18.0, 31.5])) == pytest.approx([10.0, 30.0, 25.0])


def test_the_normal_distribution_function() -> None:
    """It is that of the standard library."""
    z = np.array([-3.0, -0.5, 0.0, 1.2816])
    assert normal_cdf(z) == pytest.approx([NormalDist().cdf(float(v)) for v in z])


def test_the_range_of_a_lognormal_holds_four_fifths() -> None:
    """80 % of the quantiles of a log-normal lie inside the range that is given for it."""
    truth = 24 * np.exp(0.15 * NORMAL)
    scored = score_lognormal(np.full(len(truth), 24.0), 0.15, truth)
    assert np.mean((scored.lo <= truth) & (truth <= scored.hi)) == pytest.approx(0.8, abs=0.001)
    assert np.asarray(scored.place) == pytest.approx(MANY, abs=1e-6)


def test_never_counts_as_ten_days() -> None:
    """Weight on never costs as much as weight at ten days, and nothing becomes infinite."""
    values, weights = np.array([24.0, np.inf]), np.array([3.0, 1.0])
    scored = score_sample(values, weights, (24.0, 24.0, math.inf), 25.0)
    finite = score_sample(np.array([24.0, NEVER_H]), weights, (24.0, 24.0, NEVER_H), 25.0)
    assert scored == finite
    assert scored.hi == NEVER_H


@pytest.mark.parametrize("truth", [-2.0, 0.0, 0.7, 3.0])
def test_crps_of_a_normal_is_that_of_its_quantiles(truth: float) -> None:
    """The closed form of the normal agrees with a sample of its quantiles; without spread it is the plain error."""
    sample = crps_of_sample((18 + 3 * NORMAL)[None, :], EQUAL[None, :], np.array([18 + 3 * truth]))
    one = np.ones(1)
    assert crps_of_normal(18 * one, 3 * one, (18 + 3 * truth) * one) == pytest.approx(sample, abs=2e-3)
    assert crps_of_normal(18 * one, 0 * one, (18 + 3 * truth) * one) == pytest.approx([abs(3 * truth)], abs=1e-6)
