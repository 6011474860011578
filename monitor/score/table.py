"""All rows as columns: each forecaster's range, median, CRPS and place of the truth, with the rules' spreads fitted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from monitor.core.light import light
from monitor.score.baselines import BASELINES, best_spread
from monitor.score.metrics import Array, Scored, interval_score, score_lognormal
from monitor.score.rows import AGED

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.score.rows import Row

Texts = NDArray[np.str_]
Mask = NDArray[np.bool_]

MODEL, FLOOR, UNLEARNED = "model", "floor", "model without learning"
METRICS: Final = ("mae", "bias", "coverage", "width", "interval", "crps")
"""Mean absolute error, bias (median less truth), share of truths inside the 80 % range, its mean width, interval score,
CRPS: hours, but for the share."""


@light
class Forecasts:
    """One forecaster over all rows, shape (m,) each; nan where it says nothing."""

    lo: Array
    mid: Array
    hi: Array
    crps: Array
    place: Array

    def losses(self, truth: Array) -> Array:
        """The metrics before they are averaged, shape (m, 6)."""
        error = self.mid - truth
        inside = np.where(np.isnan(self.mid), np.nan, (self.lo <= truth) & (truth <= self.hi))
        interval = interval_score(self.lo, self.hi, truth)
        return np.stack([np.abs(error), error, inside, self.hi - self.lo, interval, self.crps], axis=1)


@light
class Table:
    """Rows as columns, shape (m,) each; ``tin`` is an index into ``tins``."""

    tins: tuple[str, ...]
    tin: NDArray[np.int64]
    group: Texts
    room: Texts
    season: Texts
    point: Texts
    age_h: Array
    truth: Array
    foreseeable: Mask
    forecasts: dict[str, Forecasts]
    spreads: dict[str, dict[str, float]]  # of each rule: by what the moment was and the group

    def __len__(self) -> int:
        return len(self.truth)

    @classmethod
    def of(cls, rows: Sequence[Row]) -> Table:
        """From rows in any order; they are sorted, so that the result does not depend on who finished first."""
        ordered = sorted(rows, key=lambda row: (row.tin, row.batch, row.age_h, row.point))
        tins = tuple(sorted({row.tin for row in ordered}))
        index = {name: k for k, name in enumerate(tins)}
        truth = np.array([row.truth_h for row in ordered], dtype=float)
        group = np.array([row.group for row in ordered], dtype=np.str_)
        point = np.array([row.point for row in ordered], dtype=np.str_)
        forecasts = {
            MODEL: _columns([row.model for row in ordered]),
            FLOOR: _columns([row.floor for row in ordered]),
            UNLEARNED: _columns([row.unlearned for row in ordered]),
        }
        spreads: dict[str, dict[str, float]] = {}
        for name in BASELINES:
            points = np.array([row.baselines[name] for row in ordered], dtype=float)
            spreads[name], forecasts[name] = _fitted(points, truth, _kinds(point, group))
        return cls(
            tins=tins,
            tin=np.array([index[row.tin] for row in ordered], dtype=np.int64),
            group=group,
            room=np.array([row.room for row in ordered], dtype=np.str_),
            season=np.array([row.season for row in ordered], dtype=np.str_),
            point=point,
            age_h=np.array([row.age_h for row in ordered], dtype=float),
            truth=truth,
            foreseeable=np.array([row.foreseeable for row in ordered], dtype=bool),
            forecasts=forecasts,
            spreads=spreads,
        )


def _columns(scored: list[Scored | None]) -> Forecasts:
    empty = (np.nan,) * len(Scored._fields)
    values = np.array([empty if one is None else tuple(one) for one in scored], dtype=float)
    return Forecasts(*values.reshape(len(scored), len(empty)).T)


def _kinds(point: Texts, group: Texts) -> dict[str, Mask]:
    """Which rows share a spread: all ages together, each sort of look; new and known tins apart."""
    sort = np.where(np.isin(point, AGED), "at an age", point)
    return {f"{g}, {s}": (group == g) & (sort == s) for g in np.unique(group) for s in np.unique(sort)}


def _fitted(points: Array, truth: Array, kinds: dict[str, Mask]) -> tuple[dict[str, float], Forecasts]:
    spread = np.full(len(points), np.nan)
    found = {}
    for name, mask in kinds.items():
        if mask.any():
            found[name] = best_spread(points[mask], truth[mask])
            spread[mask] = found[name]
    scored = score_lognormal(points, spread, truth)
    return found, Forecasts(*(np.asarray(column, dtype=float) for column in scored))
