"""The jars in the refrigerator as they are: what lives in each, and until when."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from monitor.core.model import HOUR
from simulator.population.priors import LogNormal, draw
from simulator.world.numbers import stream
from tests.food_trial.scenario import STORES

if TYPE_CHECKING:
    from monitor.core.model import Ms

FRIDGE_C: Final = 4.0
LIVES_H: Final = LogNormal(
    48.0,
    0.20,
    30.0,
    72.0,
    "48 h at 2-4 C with over 90 % alive (KKT1, J. Biol. Res. 2005), 24 h below 10 C (Ghent course), longer with losses"
    " (common practice)",
)


@dataclass(slots=True)
class Jar:
    """What one jar holds: nauplii of one tin, all alive until ``dies``."""

    id: str
    nauplii: float = 0.0
    tin: str = ""
    filled: Ms = 0
    dies: Ms = 0
    batch: str = ""

    def living(self, now: Ms) -> float:
        """So many are alive."""
        return self.nauplii if now < self.dies else 0.0


@dataclass(slots=True)
class Fridge:
    """All jars. ``wasted`` counts nauplii that were never fed."""

    seed: int
    jars: dict[str, Jar] = field(default_factory=lambda: {name: Jar(name) for name in STORES})
    wasted: float = 0.0

    def fill(self, store: str, nauplii: float, tin: str, batch: str, batch_start: Ms, now: Ms) -> None:
        """Into an empty jar. How long they live is the luck of the batch."""
        jar = self.jars[store]
        self.empty(store)
        jar.nauplii, jar.tin, jar.batch, jar.filled = nauplii, tin, batch, now
        lives = draw(LIVES_H, stream(self.seed, "lives", batch_start // HOUR))
        jar.dies = now + round(lives * HOUR)

    def empty(self, store: str) -> None:
        """What is left is thrown away."""
        jar = self.jars[store]
        self.wasted += jar.nauplii
        jar.nauplii, jar.tin, jar.batch = 0.0, "", ""

    def draw(self, store: str, nauplii: float, now: Ms) -> float:
        """Take so many living ones out, or as many as there are."""
        jar = self.jars[store]
        taken = min(nauplii, jar.living(now))
        jar.nauplii -= taken
        return taken
