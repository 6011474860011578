"""Small problems with an answer that can be found by trying everything."""

from __future__ import annotations

from itertools import chain, combinations
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from monitor.core.food import Demand, Meal, Option, Problem, Source
from monitor.core.model import HOUR

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.hatch import Array

FULL = 0.9
SIZES = (430.0, 480.0, None)


def source(name: str, since: Array, until: Array, nauplii: Array, length_um: float | None = None) -> Source:
    return Source(kind="planned", name=name, lot=name, length_um=length_um, since=since, until=until, nauplii=nauplii)


def random_problem(seed: int, *, kept: bool = False) -> Problem:
    """1-3 vessels, 1-2 tins, 4-10 options, 2-6 meals, 3-8 scenarios."""
    dice = np.random.default_rng(seed)
    scenarios, vessels, tins = int(dice.integers(3, 9)), int(dice.integers(1, 4)), int(dice.integers(1, 3))
    lengths: list[float | None] = (
        [None] * tins if dice.random() < 0.5 else [SIZES[int(dice.integers(len(SIZES)))] for _ in range(tins)]
    )
    times = np.sort(dice.choice(np.arange(12, 72, 6), size=int(dice.integers(2, 5)), replace=False)) * HOUR
    meals = [
        (int(times[int(dice.integers(len(times)))]), (None, 450.0)[int(dice.random() < 0.4)])
        for _ in range(dice.integers(2, 7))
    ]
    demand = Demand(
        tuple(
            Meal(time=time, eater=f"e{k}", largest_um=mouth)
            for k, (time, mouth) in enumerate(sorted(meals, key=lambda one: one[0]))
        ),
        dice.uniform(50, 200, (scenarios, len(meals))) * (dice.random((scenarios, len(meals))) > 0.15),
    )
    held = tuple(_random_source(dice, f"h{k}", scenarios, 0.0, None) for k in range(int(dice.integers(0, 3))))
    options = tuple(_random_option(dice, k, scenarios, vessels, lengths) for k in range(int(dice.integers(4, 11))))
    left = {f"t{k}": float(dice.uniform(2, 12)) for k in range(tins) if dice.random() < 0.7}
    before = tuple(sorted({int(dice.integers(len(options))) for _ in range(2)})) if kept else ()
    chance = float(dice.choice([0.5, 0.7, 0.8, 0.98]))
    return Problem(
        demand=demand,
        held=held,
        options=options,
        left_g=left,
        chance=chance,
        kept=before,
        change=0.7 if kept else 0.0,
        seconds=60,
    )


def _random_source(dice: np.random.Generator, name: str, scenarios: int, start: float, length: float | None) -> Source:
    since = start + dice.uniform(0, 20, scenarios) * HOUR
    until = since + dice.uniform(6, 40, scenarios) * HOUR
    since = np.where(dice.random(scenarios) < 0.12, np.inf, since)
    return source(name, since, until, dice.uniform(20, 150) * dice.uniform(0.7, 1.2, scenarios), length)


def _random_option(
    dice: np.random.Generator, k: int, scenarios: int, vessels: int, lengths: list[float | None]
) -> Option:
    start = int(dice.integers(0, 40)) * HOUR
    lot = int(dice.integers(len(lengths)))
    grams = round(float(dice.uniform(0.5, 5)), 1)
    given = _random_source(dice, f"o{k}", scenarios, float(start), lengths[lot])
    given = source(f"o{k}", given.since, given.until, given.nauplii * grams / 1.5, lengths[lot])
    return Option(
        vessel=f"v{int(dice.integers(vessels))}",
        lot=f"t{lot}",
        grams=grams,
        start=start,
        harvest=start + 20 * HOUR,
        free=start + int(dice.integers(8, 26)) * HOUR,
        cost=round(grams * (1 + lot) + float(dice.uniform(0, 1)), 3),
        source=given,
    )


# -- by trying all, with nothing of the solver


def allowed_subsets(problem: Problem) -> Iterator[tuple[int, ...]]:
    places = range(len(problem.options))
    for some in chain.from_iterable(combinations(places, count) for count in range(len(problem.options) + 1)):
        chosen = [problem.options[k] for k in some]
        clash = any(a.vessel == b.vessel and a.start < b.free and b.start < a.free for a, b in combinations(chosen, 2))
        grams = {lot: sum(one.grams for one in chosen if one.lot == lot) for lot in problem.left_g}
        if not clash and all(grams[lot] <= problem.left_g[lot] + 1e-9 for lot in grams):
            yield some


def excess(problem: Problem, got: Array) -> int:
    """Meals short in scenarios beyond what the chance allows."""
    scenarios = len(problem.demand.need)
    may = scenarios - ceil(problem.chance * scenarios - 1e-9)
    short = (got < FULL * problem.demand.need - 1e-6).sum(axis=0)
    return int(np.maximum(short - may, 0).sum())


def cost_of(problem: Problem, some: tuple[int, ...]) -> float:
    left_out = sum(k not in some for k in problem.kept)
    return sum(problem.options[k].cost for k in some) + problem.change * left_out
