"""What a simulated batch hides from everybody, for those who want to know how much could be known."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

from simulator.population.air import aired_gate
from simulator.population.batches import BEFORE_SETTLED, Shelf, TinYear
from simulator.world.cysts import salt_factor

if TYPE_CHECKING:
    from simulator.population.air import Stop, Vessel
    from simulator.population.batches import Water
    from simulator.population.keeper import Entry
    from simulator.population.laws import Reals
    from simulator.population.tins import Tin
    from simulator.world.numbers import Floats

NEVER_H: Final = 240.0


@dataclass(frozen=True, slots=True)
class Life:
    """One batch: its vessel, its water, and its progress as it was (minutes + 1, classes)."""

    vessel: Vessel
    water: Water
    total: Reals

    def pace(self, tin: Tin) -> Floats:
        """What salt and air leave of the rate in each minute, as the tin goes on average."""
        gate = aired_gate(self.vessel, self.water.celsius, self.water.freely, float(np.log(tin.median_h)))
        gate[:BEFORE_SETTLED] = 1.0
        return np.asarray(gate / salt_factor(self.vessel.charge.salinity_g_l))


class Watched(TinYear):
    """A tin's year that lets look at what its batches hide."""

    def __init__(self, shelf: Shelf, name: str) -> None:
        super().__init__(shelf, name)
        self.lives: dict[str, Life] = {}

    def _life(
        self, vessel: Vessel, water: Water, slowness: float, start_s: int, name: str
    ) -> tuple[Reals, Stop | None, list[Entry]]:
        found = super()._life(vessel, water, slowness, start_s, name)
        self.lives[name] = Life(vessel, water, found[0])
        return found


@dataclass(slots=True)
class Errors:
    """Absolute errors in hours of one batch at one moment, by who made them."""

    tin: str
    what: str
    season: str
    hours: dict[str, float] = field(default_factory=dict)


def weighted_median(values: Floats, weights: Floats) -> float:
    """What never comes counts as ten days."""
    order = np.argsort(values)
    position = np.cumsum(weights[order]) - weights[order] / 2
    return float(np.interp(0.5, position / weights.sum(), np.minimum(values[order], NEVER_H)))


@cache
def shelf(seed: int) -> Shelf:
    """Once a process."""
    return Shelf(seed)
