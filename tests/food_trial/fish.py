"""Who eats, as it truly is: when larvae swim up, how many there are, and what fills them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.model import DAY, Ms
from simulator.world.numbers import stream
from tests.food_trial.scenario import ADULTS, SPAWNINGS, Spawning, at, clock, feeding_of

if TYPE_CHECKING:
    from monitor.core.food import FishSpec

LARVAE_LOG_SD: Final = 0.15  # the keeper's guess against the truth; assumption
RATION_LOG_SD: Final = 0.07  # of one brood against the table; assumption
LOST_A_DAY: Final = 0.01  # of the larvae; assumption


@dataclass(frozen=True, slots=True)
class TrueBrood:
    """One brood with its truth."""

    spawning: Spawning
    spawned: Ms
    swims_up: Ms
    at_first: float
    ration: float

    @property
    def id(self) -> str:
        return self.spawning.id

    @property
    def fish(self) -> FishSpec:
        return self.spawning.fish

    @property
    def weaned(self) -> Ms:
        return self.swims_up + round(self.fish.wean_days * DAY)

    def larvae(self, now: Ms) -> float:
        """Alive at ``now``."""
        return float(self.at_first * (1 - LOST_A_DAY) ** max((now - self.swims_up) / DAY, 0.0))

    def need(self, now: Ms) -> float:
        """Nauplii that fill all of them at a meal at ``now``."""
        age = (now - self.swims_up) / DAY
        if clock(now)[1] not in feeding_of(self.fish.meals) or not self.fish.finer_days <= age < self.fish.wean_days:
            return 0.0
        grown = (1 + self.fish.growth_per_day) ** (age - self.fish.finer_days)
        return float(self.larvae(now) * self.ration * grown / len(feeding_of(self.fish.meals)))

    def largest_um(self, now: Ms) -> float | None:
        """The longest nauplius that fits."""
        if self.fish.largest_um is None:
            return None
        return self.fish.largest_um + self.fish.largest_growth_um * max((now - self.swims_up) / DAY, 0.0)


@dataclass(frozen=True, slots=True)
class Hungry:
    """One that is to be fed now."""

    eater: str
    need: float
    largest_um: float | None


class Tanks:
    """All that eat."""

    def __init__(self, seed: int, spawnings: tuple[Spawning, ...] = SPAWNINGS) -> None:
        self.broods = [_truth(seed, spawning) for spawning in spawnings]

    def hungry(self, now: Ms) -> list[Hungry]:
        """Who eats at a feeding time; the smallest mouths first."""
        name, a_day, meals = ADULTS
        found = [Hungry(brood.id, brood.need(now), brood.largest_um(now)) for brood in self.broods]
        if clock(now)[1] in feeding_of(meals):
            found.append(Hungry(name, a_day / len(feeding_of(meals)), None))
        found = [one for one in found if one.need > 0]
        return sorted(found, key=lambda one: (one.largest_um is None, one.largest_um or 0.0))


def _truth(seed: int, spawning: Spawning) -> TrueBrood:
    chance = stream(seed, "brood", spawning.id)
    spawned = at(spawning.day, spawning.hour * 60)
    days = spawning.fish.swim_up_days * float(np.exp(spawning.fish.swim_up_log_sd * chance.standard_normal()))
    return TrueBrood(
        spawning,
        spawned,
        spawned + round(days * DAY),
        spawning.larvae * float(np.exp(LARVAE_LOG_SD * chance.standard_normal())),
        spawning.fish.ration * float(np.exp(RATION_LOG_SD * chance.standard_normal())),
    )
