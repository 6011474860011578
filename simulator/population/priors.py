"""Distributions that the population is drawn from. Each turns a uniform share into a value, and says why it is so."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Generic, Protocol, TypeVar

import numpy as np

if TYPE_CHECKING:
    from simulator.world.numbers import Floats

STANDARD = NormalDist()
Item = TypeVar("Item")


class Prior(Protocol):
    """One draw is ``at`` one uniform share, so that a change of one prior moves no other draw."""

    def at(self, share: float) -> float:
        """The value below which ``share`` (0..1) of the population lies."""


def draw(prior: Prior, chance: np.random.Generator) -> float:
    """One value by chance."""
    return prior.at(float(chance.random()))


def spread(prior: Prior, shares: Floats) -> Floats:
    """Values at many shares; same shape."""
    return np.array([prior.at(float(share)) for share in shares])


@dataclass(frozen=True, slots=True)
class Uniform:
    low: float
    high: float
    why: str

    def at(self, share: float) -> float:
        return self.low + (self.high - self.low) * share


@dataclass(frozen=True, slots=True)
class Normal:
    """Normal, cut off (not piled up) at ``low`` and ``high``."""

    mean: float
    sd: float
    low: float
    high: float
    why: str

    def at(self, share: float) -> float:
        law = NormalDist(self.mean, self.sd)
        below, above = law.cdf(self.low), law.cdf(self.high)
        inside = min(max(below + (above - below) * share, 1e-12), 1 - 1e-12)
        return min(max(law.inv_cdf(inside), self.low), self.high)


@dataclass(frozen=True, slots=True)
class LogNormal:
    """Lognormal by its median and log-SD, cut off at ``low`` and ``high``."""

    median: float
    log_sd: float
    low: float
    high: float
    why: str

    def at(self, share: float) -> float:
        log = Normal(float(np.log(self.median)), self.log_sd, float(np.log(self.low)), float(np.log(self.high)), "")
        return min(max(float(np.exp(log.at(share))), self.low), self.high)


@dataclass(frozen=True, slots=True)
class LogitNormal:
    """A share whose logit is normal."""

    median: float
    logit_sd: float
    why: str

    def at(self, share: float) -> float:
        return shifted(self.median, self.logit_sd * STANDARD.inv_cdf(min(max(share, 1e-12), 1 - 1e-12)))


@dataclass(frozen=True, slots=True)
class Among(Generic[Item]):
    """One of several, by weight."""

    items: tuple[Item, ...]
    weights: tuple[float, ...]
    why: str

    def at(self, share: float) -> Item:
        edges = np.cumsum(self.weights) / np.sum(self.weights)
        return self.items[min(int(np.searchsorted(edges, share, side="right")), len(self.items) - 1)]

    def draw(self, chance: np.random.Generator) -> Item:
        return self.at(float(chance.random()))


def shifted(share: float, by: float) -> float:
    """A share (0..1) moved on the logit scale."""
    inside = min(max(share, 1e-9), 1 - 1e-9)
    return float(1.0 / (1.0 + (1.0 - inside) / inside * np.exp(-by)))
