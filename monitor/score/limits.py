"""What the forecasts are held to: each limit as data, and how it is judged against the cells.

A limit is judged in every cell it speaks of and holds when it holds in all of them. A cell with few batches or tins is told
and not judged: its standard error would be a guess. A short run may widen every limit by some standard errors.
"""

from __future__ import annotations

from dataclasses import field
from enum import StrEnum
from itertools import product
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from monitor.core.light import light
from monitor.score.baselines import BASELINES
from monitor.score.cells import ALL, ROOMS, SEASONS, Cell, Figure, Where, number, ratio_of_means
from monitor.score.rows import AGED, COUNTED, FIRST
from monitor.score.table import FLOOR, MODEL, UNLEARNED
from monitor.score.water import AHEAD_H

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from monitor.score.stops import StopRow
    from monitor.score.water import WaterRow

FEWEST_BATCHES: Final = 20
FEWEST_TINS: Final = 8
ERRORS: Final = ("mae", "interval", "crps")
START, *LATER = AGED


class Quantity(StrEnum):
    """What of a cell is held against the bounds."""

    SCORE = "score"  # the model's own mean of a metric
    RATIO = "ratio"  # the model's mean over the other's
    LOWEST_RATIO = "ratio to the best rule"  # the rule with the least mean of this metric in the cell
    CUT = "cut"  # 1 less the ratio
    DIFFERENCE = "difference"  # the model's mean less the other's, hours
    STANDARD_ERRORS = "paired standard errors"  # the paired difference, model less other, in its standard errors


@light
class Limit:
    """``low <= quantity <= high`` in every cell of points x groups x rooms x seasons, against each of ``others``."""

    name: str
    promise: str
    quantity: Quantity
    metrics: tuple[str, ...]
    points: tuple[str, ...]
    groups: tuple[str, ...]
    rooms: tuple[str, ...] = (ALL,)
    seasons: tuple[str, ...] = (ALL,)
    others: tuple[str, ...] = (MODEL,)
    low: float = -np.inf
    high: float = np.inf


BOTH = ("new", "known")
APART = SEASONS[1:]

LIMITS: Final = (
    Limit("coverage", "the 80 % range holds the truth in 76 to 84 % at every age",
          Quantity.SCORE, ("coverage",), AGED, BOTH, low=0.76, high=0.84),
    Limit("coverage by season", "and in 70 to 90 % in each season apart",
          Quantity.SCORE, ("coverage",), AGED, BOTH, seasons=APART, low=0.70, high=0.90),
    Limit("known tin, sheltered", "known tin, at most half the outdoor swing: errors at most 1.5 times the floor's",
          Quantity.RATIO, ERRORS, AGED, ("known",), rooms=("sheltered",), others=(FLOOR,), high=1.5),
    Limit("known tin, shed", "known tin, unheated shed: errors at most 2.2 times the floor's",
          Quantity.RATIO, ERRORS, AGED, ("known",), rooms=("shed",), others=(FLOOR,), high=2.2),
    Limit("new tin at the start", "new tin: errors at most 1.25 times the floor's at the start",
          Quantity.RATIO, ERRORS, (START,), ("new",), others=(FLOOR,), high=1.25),
    Limit("new tin later", "and at most 1.15 times later",
          Quantity.RATIO, ERRORS, tuple(LATER), ("new",), others=(FLOOR,), high=1.15),
    Limit("first logged, known tin", "with 'first' just logged: at most 0.5 of the best rule given the same log",
          Quantity.LOWEST_RATIO, ("mae",), (FIRST,), ("known",), others=BASELINES, high=0.5),
    Limit("first logged, new tin", "with 'first' just logged: at most 0.7 of the best rule given the same log",
          Quantity.LOWEST_RATIO, ("mae",), (FIRST,), ("new",), others=BASELINES, high=0.7),
    Limit("share counted", "with a counted 20 to 80 %: at most 0.5 of the best rule given the same log",
          Quantity.LOWEST_RATIO, ("mae",), (COUNTED,), BOTH, others=BASELINES, high=0.5),
    Limit("no rule is better", "no rule beats the model by more than two paired standard errors in any cell",
          Quantity.STANDARD_ERRORS, ERRORS, AGED, BOTH, rooms=ROOMS, seasons=SEASONS, others=BASELINES, high=2.0),
    Limit("cold nights", "known tin in the cold season: the model beats each rule by more than two",
          Quantity.STANDARD_ERRORS, ERRORS, AGED, ("known",), seasons=("cold",), others=BASELINES, high=-2.0),
    Limit("learning", "five learned batches cut the error at the start by at least 40 %",
          Quantity.CUT, ("mae",), (START,), ("known",), others=(UNLEARNED,), low=0.4),
    Limit("learning, cold and warm", "and by at least 50 % in the cold and in the warm season",
          Quantity.CUT, ("mae",), (START,), ("known",), seasons=("cold", "warm"), others=(UNLEARNED,), low=0.5),
    # Of the cold season by itself, since there a wrong rate in the cold shows, and water that is foreseen badly. The room left
    # is for nights that nobody foresees: twice that of a new tin in all seasons.
    Limit("cold nights, new tin", "new tin in the cold season: errors at most 1.5 times the floor's",
          Quantity.RATIO, ERRORS, AGED, ("new",), seasons=("cold",), others=(FLOOR,), high=1.5),
    # A tin nobody knows stands where the physics puts it. One batch's error hides a wrong rate behind the tin's own speed, the
    # mean of many doesn't. Two hours are the least that moves a keeper's next look.
    Limit("cold nights, lean", "new tin in the cold season, at the start: the medians lie within 2 h of the floor's on average",
          Quantity.DIFFERENCE, ("bias",), (START,), ("new",), seasons=("cold",), others=(FLOOR,), low=-2.0, high=2.0),
)  # fmt: skip

AIR_INSIDE, AIR_TOO_LATE = "air stop, range", "air stop, low end"
AIR_PROMISES: Final = {
    AIR_INSIDE: ("after an air stop the truth lies inside the 80 % range in 70 to 90 %", 0.70, 0.90),
    AIR_TOO_LATE: ("and the low end is later than the truth by more than 30 % in at most 5 %", -np.inf, 0.05),
}

# What is foretold of the water has to be worth its while: a fifth better than nothing, a thermometer read off and believed.
WATER: Final = "water ahead"
WATER_PROMISE: Final = "water foretold 3 to 12 h ahead errs by at most 0.8 of water that stays as it is, in each season"
WATER_HIGH: Final = 0.8


@light
class Found:
    """One limit in one cell. ``margin`` is how far inside the bounds the value lies, negative when outside."""

    where: str
    figure: Figure
    n: int
    low: float
    high: float
    judged: bool

    @property
    def margin(self) -> float:
        return min(self.figure.value - self.low, self.high - self.figure.value)

    @property
    def holds(self) -> bool:
        return self.margin >= 0

    def document(self) -> dict[str, Any]:
        """As JSON."""
        return {
            "where": self.where,
            "n": self.n,
            "value": number(self.figure.value),
            "se": number(self.figure.se),
            "low": number(self.low),
            "high": number(self.high),
            "margin": number(self.margin),
            "judged": self.judged,
            "holds": self.holds,
        }


@light
class Verdict:
    """A limit over all its cells."""

    name: str
    promise: str
    quantity: str
    found: tuple[Found, ...] = field(repr=False)

    @property
    def judged(self) -> tuple[Found, ...]:
        return tuple(one for one in self.found if one.judged)

    @property
    def passed(self) -> bool | None:
        """``None`` when no cell had enough batches to judge."""
        return all(one.holds for one in self.judged) if self.judged else None

    @property
    def worst(self) -> Found | None:
        return min(self.judged, key=lambda one: one.margin, default=None)

    def document(self) -> dict[str, Any]:
        """As JSON."""
        return {
            "name": self.name,
            "promise": self.promise,
            "quantity": self.quantity,
            "passed": self.passed,
            "cells": [one.document() for one in self.found],
        }


def judge(
    found: Mapping[Where, Cell], stops: Sequence[StopRow], water: Sequence[WaterRow], widen: float = 0.0
) -> list[Verdict]:
    """Each limit against the cells, the air stops and the water, widened by ``widen`` standard errors."""
    verdicts = [
        Verdict(limit.name, limit.promise, limit.quantity, tuple(_cells(limit, found, widen))) for limit in LIMITS
    ]
    return [*verdicts, *_air(stops, widen), _water(water, widen)]


def _cells(limit: Limit, found: Mapping[Where, Cell], widen: float) -> Iterator[Found]:
    for point, group, room, season in product(limit.points, limit.groups, limit.rooms, limit.seasons):
        cell = found.get(Where(point, group, room, season))
        if cell is not None:
            for metric in limit.metrics:
                yield from _figures(limit, cell, metric, widen)


def _figures(limit: Limit, cell: Cell, metric: str, widen: float) -> Iterator[Found]:
    for other, figure in quantities(limit, cell, metric):
        if np.isfinite(figure.value):
            slack = widen * figure.se if np.isfinite(figure.se) else 0.0
            enough = cell.n >= FEWEST_BATCHES and cell.tins >= FEWEST_TINS
            where = ", ".join(part for part in (str(cell.where), metric, other) if part)
            yield Found(where, figure, cell.n, limit.low - slack, limit.high + slack, enough)


def quantities(limit: Limit, cell: Cell, metric: str) -> Iterator[tuple[str, Figure]]:
    """Against whom, and the figure; nothing where the other says nothing in this cell."""
    if limit.quantity is Quantity.SCORE:
        figure = cell.scores[MODEL][metric]
        if metric == "coverage":  # where all truths lie inside, the bootstrap knows of no error
            figure = Figure(figure.value, float(np.fmax(figure.se, share_error(figure.value, cell.n))))
        yield "", figure
        return
    others = [other for other in limit.others if other in cell.against]
    if limit.quantity is Quantity.LOWEST_RATIO:
        others = sorted(others, key=lambda other: cell.scores[other][metric].value)[:1]
    for other in others:
        compared = cell.against[other]
        ratio, difference = compared.ratio[metric], compared.difference[metric]
        if limit.quantity is Quantity.CUT:
            yield other, Figure(1 - ratio.value, ratio.se)
        elif limit.quantity is Quantity.DIFFERENCE:
            yield other, difference
        elif limit.quantity is Quantity.STANDARD_ERRORS:
            yield other, Figure(difference.value / difference.se if difference.se > 0 else float("nan"), 1.0)
        else:
            yield other, ratio


def _air(stops: Sequence[StopRow], widen: float) -> list[Verdict]:
    """Where the oxygen lasts for a day nothing can be too late: such stops count for the range alone."""
    told = {
        AIR_INSIDE: [stop.inside for stop in stops],
        AIR_TOO_LATE: [stop.too_late for stop in stops if stop.truth is not None],
    }
    verdicts = []
    for name, (promise, low, high) in AIR_PROMISES.items():
        found: tuple[Found, ...] = ()
        count = len(told[name])
        if count:
            share = float(np.mean(told[name]))
            se = share_error(share, count)
            judged = count >= FEWEST_BATCHES
            found = (Found("all stops", Figure(share, se), count, low - widen * se, high + widen * se, judged),)
        verdicts.append(Verdict(name, promise, "share", found))
    return verdicts


def _water(water: Sequence[WaterRow], widen: float) -> Verdict:
    """Each season and horizon by itself, all ages of a batch together."""
    found = []
    for season, ahead_h in product(APART, AHEAD_H):
        rows = [row for row in water if row.season == season and row.ahead_h == ahead_h]
        if rows:
            own, held = (np.array(losses) for losses in zip(*((r.loss, r.held_loss) for r in rows), strict=True))
            figure = ratio_of_means([row.tin for row in rows], own, held)
            batches, tins = len({(row.tin, row.batch) for row in rows}), len({row.tin for row in rows})
            slack = widen * figure.se if np.isfinite(figure.se) else 0.0
            enough = batches >= FEWEST_BATCHES and tins >= FEWEST_TINS
            found.append(Found(f"{ahead_h} h ahead, {season}", figure, batches, -np.inf, WATER_HIGH + slack, enough))
    return Verdict(WATER, WATER_PROMISE, "ratio", tuple(found))


def share_error(share: float, count: int) -> float:
    """Standard error of a share, taken at Wilson's centre for three of them: a share of none or all has one, too."""
    near = (share * count + 4.5) / (count + 9)
    return float(np.sqrt(near * (1 - near) / count))
