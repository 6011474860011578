"""When a batch that is only planned will be ready: the hatch law run over the water as foreseen, for all starts at once.

Luck moves how far a batch has to go, not how fast it goes: so the way is summed once for a vessel and a tin, and a start is
only a place on it. Times are as ``progress`` reckons them for a batch under way whose air runs.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.hatch import (
    LUCK_LOG_SD,
    SOAK_H,
    YIELD_LOGIT_SD,
    Array,
    Parameters,
    draw,
    progress_at,
    rate,
    salt_slows,
)
from monitor.core.light import light
from monitor.core.model import HOUR
from monitor.core.window import BEST_ENERGY, LEAST, energy_loss_per_h, first_stage_ms

if TYPE_CHECKING:
    from monitor.core.food import VesselHeld
    from monitor.core.hatch import Prior
    from monitor.core.model import Ms

NEVER_H: Final = 38 * 24.0  # as ``progress`` has it: what takes longer counts as never


@light
class Crossings:
    """Of one batch in each scenario, shape (n,): when it is ready, ms, and for how many hours it is then at its best."""

    ready: Array
    best_h: Array


@light(eq=False)
class Course:
    """How far cysts of one tin get in one vessel, and what of the tin decides how far they must get."""

    edges: Array  # ms, (k,)
    way: Array  # progress since the first edge, hours at 25 C, (k, n)
    best_ms: Array  # (k,), how long after half has hatched they are at their best, in the water of then
    parameters: Parameters  # of a batch without luck
    salt: float

    @staticmethod
    def of(vessel: VesselHeld, prior: Prior, points: Array, salinity_g_l: float) -> Course:
        """From the water as foreseen, and from points of ``hatch.draw`` that have neither luck nor yield."""
        parameters = draw(points, prior, salinity_g_l)
        mean = np.array(vessel.water_c, dtype=float)
        sd = np.array(vessel.water_sd_c, dtype=float)
        # The water between two whole hours is in the middle of both.
        mean, sd = np.append(mean, mean[-1]), np.append(sd, sd[-1])
        between = (mean[1:] + mean[:-1]) / 2, (sd[1:] + sd[:-1]) / 2
        water = between[0][:, None] + between[1][:, None] * parameters.weather + parameters.bias
        steps = rate(water, parameters)
        way = np.concatenate([np.zeros((1, steps.shape[1])), np.cumsum(steps, axis=0)])
        edges = vessel.begin + HOUR * np.arange(len(way), dtype=float)
        return Course(edges, way, np.array([best_ms(float(c)) for c in mean]), parameters, salt_slows(salinity_g_l))

    def started(self, start: Ms, luck: Array) -> Crossings:
        """A batch started at ``start`` with this luck, standard normal, shape (n,)."""
        soaked = start + SOAK_H * HOUR
        p = self.parameters
        half = ((p.half / self.salt + SOAK_H) * np.exp(LUCK_LOG_SD * luck) - SOAK_H) * self.salt
        own = replace(p, half=half)
        begun = self._at(soaked)
        ready = self._reached(begun + progress_at(0.9, own), soaked)
        middle = self._reached(begun + half, soaked)
        fresh = np.interp(np.where(np.isinf(ready), self.edges[-1], ready), self.edges, self.best_ms)
        with np.errstate(invalid="ignore"):
            best = np.maximum(middle + fresh - ready, float(LEAST))
        return Crossings(ready, np.where(np.isinf(ready), 0.0, best / HOUR))

    def share(self, yields: Array) -> Array:
        """Share of all cysts that hatches, with this yield of the batch, standard normal, shape (n,)."""
        share = self.parameters.share
        return np.asarray(1 / (1 + (1 - share) / share * np.exp(-YIELD_LOGIT_SD * yields)))

    def _at(self, time: float) -> Array:
        """Progress at an instant; before and after what is foreseen the water is as at its ends."""
        hours = (time - self.edges[0]) / HOUR
        k = int(np.clip(hours, 0, len(self.edges) - 2))
        return np.asarray(self.way[k] + (self.way[k + 1] - self.way[k]) * (hours - k))

    def _reached(self, target: Array, since: float) -> Array:
        """When progress gets to ``target`` (n,), ms; ``inf`` where that is never."""
        columns = np.arange(len(target))
        k = np.clip((self.way < target).sum(axis=0) - 1, 0, len(self.edges) - 2)  # the way never turns back
        low = self.way[k, columns]
        each = self.way[k + 1, columns] - low
        with np.errstate(divide="ignore", invalid="ignore"):
            at = self.edges[k] + np.where(target > low, (target - low) / each, 0.0) * HOUR
        return np.where(at < since + NEVER_H * HOUR, at, np.inf)


def best_ms(water_c: float) -> float:
    """How long after half has hatched a batch is at its best, ms: until it moults or has burnt much of its yolk."""
    return min(float(first_stage_ms(water_c)), (1 - BEST_ENERGY) / energy_loss_per_h(water_c) * HOUR)
