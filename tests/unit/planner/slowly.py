"""Feeding once more, nauplius stock by nauplius stock in plain Python: to judge choices with nothing that made them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from monitor.core.food import Problem, Source
    from monitor.core.hatch import Array

Stock = list[tuple[float, float, float]]  # since, until, nauplii


def fed(problem: Problem, some: tuple[int, ...]) -> Array:
    """What each meal gets, (scenarios, meals)."""
    sources = [*problem.held, *(problem.options[k].source for k in some)]
    return np.array([_world(problem, sources, s) for s in range(len(problem.demand.need))])


def _world(problem: Problem, sources: list[Source], s: int) -> list[float]:
    stock = [(float(one.since[s]), float(one.until[s]), float(one.nauplii[s])) for one in sources]
    lengths = [one.length_um for one in sources]
    takes = [
        tuple(
            k
            for k, length in enumerate(lengths)
            if length is None or meal.largest_um is None or length <= meal.largest_um
        )
        for meal in problem.demand.meals
    ]
    need = [float(n) for n in problem.demand.need[s]]
    times = [meal.time for meal in problem.demand.meals]
    plain = _served(stock, takes, times, need, late=False)
    late = _served(stock, takes, times, need, late=True)
    return late if sum(late) > sum(plain) * (1 + 1e-9) else plain


def _served(
    stock: Stock, takes: list[tuple[int, ...]], times: list[int], need: list[float], *, late: bool
) -> list[float]:
    """``late``: all but the widest mouths are served backwards in time, from what began last."""
    left = [nauplii for _, _, nauplii in stock]
    got = [0.0] * len(times)
    groups = sorted({some for some in takes if some}, key=len)
    for group in groups:
        meals = {time: [k for k in range(len(times)) if takes[k] == group and times[k] == time] for time in times}
        wanted = {time: sum(need[k] for k in some) for time, some in sorted(meals.items()) if some}
        before = list(left)
        given = {}
        for time, amount in wanted.items():
            order = sorted((k for k in group if stock[k][0] <= time < stock[k][1]), key=lambda k: stock[k][1])
            given[time] = _take(left, order, amount)
        if late and group != groups[-1]:
            left[:] = before
            for time in sorted(given, reverse=True):
                order = sorted((k for k in group if stock[k][0] <= time < stock[k][1]), key=lambda k: -stock[k][0])
                given[time] = _take(left, order, given[time])
        for time, amount in wanted.items():
            for k in meals[time]:
                got[k] = need[k] * given[time] / amount if amount > 0 else 0.0
    return got


def _take(left: list[float], order: list[int], amount: float) -> float:
    """Takes so much of what is left, as far as there is."""
    taken = 0.0
    for k in order:
        part = min(left[k], amount - taken)
        left[k] -= part
        taken += part
    return taken
