"""A choice is tried in fresh worlds, and what it lacks there is added: the best in few worlds is a little too good for others."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.demand import demand
from monitor.core.food import Choice, Problem
from monitor.core.model import DAY
from monitor.core.supply import held_sources, planned_sources
from monitor.planner.greedy import build
from monitor.planner.table import Table

if TYPE_CHECKING:
    from monitor.core.food import Option, Pantry

NEAR: Final = 3 * DAY
"""What comes later is planned again many times before anything of it has to be started."""
LOOKED_AT: Final = 40  # options that may mend what lacks
MENDS: Final = 0.6  # seconds


def checked(pantry: Pantry, problem: Problem, choice: Choice, scenarios: int, seed: int) -> Choice:
    """The choice, with what has to be added. Its cost is what it is then, its gap counts what was added."""
    if not problem.options or not problem.demand.meals:
        return choice
    others = _others(problem, choice)
    looked_at = sorted({*choice.chosen, *others})
    fresh = _fresh(pantry, problem, looked_at, scenarios, seed)
    table = Table.of(fresh)
    begin = frozenset(looked_at.index(k) for k in choice.chosen)
    excess = table.excess_of(table.short(begin))
    if not excess.any():
        return choice
    ended = build(table, begin, time.process_time() + MENDS)
    if table.worth(ended) >= table.worth(begin) and table.excess(ended) >= table.excess(begin):
        return choice
    chosen = tuple(sorted(looked_at[k] for k in ended))
    cost = sum(problem.options[k].cost for k in chosen)
    floor = choice.cost * (1 - choice.gap)
    here = Table.of(problem)
    unmet = np.flatnonzero(here.excess_of(here.short(frozenset(chosen))))
    gap = max(choice.gap, 1 - floor / cost if cost > 0 else 0.0)
    return replace(choice, chosen=chosen, cost=cost, gap=float(gap), unmet=tuple(int(k) for k in unmet))


def _others(problem: Problem, choice: Choice) -> list[int]:
    """Options of the near days that go with the chosen ones, those that are closest to them and larger first."""
    table = Table.of(problem)
    chosen = frozenset(choice.chosen)
    first = min((meal.time for meal in problem.demand.meals), default=0)
    near = [k for k, one in enumerate(problem.options) if k not in chosen and one.start < first + NEAR]
    same = {(problem.options[k].vessel, problem.options[k].lot, problem.options[k].start): k for k in choice.chosen}

    def grows(one: Option) -> bool:
        old = same.get((one.vessel, one.lot, one.start))
        return old is not None and one.grams > problem.options[old].grams

    larger = [k for k in near if grows(problem.options[k])]
    free = [k for k in near if k not in larger and table.allows(chosen | {k})]
    step = max(len(free) // LOOKED_AT, 1)
    return [*larger[:LOOKED_AT], *free[::step][:LOOKED_AT]]


def _fresh(pantry: Pantry, problem: Problem, looked_at: list[int], scenarios: int, seed: int) -> Problem:
    """The same question in other worlds, about some of the options."""
    some = [problem.options[k] for k in looked_at]
    given = planned_sources(pantry, [(one.vessel, one.lot, one.grams, one.start) for one in some], scenarios, seed)
    return Problem(
        demand=demand(pantry, scenarios, seed),
        held=held_sources(pantry, scenarios, seed),
        options=tuple(replace(one, source=source) for one, source in zip(some, given, strict=True)),
        left_g=problem.left_g,
        chance=problem.chance,
    )
