"""Limits of a count against published tables; each check says where its figures are from."""

from __future__ import annotations

from math import exp, lgamma, log

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.poisson import at_least, at_most, chi_square_beyond, limits

# Garwood 1936, Biometrika 28:437, 95 %, from memory; the first is also in the manual of the R package epitools (3.689).
GARWOOD = (
    (0, 0.0, 3.689),
    (1, 0.0253, 5.572),
    (2, 0.242, 7.225),
    (5, 1.623, 11.668),
    (10, 4.795, 18.390),
    (20, 12.217, 30.888),
    (50, 37.11, 65.92),
    (100, 81.36, 121.63),
)


@pytest.mark.parametrize(("count", "low", "high"), GARWOOD)
def test_limits_are_those_of_garwood(count: int, low: float, high: float) -> None:
    """The 95 % limits agree with the table to its last digit."""
    found = limits(count, 0.95)
    assert found[0] == pytest.approx(low, abs=6e-3 if count > 20 else 6e-4)
    assert found[1] == pytest.approx(high, abs=6e-3 if count > 20 else 6e-4)


def test_nothing_counted_has_a_limit_of_its_own() -> None:
    """With 2.303 expected, the logarithm of ten, one sample of ten has nothing in it."""
    low, high = limits(0)
    assert low == 0.0
    assert high == pytest.approx(log(10), rel=1e-9)


@settings(deadline=None)
@given(st.integers(1, 5000))
def test_beyond_each_limit_lies_a_tenth(count: int) -> None:
    """At the lower limit so many or more are found in a tenth of samples, at the upper so many or fewer."""
    low, high = limits(count)
    assert low < count < high
    assert at_least(count, low) == pytest.approx(0.1, rel=1e-6)
    assert at_most(count, high) == pytest.approx(0.1, rel=1e-6)


@settings(deadline=None)
@given(st.integers(0, 3000))
def test_who_counts_more_has_more_and_knows_it_better(count: int) -> None:
    """Both limits rise with the count, and the range grows narrower as a share of it."""
    here, there = limits(count), limits(count + 1)
    assert here[0] < there[0]
    assert here[1] < there[1]
    if count:
        assert (there[1] - there[0]) / (count + 1) < (here[1] - here[0]) / count


def _holds(count: int, mean: float) -> bool:
    low, high = limits(count)
    return low <= mean <= high


@pytest.mark.parametrize("mean", [0.5, 2.0, 5.0, 11.3, 36.0, 54.7, 120.0])
def test_the_range_holds_the_truth_at_least_as_often_as_it_says(mean: float) -> None:
    """Summed over all counts there can be: in at least 80 of 100, and from a few on not in more than 95."""
    held = sum(
        exp(count * log(mean) - mean - lgamma(count + 1))
        for count in range(int(mean + 12 * mean**0.5) + 20)
        if _holds(count, mean)
    )
    assert held >= 0.8 - 1e-9
    if mean >= 2:
        assert held <= 0.95


@settings(deadline=None)
@given(st.integers(0, 400), st.floats(0.01, 500))
def test_the_two_tails_make_a_whole(count: int, mean: float) -> None:
    """So many or fewer, or more than so many: one of the two."""
    assert at_most(count, mean) + at_least(count + 1, mean) == pytest.approx(1.0, abs=1e-9)


def test_where_none_are_expected_none_are_found() -> None:
    """The ends of the scale are no trap."""
    assert (at_most(0, 0.0), at_least(0, 0.0), at_least(1, 0.0)) == (1.0, 1.0, 0.0)


# The usual table of chi-square, from memory: beyond these lie 5, and in the last two 90 and 1 of 100.
CHI_SQUARE = (
    (3.841, 1, 0.05),
    (5.991, 2, 0.05),
    (11.070, 5, 0.05),
    (16.919, 9, 0.05),
    (18.307, 10, 0.05),
    (43.773, 30, 0.05),
    (4.168, 9, 0.90),
    (15.086, 5, 0.01),
)


@pytest.mark.parametrize(("value", "degrees", "beyond"), CHI_SQUARE)
def test_chi_square_is_that_of_the_table(value: float, degrees: int, beyond: float) -> None:
    """The chance beyond a value of the table is the one that heads its column."""
    assert chi_square_beyond(value, degrees) == pytest.approx(beyond, rel=1e-3)


def test_no_difference_at_all_is_no_proof_of_any() -> None:
    """A chi-square of nothing lies below all others."""
    assert chi_square_beyond(0.0, 4) == 1.0
