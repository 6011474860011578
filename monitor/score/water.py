"""The water as it was foretold, against what its probe told later and against water that stays as it is."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core import water
from monitor.core.light import light
from monitor.core.model import HOUR, MINUTE, SLOT
from monitor.score.metrics import crps_of_normal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.engine import Engine
    from monitor.core.log import Start
    from monitor.core.model import Ms
    from monitor.score.baselines import Warmth
    from monitor.score.truth import Season, Truth

AHEAD_H: Final = (3, 6, 12)
NEAR: Final = 15 * MINUTE
"""The mean of the readings so near to an instant is the truth at it: a cheap probe's noise and a thermostat's clicks even out."""


@light
class WaterRow:
    """One vessel's water as foretold at one moment, C."""

    tin: str
    batch: str
    season: Season
    age_h: float
    ahead_h: int
    mean: float
    sd: float
    newest: float  # what the probe said last
    truth: float

    @property
    def loss(self) -> float:
        """CRPS of what was foretold, C."""
        return float(crps_of_normal(np.array([self.mean]), np.array([self.sd]), np.array([self.truth]))[0])

    @property
    def held_loss(self) -> float:
        """CRPS, which is the plain error, of water that stays as it is, C."""
        return abs(self.newest - self.truth)


@light
class Watched:
    """A batch whose water is looked at; ``warmth`` holds its vessel's readings of all times."""

    tin: str
    start: Start
    truth: Truth
    ended: Ms | None
    warmth: Warmth


def water_rows(engine: Engine, now: Ms, batch: Watched) -> Iterator[WaterRow]:
    """How the water was foretold at ``now``; nothing where its probe said nothing or a heater fails unforeseen."""
    belief = engine.state.batches[batch.start.batch].belief
    known = batch.warmth.known(now)
    if belief is None or belief.water.last is None or not len(known.celsius):
        return
    upto = min(belief.water.last, now // SLOT) + 1
    future = water.forecast(belief.water, upto, belief.room, batch.start.time // SLOT, belief.habit)
    age_h = (now - batch.start.time) / HOUR
    for ahead_h in AHEAD_H:
        to = now + ahead_h * HOUR
        truth = _around(batch.warmth, to)
        if math.isnan(truth) or (batch.ended is not None and to > batch.ended):
            continue
        if not batch.truth.water_foreseeable(age_h, age_h + ahead_h):
            continue
        mean, sd = (float(value[0]) for value in future.at(np.array([float(to)])))
        newest = float(known.celsius[-1])
        tin, name, season = batch.tin, batch.start.batch, batch.truth.season
        yield WaterRow(tin, name, season, age_h, ahead_h, mean, sd, newest, truth)


def _around(warmth: Warmth, time: Ms) -> float:
    low, high = (int(np.searchsorted(warmth.times, time + by)) for by in (-NEAR, NEAR))
    return float(warmth.celsius[low:high].mean()) if high > low else math.nan
