"""What each chosen start is worth: how often meals would be short without it, or if it were later."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.feeding import feed
from monitor.core.food import FULL, Demand
from monitor.core.light import light
from monitor.core.model import DAY, HOUR

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.food import Choice, Meal, Option, Pantry, Problem, Source
    from monitor.core.hatch import Array
    from monitor.core.model import Ms

TELLS: Final = 0.01  # a start is for the meals whose chance of being short grows by more than that without it
BACKUP_BELOW: Final = 0.5  # a start without which each meal is full more often than not is there in case another fails
DELAYS: Final = (1, 2, 3, 4, 6, 8, 10, 12, 16, 20, 24)  # hours a start may wait
ROWS: Final = 120  # worlds that are enough to weigh a start
AFTER: Final[Ms] = 2 * DAY  # what a start is worth shows until so long after its end


@light
class Role:
    """What a start is for. ``without``: the greatest chance of a short meal among them if it were left out."""

    first: Ms
    last: Ms
    meals: tuple[Meal, ...]
    without: float
    backup: bool


def shortness(demand: Demand, sources: tuple[Source, ...]) -> Array:
    """Chance (0..1) that each meal is short, when what ends first is fed first; shape (meals,)."""
    if not demand.meals:
        return np.zeros(0)
    got = feed(demand, sources).got
    return np.asarray((got < FULL * demand.need).mean(axis=0))


@light(frozen=False)
class Weighing:
    """The chosen starts among all there is to feed from, in the first ``ROWS`` worlds of a problem."""

    pantry: Pantry
    demand: Demand
    options: tuple[Option, ...]
    chosen: tuple[int, ...]
    held: tuple[Source, ...]
    short: Array  # (meals,), with all of them

    @staticmethod
    def of(pantry: Pantry, problem: Problem, choice: Choice) -> Weighing:
        rows = min(ROWS, len(problem.demand.need))
        demand = Demand(problem.demand.meals, problem.demand.need[:rows])
        options = tuple(replace(one, source=_rows(one.source, rows)) for one in problem.options)
        held = tuple(_rows(one, rows) for one in problem.held)
        sources = (*held, *(options[k].source for k in choice.chosen))
        return Weighing(pantry, demand, options, choice.chosen, held, shortness(demand, sources))

    def sources(self, but: int | None = None) -> tuple[Source, ...]:
        return (*self.held, *(self.options[k].source for k in self.chosen if k != but))

    def role(self, place: int) -> Role:
        """What a chosen option is for."""
        source = self.options[place].source
        begin, end = _bounds(source)
        part = self._until(end + AFTER)
        without = shortness(part, self.sources(but=place))
        more = without - self.short[: len(without)]
        served = np.flatnonzero(more > TELLS)
        if not len(served):
            return self._spare(begin, end, part)
        meals = tuple(part.meals[k] for k in served)
        worst = float(without[served].max())
        return Role(meals[0].time, meals[-1].time, meals, worst, worst < BACKUP_BELOW)

    def _spare(self, begin: float, end: float, part: Demand) -> Role:
        """Nothing depends on it alone: it is for the meals at which it can be fed."""
        meals = tuple(meal for meal in part.meals if begin <= meal.time < end)
        first = meals[0].time if meals else round(begin)
        last = meals[-1].time if meals else round(max(begin, end))
        return Role(first, last, meals, 0.0, True)

    def can_wait(self, place: int, planned: Callable[[str, str, float, Ms], Source] | None) -> Ms:
        """How much later it can be started without a meal being short more often than it is asked, or than it is anyway, ms."""
        option = self.options[place]
        room = self._until_next(option)
        delays = [hours * HOUR for hours in DELAYS if hours * HOUR <= room]
        part = self._until(_bounds(option.source)[1] + AFTER + DAY)
        allowed = np.maximum(self.short[: len(part.meals)], 1 - self.pantry.chance) + TELLS / 2
        rows = len(self.demand.need)
        low, high = 0, len(delays)  # the first ``low`` of them are known to do
        while low < high:
            middle = (low + high + 1) // 2
            later = _later(option, delays[middle - 1], planned, rows)
            fine = bool((shortness(part, (*self.sources(but=place), later)) <= allowed).all())
            low, high = (middle, high) if fine else (low, middle - 1)
        return delays[low - 1] if low else 0

    def _until_next(self, option: Option) -> Ms:
        """How much later the next start in the same vessel lets it be."""
        later = [self.options[k].start for k in self.chosen if self.options[k].vessel == option.vessel]
        following = min((start for start in later if start > option.start), default=None)
        return DELAYS[-1] * HOUR if following is None else max(following - option.free, 0)

    def _until(self, end: float) -> Demand:
        count = sum(meal.time <= end for meal in self.demand.meals)
        return Demand(self.demand.meals[:count], self.demand.need[:, :count])


def _rows(source: Source, rows: int) -> Source:
    return replace(source, since=source.since[:rows], until=source.until[:rows], nauplii=source.nauplii[:rows])


def _later(option: Option, delay: Ms, planned: Callable[[str, str, float, Ms], Source] | None, rows: int) -> Source:
    """It fails in the same worlds and has the same luck: only the hour is other."""
    source = option.source
    moved = replace(source, since=source.since + delay, until=source.until + delay)
    if planned is None:
        return moved
    made = _rows(planned(option.vessel, option.lot, option.grams, option.start + delay), rows)
    told = np.isfinite(made.since) & np.isfinite(source.since)
    return replace(moved, since=np.where(told, made.since, moved.since), until=np.where(told, made.until, moved.until))


def _bounds(source: Source) -> tuple[float, float]:
    """From when until when it can be fed, in the middle of the worlds in which it does not fail, ms."""
    there = np.isfinite(source.since)
    if not there.any():
        return float("inf"), float("inf")
    return float(np.median(source.since[there])), float(np.median(source.until[there]))
