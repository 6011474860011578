"""What a short meal is due to: tried, not guessed.

In the worlds in which it is short, what would have made it full? One thing at a time is made otherwise and all are fed anew: no
batch fails, each comes at once, mouths take all, nothing spoils, there is plenty. What mends the meal first, in this order, is
what it is short for.
"""

from __future__ import annotations

from dataclasses import field, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from monitor.core.feeding import feed, fits
from monitor.core.food import FULL, Demand
from monitor.core.light import light
from monitor.core.model import DAY
from monitor.core.wording import about, clock, duration, whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from monitor.core.food import Meal, Pantry, Source
    from monitor.core.hatch import Array

LATE: Final = DAY  # what comes later than that after a meal was not meant for it
PLENTY: Final = 20.0  # times as much
ROWS: Final = 12  # worlds in which a meal is short that are looked at
TRIED: Final = 3  # batches that are tried one by one
NAMED_AHEAD: Final = 4 * DAY  # later than that a reason names no batch: trying each takes long, and much may change
MOST_OF: Final = 0.7  # of what all together mend; one that does so much need not be held against others

Cause = Literal["failed", "late", "mouth", "spoilt", "few", "none"]


def short_rows(need: Array, got: Array) -> NDArray[np.bool_]:
    """In which scenarios which meals are short, shape as both."""
    return np.asarray(got < FULL * need * (1 - 1e-9))


@light(frozen=False, eq=False)
class Causes:
    """Tells of meals why they are short. What was tried is kept: all meals are looked at in the same worlds."""

    pantry: Pantry
    demand: Demand
    sources: Sequence[Source]
    got: Array
    rows: NDArray[np.int64] = field(init=False)
    short: NDArray[np.bool_] = field(init=False)  # (rows, meals)
    tried: dict[str, NDArray[np.bool_]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        short = short_rows(self.demand.need, self.got)
        # Of each meal some worlds: what is rarely short early must be seen beside what is always short late.
        rows = {int(row) for column in short.T for row in np.flatnonzero(column)[:ROWS]}
        self.rows = np.array(sorted(rows), dtype=np.int64)
        self.short = short[self.rows]

    def why(self, place: int) -> str:
        """A sentence or two; the meal must be short somewhere."""
        found = self.of(place)
        return self._words(place, max(found, key=lambda cause: found[cause])) if found else ""

    def of(self, place: int) -> dict[Cause, int]:
        """In how many of the worlds that are looked at a meal is short for which reason, the most urgent first."""
        open_rows = self.short[:, place].copy()
        found: dict[Cause, int] = {}
        causes: tuple[Cause, ...] = ("failed", "late", "mouth", "spoilt", "few")
        for cause in causes:
            mended = open_rows & ~self._short_if(cause)[:, place]
            if mended.any():
                found[cause] = int(mended.sum())
            open_rows &= ~mended
        if open_rows.any():
            found["none"] = int(open_rows.sum())
        return found

    # -- trying

    def _short_if(self, what: str, only: int | None = None) -> NDArray[np.bool_]:
        """Short meals (rows, meals) when one thing were otherwise, for one source or for all."""
        key = f"{what} {only}"
        if key not in self.tried:
            need = self.demand.need[self.rows]
            meals = self.demand.meals
            if what == "mouth":
                meals = tuple(replace(meal, largest_um=None) for meal in meals)
            sources = [
                _otherwise(one, what if only in (None, k) else "", self.rows, self.pantry.now)
                for k, one in enumerate(self.sources)
            ]
            self.tried[key] = short_rows(need, feed(Demand(meals=meals, need=need), sources).got)
        return self.tried[key]

    def _which(self, place: int, what: Cause, likely: list[int]) -> Source | None:
        """The one source that mends a meal most often when it alone were otherwise, of the likeliest; ``None`` for a far meal."""
        if self.demand.meals[place].time > self.pantry.now + NAMED_AHEAD:
            return None
        best, most = None, 0
        by_all = int((self.short[:, place] & ~self._short_if(what)[:, place]).sum())
        for k in likely[:TRIED]:
            mends = int((self.short[:, place] & ~self._short_if(what, k)[:, place]).sum())
            if mends > most:
                best, most = self.sources[k], mends
            if most >= MOST_OF * by_all:
                break
        return best

    # -- words

    def _words(self, place: int, cause: Cause) -> str:
        meal = self.demand.meals[place]
        fitting = [k for k, one in enumerate(self.sources) if fits(one.length_um, meal.largest_um)]
        rows = self.rows[self.short[:, place]]
        if cause == "failed":
            often = sorted(fitting, key=lambda k: -float(np.isinf(self.sources[k].since[rows]).mean()))
            one = self._which(place, "failed", often)
            return f"If {'a batch' if one is None else told(one)} fails, there is no other one for it."
        if cause == "late":
            return self._late(place, meal, fitting)
        if cause == "mouth":
            small = f"longer than the {meal.largest_um:.0f} um that they can take" if meal.largest_um else "too large"
            return f"What there is then is {small}."
        if cause == "spoilt":
            ended = [k for k in fitting if (self.sources[k].until[rows] <= meal.time).any()]
            one = self._which(place, "spoilt", sorted(ended, key=lambda k: -float(self.sources[k].nauplii[rows].sum())))
            what = "What there was" if one is None else f"What {_place(one)} holds"
            return f"{what} is no longer good then."
        if cause == "few":
            return self._few(place, meal, fitting, rows)
        return "Nothing is under way for it."

    def _late(self, place: int, meal: Meal, fitting: list[int]) -> str:
        zone, now = self.pantry.timezone, self.pantry.now
        # Of all who eat then: a batch that comes late does so at one time, not at another for each of them.
        together = [k for k, one in enumerate(self.demand.meals) if one.time == meal.time]
        rows = self.rows[self.short[:, together].any(axis=1)]
        coming: dict[int, float] = {}
        for k in fitting:
            since = self.sources[k].since[rows]
            after = since[(since > meal.time) & (since < meal.time + LATE)]
            if len(after):
                coming[k] = float(np.median(after))
        one = self._which(place, "late", sorted(coming, key=lambda k: coming[k]))
        if one is None:
            return "What is under way comes too late for it."
        at = coming[next(k for k in coming if self.sources[k] is one)]
        return (
            f"{_capital(told(one))} may come too late: then it can be fed at about {clock(about(round(at)), zone, now)}, "
            f"{duration(about(round(at)) - about(meal.time))} later."
        )

    def _few(self, place: int, meal: Meal, fitting: list[int], rows: NDArray[np.int64]) -> str:
        there = [
            k
            for k in fitting
            if ((self.sources[k].since <= meal.time) & (meal.time < self.sources[k].until))[rows].any()
        ]
        lacks = float(np.median(self.demand.need[rows, place] - self.got[rows, place]))
        if there and all(self.sources[k].kind in ("store", "harvest") for k in there):
            names = " and ".join(dict.fromkeys(_place(self.sources[k]) for k in there))
            return f"What {names} holds is eaten before: about {whole(_round(lacks))} are missing."
        return f"There are too few: about {whole(_round(lacks))} are missing."


def _otherwise(one: Source, what: str, rows: NDArray[np.int64], now: float) -> Source:
    """A source in some scenarios, with one thing about it otherwise."""
    since, until, nauplii = one.since[rows], one.until[rows], one.nauplii[rows]
    if what == "failed" and not np.isinf(one.since).all():
        fine = np.isfinite(one.since)
        usual = float(np.median(one.since[fine]))
        kept = float(np.median(one.until[fine] - one.since[fine])) if np.isfinite(one.until[fine]).all() else np.inf
        failed = np.isinf(since)
        until = np.where(failed, usual + kept, until)
        since = np.where(failed, usual, since)
    elif what == "late":
        since = np.where(since > now, np.maximum(since - LATE, now), since)
    elif what == "spoilt":
        until = np.where(np.isfinite(since), np.inf, until)
    elif what == "few":
        nauplii = nauplii * PLENTY
    return replace(one, since=since, until=until, nauplii=nauplii)


def told(one: Source) -> str:
    """A source as a keeper knows it."""
    if one.kind == "planned":
        return f"the batch planned for {one.name.split('/', maxsplit=1)[0]}"
    return f"batch {one.name}" if one.kind == "batch" else _place(one)


def _place(one: Source) -> str:
    return f"the harvest of {one.name}" if one.kind == "harvest" else one.name if one.kind == "store" else told(one)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _round(number: float) -> float:
    """To two figures: more would pretend to be exact."""
    if number < 1:
        return max(round(number), 0)
    step = 10 ** max(int(np.floor(np.log10(number))) - 1, 0)
    return float(round(number / step) * step)
