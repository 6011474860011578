"""Rows to cells: means of each metric with standard errors, and what one forecaster differs from another, paired.

Batches of one tin are not independent, so standard errors come from a bootstrap over tins.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from monitor.core.light import light
from monitor.score.rows import AGED, LOOKED
from monitor.score.table import METRICS, MODEL, Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from monitor.score.metrics import Array
    from monitor.score.table import Mask, Texts

REPLICATES: Final = 500
ALL: Final = "all"
GROUPS: Final = ("new", "learning", "known")
ROOMS: Final = (ALL, "sheltered", "shed")
SEASONS: Final = (ALL, "cold", "mild", "warm")
POINTS: Final = (*AGED, *LOOKED)


class Figure(NamedTuple):
    """A mean or a ratio of means, with its standard error."""

    value: float
    se: float


class Where(NamedTuple):
    """Which rows a cell is made of."""

    point: str
    group: str
    room: str = ALL
    season: str = ALL

    def __str__(self) -> str:
        parts = [self.group, self.point, *(part for part in (self.room, self.season) if part != ALL)]
        return ", ".join(parts)


@light
class Compared:
    """The model against another forecaster over the rows where both say something, by metric."""

    difference: dict[str, Figure]  # model less other
    ratio: dict[str, Figure]  # model over other


@light
class Cell:
    where: Where
    n: int
    tins: int
    scores: dict[str, dict[str, Figure]]  # by forecaster and metric
    against: dict[str, Compared]  # by the other forecaster

    def document(self) -> dict[str, Any]:
        """As JSON."""
        return {
            **self.where._asdict(),
            "n": self.n,
            "tins": self.tins,
            "scores": {name: _figures(found) for name, found in self.scores.items()},
            "model_against": {
                name: {"difference": _figures(found.difference), "ratio": _figures(found.ratio)}
                for name, found in self.against.items()
            },
        }


def _figures(found: dict[str, Figure]) -> dict[str, Any]:
    return {name: {"value": number(figure.value), "se": number(figure.se)} for name, figure in found.items()}


def number(value: float) -> float | None:
    """For JSON, which knows no nan or infinity."""
    return round(float(value), 5) if np.isfinite(value) else None


def cells(table: Table) -> dict[Where, Cell]:
    """Every cell that has rows; heater failures that nobody could foresee are left out."""
    drawn = draws(len(table.tins))
    losses = {name: found.losses(table.truth) for name, found in table.forecasts.items()}
    found = {}
    for where, mask in _wheres(table):
        if mask.any():
            found[where] = _cell(where, table.tin[mask], {name: loss[mask] for name, loss in losses.items()}, drawn)
    return found


def draws(tins: int) -> Array:
    """How often each tin is drawn in each replicate, shape (replicates, tins); always the same ones."""
    generator = np.random.default_rng(1)
    return generator.multinomial(tins, np.full(tins, 1 / max(tins, 1)), size=REPLICATES).astype(float)


def _wheres(table: Table) -> Iterator[tuple[Where, Mask]]:
    def matching(column: Texts, name: str) -> Mask:
        return np.ones(len(column), dtype=bool) if name == ALL else np.asarray(column == name)

    for point in POINTS:
        at = table.foreseeable & (table.point == point)
        for group in GROUPS:
            of_group = at & (table.group == group)
            for room in ROOMS:
                in_room = of_group & matching(table.room, room)
                for season in SEASONS:
                    yield Where(point, group, room, season), in_room & matching(table.season, season)


def _cell(where: Where, tin: NDArray[np.int64], losses: dict[str, Array], all_draws: Array) -> Cell:
    present, position = np.unique(tin, return_inverse=True)
    weights = all_draws[:, present]

    def means(loss: Array) -> tuple[Array, Array]:
        """Means over the rows, shape (metrics,), and those of each replicate, shape (replicates, metrics)."""
        sums = np.zeros((len(present), loss.shape[1] + 1))
        np.add.at(sums, position, np.column_stack([loss, np.ones(len(loss))]))
        drawn = weights @ sums
        with np.errstate(invalid="ignore", divide="ignore"):
            return loss.mean(axis=0), drawn[:, :-1] / drawn[:, -1:]

    scores, against = {}, {}
    for name, loss in losses.items():
        told = ~np.isnan(loss[:, 0])
        if not told.any():
            continue
        if not told.all():
            sub = _cell(where, tin[told], {MODEL: losses[MODEL][told], name: loss[told]}, all_draws)
            scores[name], against[name] = sub.scores[name], sub.against[name]
            continue
        mean, drawn = means(loss)
        scores[name] = _named(mean, drawn)
        if name != MODEL:
            own, own_drawn = means(losses[MODEL])
            with np.errstate(invalid="ignore", divide="ignore"):
                ratio, ratio_drawn = own / mean, own_drawn / drawn
            against[name] = Compared(_named(own - mean, own_drawn - drawn), _named(ratio, ratio_drawn))
    return Cell(where, len(tin), len(present), scores, against)


def _named(mean: Array, drawn: Array) -> dict[str, Figure]:
    errors = [_spread(column) for column in drawn.T]
    return {name: Figure(float(m), se) for name, m, se in zip(METRICS, mean, errors, strict=True)}


def _spread(replicates: Array) -> float:
    """SD over the replicates in which the cell was drawn at all."""
    finite = replicates[np.isfinite(replicates)]
    return float(finite.std(ddof=1)) if len(finite) > 1 else float("nan")


def ratio_of_means(tins: Sequence[str], own: Array, other: Array) -> Figure:
    """Mean of ``own`` over that of ``other``, shape (m,) each; its standard error by drawing tins."""
    names, position = np.unique(np.array(tins), return_inverse=True)
    sums = np.zeros((len(names), 2))
    np.add.at(sums, position, np.column_stack([own, other]))
    drawn = draws(len(names)) @ sums
    with np.errstate(invalid="ignore", divide="ignore"):
        return Figure(float(own.mean() / other.mean()), _spread(drawn[:, 0] / drawn[:, 1]))
