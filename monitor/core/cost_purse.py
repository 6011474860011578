"""What nauplii cost, followed from their batch through cold stores to who ate them."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING

from monitor.core.cost_batch import MILLION
from monitor.core.light import light
from monitor.core.log import Chill, Emptied
from monitor.core.log_food import Drawn, Fed

if TYPE_CHECKING:
    from monitor.core.cost_batch import BatchCost
    from monitor.core.log import Standing
    from monitor.core.model import Ms


@light
class BroodCost:
    """What was fed to a brood; ``""``: to nobody in particular. Of ``unknown`` nauplii nobody knows the batch."""

    brood: str
    meals: int
    nauplii: float
    cost: float
    unknown: float = 0.0


@light(frozen=False)
class Given:
    brood: str
    meals: int = 0
    nauplii: float = 0.0
    cost: float = 0.0
    unknown: float = 0.0

    def told(self) -> BroodCost:
        return BroodCost(self.brood, self.meals, self.nauplii, self.cost, self.unknown)


@light(frozen=False)
class Kept:
    """What is in a cold store: its nauplii, what they cost, and how many of them nobody knows the price of."""

    nauplii: float = 0.0
    cost: float = 0.0
    unknown: float = 0.0

    def part(self, nauplii: float) -> tuple[float, float]:
        """Cost of so many, and of how many it is not known; they leave it."""
        share = min(nauplii / self.nauplii, 1.0) if self.nauplii > 0 else 0.0
        cost, unknown = self.cost * share, self.unknown * share
        beyond = max(nauplii - self.nauplii, 0.0)
        self.nauplii, self.cost, self.unknown = (
            max(self.nauplii - nauplii, 0.0),
            self.cost - cost,
            self.unknown - unknown,
        )
        return cost, unknown + beyond


@light(frozen=False)
class Purse:
    """Takes the log entry by entry, in the order of their times. ``fed``: by brood; ``wasted``: kept cold and not fed."""

    batches: dict[str, BatchCost]
    since: Ms
    stores: dict[str, Kept] = field(default_factory=dict)
    fed: dict[str, Given] = field(default_factory=dict)
    wasted: float = 0.0

    def take(self, entry: Standing) -> None:
        match entry:
            case Chill():
                self._chill(entry)
            case Emptied():
                self._waste(self.stores.pop(entry.store, Kept()).cost, entry.time)
            case Drawn():
                kept = self.stores.setdefault(entry.store, Kept())
                self._waste(kept.part(entry.nauplii)[0], entry.time)
            case Fed():
                self._feed(entry)
            case _:
                pass

    def _waste(self, cost: float, time: Ms) -> None:
        if time >= self.since:
            self.wasted += cost

    def _unit(self, batch: str) -> float | None:
        """What one of a batch costs, where that is known."""
        one = self.batches.get(batch)
        return None if one is None or one.per_million is None else one.per_million / MILLION

    def _chill(self, entry: Chill) -> None:
        if entry.gas != "open":
            self._waste(self.stores.pop(entry.store, Kept()).cost, entry.time)
        kept, unit = self.stores.setdefault(entry.store, Kept()), self._unit(entry.batch)
        kept.nauplii += entry.nauplii
        if unit is None:
            kept.unknown += entry.nauplii
        else:
            kept.cost += entry.nauplii * unit

    def _feed(self, entry: Fed) -> None:
        unit = self._unit(entry.batch)
        if entry.store:
            cost, unknown = self.stores.setdefault(entry.store, Kept()).part(entry.nauplii)
        elif unit is None:
            cost, unknown = 0.0, entry.nauplii
        else:
            cost, unknown = entry.nauplii * unit, 0.0
        if entry.time < self.since:
            return
        given = self.fed.setdefault(entry.brood, Given(entry.brood))
        given.meals += 1
        given.nauplii += entry.nauplii
        given.cost += cost
        given.unknown += unknown
