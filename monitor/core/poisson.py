"""How sure a count is when only chance is at work: the Poisson distribution, its exact limits, and a test whether it holds.

Plain sums and bisection; exact to about ten digits.
"""

from __future__ import annotations

from math import erfc, exp, lgamma, log, sqrt
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable

CENTRAL: Final = 0.8
"""The project's range: 8 chances in 10."""
_NOTHING: Final = 1e-17
_STEPS: Final = 60


def _term(count: int, mean: float) -> float:
    return exp(count * log(mean) - mean - lgamma(count + 1))


def _down(count: int, mean: float) -> float:
    """Chance of ``count`` or fewer, where that is below the mean: each term is smaller than the one before."""
    term = total = _term(count, mean)
    while count > 0 and term > total * _NOTHING:
        term *= count / mean
        count -= 1
        total += term
    return total


def _up(count: int, mean: float) -> float:
    """Chance of ``count`` or more, where that is above the mean."""
    term = total = _term(count, mean)
    while term > total * _NOTHING:
        count += 1
        term *= mean / count
        total += term
    return total


def at_most(count: int, mean: float) -> float:
    """Chance of finding ``count`` or fewer where ``mean`` are expected."""
    if mean <= 0:
        return 1.0
    return _down(count, mean) if count <= mean else 1 - _up(count + 1, mean)


def at_least(count: int, mean: float) -> float:
    """Chance of finding ``count`` or more where ``mean`` are expected."""
    if count <= 0:
        return 1.0
    if mean <= 0:
        return 0.0
    return _up(count, mean) if count >= mean else 1 - _down(count - 1, mean)


def limits(count: int, central: float = CENTRAL) -> tuple[float, float]:
    """The means between which a count leaves the truth with at least this chance (Garwood 1936, Biometrika 28:437).

    Exact, so it holds the truth a little more often than it says. The lower limit of nothing counted is 0.
    """
    tail = (1 - central) / 2
    top = count + 1.0
    while at_most(count, top) > tail:
        top *= 2
    low = _where(lambda mean: at_least(count, mean) >= tail, 0.0, float(count)) if count else 0.0
    return low, _where(lambda mean: at_most(count, mean) <= tail, float(count), top)


def _where(reached: Callable[[float], bool], low: float, high: float) -> float:
    """Where between ``low`` and ``high`` it is reached."""
    for _ in range(_STEPS):
        middle = (low + high) / 2
        if reached(middle):
            high = middle
        else:
            low = middle
    return (low + high) / 2


def chi_square_beyond(value: float, degrees: int) -> float:
    """Chance that a chi-square of so many degrees of freedom is ``value`` or more; a finite sum, so exact."""
    half = value / 2
    if half <= 0:
        return 1.0
    shape, total = (0.5, erfc(sqrt(half))) if degrees % 2 else (1.0, exp(-half))
    while shape < degrees / 2:
        total += exp(shape * log(half) - half - lgamma(shape + 1))
        shape += 1
    return min(total, 1.0)
