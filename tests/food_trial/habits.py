"""The two ways to feed without a plan, as keepers do it: a batch every morning, or two vessels that never stand empty.

Grams are either always the same, or reckoned from the label for what will be eaten on the day for which the batch is meant,
times a factor for safety. The tin is the cheapest that was not found to be bad, or the small one while mouths are small.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from monitor.core.model import DAY
from tests.food_trial.notes import Order, by_label
from tests.food_trial.scenario import MOST_G_L, TINS, VESSELS, clock

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.model import Ms
    from tests.food_trial.notes import Notes
    from tests.food_trial.scenario import Tin

MORNING: Final = 8 * 60
LEAST_G: Final = 0.1  # what a kitchen balance can weigh
MEANT_FOR_DAYS: Final = 1.75  # a batch is ready after a day and a quarter and feeds the day after that
WARM_FIRST: Final = ("elm", "cedar", "birch", "ash")
TWO: Final = ("elm", "cedar")


@dataclass(frozen=True, slots=True)
class Sizing:
    """So many grams, or so many times what is needed by the label."""

    grams: float | None = None
    factor: float = 1.0

    def __str__(self) -> str:
        return f"{self.factor:g} x need" if self.grams is None else f"{self.grams:g} g"

    def weigh(self, need: float, tin: Tin, vessel: str) -> float:
        """Grams for one batch."""
        litres = next(one.litres for one in VESSELS if one.id == vessel)
        wanted = self.factor * need / by_label(tin) if self.grams is None else self.grams
        return round(min(max(wanted, LEAST_G), MOST_G_L * litres), 2)


@dataclass(frozen=True, slots=True)
class EveryMorning:
    """One batch each morning at eight, in the warmest vessel that is free."""

    sizing: Sizing

    @property
    def name(self) -> str:
        return f"one batch every morning, {self.sizing}"

    def decide(self, now: Ms, notes: Notes) -> list[Order]:
        """What to start now."""
        free = [vessel for vessel in WARM_FIRST if vessel in notes.free]
        if clock(now)[1] != MORNING or not free:
            return []
        then = now + MEANT_FOR_DAYS * DAY
        tin = _tin(notes, small=notes.small_only(then) > 0)
        return [Order(free[0], tin.id, self.sizing.weigh(notes.a_day(then), tin, free[0]))]


@dataclass(frozen=True, slots=True)
class TwoRunning:
    """Two vessels that are filled again as soon as they are harvested. ``split``: only one of them with small ones."""

    sizing: Sizing
    split: bool = False

    @property
    def name(self) -> str:
        return f"two vessels always running, {self.sizing}{', one of them for small mouths' if self.split else ''}"

    def decide(self, now: Ms, notes: Notes) -> list[Order]:
        """What to start now."""
        orders = []
        for vessel in TWO:
            if vessel not in notes.free:
                continue
            then = now + MEANT_FOR_DAYS * DAY
            small = notes.small_only(then)
            need = notes.a_day(then)
            if small and self.split:
                need = small if vessel == TWO[0] else max(need - small, 0.0)
            tin = _tin(notes, small=bool(small) and (vessel == TWO[0] or not self.split))
            orders.append(Order(vessel, tin.id, self.sizing.weigh(need, tin, vessel)))
        return orders


GRAMS: Final = (0.5, 1.0, 2.0, 3.5, 6.0)
FACTORS: Final = (0.75, 1.0, 1.25, 1.5, 2.0, 3.0, 4.0)


def variants() -> Sequence[EveryMorning | TwoRunning]:
    """All that are tried."""
    sizings = [Sizing(grams=grams) for grams in GRAMS] + [Sizing(factor=factor) for factor in FACTORS]
    return [
        *(EveryMorning(sizing) for sizing in sizings),
        *(TwoRunning(sizing, split) for sizing in sizings for split in (False, True)),
    ]


def _tin(notes: Notes, *, small: bool) -> Tin:
    if small:
        return min(TINS, key=lambda tin: tin.length_um)
    return next(notes.usable(), TINS[0])
