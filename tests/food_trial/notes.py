"""What a keeper knows without a monitor: the labels, his fish table, what he counted, and which vessels are free."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from monitor.core.model import DAY
from tests.food_trial.scenario import ADULTS, RINSED, TINS, Spawning, Tin

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.model import Ms

EARLY: Final = 1.0  # days before a brood can be expected to eat, food is kept ready for it; common practice
BAD: Final = 0.5  # of what its label promises: a tin that hatches less is not used any more; common practice


@dataclass(frozen=True, slots=True)
class Order:
    """Start a batch now."""

    vessel: str
    tin: str
    grams: float
    store: str = ""


@dataclass(slots=True)
class BroodNote:
    """One brood as he knows it."""

    spawning: Spawning
    spawned: Ms
    larvae: float
    swam_up: Ms | None = None
    counted: Ms | None = None
    ended: bool = False

    @property
    def eats_from(self) -> float:
        """The swim-up, as seen or as the table has it, ms."""
        expected = self.spawned + self.spawning.fish.swim_up_days * DAY
        return expected if self.swam_up is None else self.swam_up

    def a_day(self, time: float) -> float:
        """Nauplii that it will eat on a day."""
        fish = self.spawning.fish
        age = (time - self.eats_from) / DAY
        if self.ended or not fish.finer_days - EARLY <= age < fish.wean_days:
            return 0.0
        return float(self.larvae * fish.ration * (1 + fish.growth_per_day) ** max(age - fish.finer_days, 0.0))

    def fits(self, tin: Tin, time: float) -> bool:
        """Whether that tin's nauplii will fit its mouths then."""
        fish = self.spawning.fish
        if fish.largest_um is None:
            return True
        age = max((time - self.eats_from) / DAY, 0.0)
        return tin.length_um <= fish.largest_um + fish.largest_growth_um * age


@dataclass(slots=True)
class Notes:
    """His notebook."""

    broods: dict[str, BroodNote] = field(default_factory=dict)
    yields: dict[str, float] = field(default_factory=dict)  # by tin: what was counted last, as a share of the label
    free: list[str] = field(default_factory=list)  # vessels with nothing in them
    surprise: bool = False  # something has happened that nobody had expected

    def take_surprise(self) -> bool:
        """Whether something has happened since this was asked last that a plan should know."""
        was, self.surprise = self.surprise, False
        return was

    def a_day(self, time: float) -> float:
        """Nauplii that all will eat on a day."""
        return ADULTS[1] + sum(brood.a_day(time) for brood in self.broods.values())

    def small_only(self, time: float) -> float:
        """Of them, what must be small."""
        large = max(TINS, key=lambda tin: tin.length_um)
        return sum(brood.a_day(time) for brood in self.broods.values() if not brood.fits(large, time))

    def usable(self) -> Iterator[Tin]:
        """Tins that were not found to be bad, the cheapest first."""
        for tin in sorted(TINS, key=lambda one: one.price_per_g):
            if self.yields.get(tin.id, 1.0) >= BAD:
                yield tin


def by_label(tin: Tin) -> float:
    """Nauplii that a gram gives, by the label."""
    return tin.cysts_per_g * tin.label_percent / 100 * RINSED
