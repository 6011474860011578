"""The mixed-integer programme: yes or no for each option, and for each cell (scenario, pool) whether it may be short."""

from __future__ import annotations

from dataclasses import field
from math import inf
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from monitor.core.light import light

if TYPE_CHECKING:
    from monitor.core.hatch import Array
    from monitor.planner.cuts import Row
    from monitor.planner.table import Flags, Table

LEAST_S: Final = 0.05


@light(eq=False)
class Answer:
    """``z`` (scenarios, pools). ``bound``: nothing that keeps the rows can be better; ``inf`` when nothing keeps them."""

    x: Array | None
    z: Array
    bound: float


@light(frozen=False, eq=False)
class Programme:
    """Columns: options, then cells, then the excess of each meal. Without ``loose`` no cell may be short that is not given up."""

    table: Table
    given_up: Flags
    loose: bool
    heavy: float  # what one meal short in one scenario too many weighs against the costs
    rows: list[Row] = field(default_factory=list)

    def solve(self, seconds: float, *, whole: bool = True, among: Flags | None = None) -> Answer:
        """Without ``whole`` fractions of options are allowed. ``among`` (options,): only these, also in its bound."""
        options, cells, meals = self._sizes()
        columns = options + cells + meals
        cost = np.zeros(columns)
        cost[:options] = [one.cost for one in self.table.problem.options]
        kept = list(self.table.problem.kept)
        cost[kept] -= self.table.problem.change
        cost[options + cells :] = self.heavy
        lower, upper = np.zeros(columns), np.ones(columns)
        upper[options + cells :] = inf
        if among is not None:
            upper[:options] = among
        if self.loose:
            lower[options : options + cells] = self.given_up.ravel()
        found = milp(
            cost,
            integrality=np.concatenate([np.ones(options + cells), np.zeros(meals)]) if whole else None,
            bounds=Bounds(lower, upper),
            constraints=self._constraints(options, cells, meals),
            options={"time_limit": max(seconds, LEAST_S), "mip_rel_gap": 0.0},
        )
        shift = self.table.problem.change * len(kept)
        shape = self.table.pools.need.shape
        z = np.zeros(shape)
        if found.status == 2:
            return Answer(None, z, inf)
        told = found.mip_dual_bound if whole else found.fun if found.status == 0 else None
        bound = -inf if told is None else float(told) + shift
        if found.x is None:
            return Answer(None, z, bound)
        if self.loose:
            z = np.asarray(found.x[options : options + cells]).reshape(shape)
        return Answer(np.asarray(found.x[:options]), z, bound)

    def _sizes(self) -> tuple[int, int, int]:
        options = len(self.table.problem.options)
        return (options, self.table.pools.need.size, len(self.table.pool_of)) if self.loose else (options, 0, 0)

    def _constraints(self, options: int, cells: int, meals: int) -> list[LinearConstraint]:
        build = _Rows(options + cells + meals)
        self._vessels(build)
        self._tins(build)
        if self.loose:
            self._excess(build, options, cells)
        for row in self.rows:
            places = [int(k) for k in np.flatnonzero(row.x)]
            values = list(row.x[places])
            least = row.least
            for (s, pool), weight in zip(row.cells, row.z, strict=True):
                if self.loose:
                    places.append(options + s * self.table.pools.need.shape[1] + pool)
                    values.append(weight)
            build.add(places, values, least, inf)
        return build.done()

    def _vessels(self, build: _Rows) -> None:
        """Whenever a batch is started, no other is in the vessel then."""
        all_ = self.table.problem.options
        by_vessel: dict[str, list[int]] = {}
        for k, one in enumerate(all_):
            by_vessel.setdefault(one.vessel, []).append(k)
        for places in by_vessel.values():
            for start in sorted({all_[k].start for k in places}):
                there = [k for k in places if all_[k].start <= start < all_[k].free]
                if len(there) > 1:
                    build.add(there, [1.0] * len(there), -inf, 1.0)

    def _tins(self, build: _Rows) -> None:
        for lot, left in self.table.problem.left_g.items():
            places = [k for k, one in enumerate(self.table.problem.options) if one.lot == lot]
            if places:
                build.add(places, [self.table.problem.options[k].grams for k in places], -inf, left)

    def _excess(self, build: _Rows, options: int, cells: int) -> None:
        pools = self.table.pools.need.shape[1]
        for meal, pool in enumerate(self.table.pool_of):
            rows = np.flatnonzero(self.table.eats[:, meal])
            places = [*(options + int(s) * pools + int(pool) for s in rows), options + cells + meal]
            build.add(places, [*([1.0] * len(rows)), -1.0], -inf, float(self.table.allowed))


class _Rows:
    """A sparse matrix, row by row."""

    def __init__(self, columns: int) -> None:
        self._columns = columns
        self._places: list[int] = []
        self._values: list[float] = []
        self._ends = [0]
        self._bounds: list[tuple[float, float]] = []

    def add(self, places: list[int], values: list[float], least: float, most: float) -> None:
        self._places += places
        self._values += values
        self._ends.append(len(self._places))
        self._bounds.append((least, most))

    def done(self) -> list[LinearConstraint]:
        if not self._bounds:
            return []
        matrix = csr_array(
            (np.array(self._values), np.array(self._places, dtype=np.int64), np.array(self._ends, dtype=np.int64)),
            shape=(len(self._bounds), self._columns),
        )
        low, high = np.array(self._bounds).T
        return [LinearConstraint(matrix, low, high)]
