"""The whole look ahead: who eats what, what there is, what could be started, the choice, and what comes of it."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.demand import demand
from monitor.core.feeding import feed
from monitor.core.food import FoodAhead, Problem
from monitor.core.light import light
from monitor.core.outlook import outlook
from monitor.core.plan import make_plan
from monitor.core.plan_options import kept_of, options
from monitor.core.supply import held_sources, per_gram, planned_source, planned_sources
from monitor.planner.check import checked
from monitor.planner.solve import solve

if TYPE_CHECKING:
    from monitor.core.food import Choice, Demand, Outlook, Pantry, Source
    from monitor.core.model import Ms
    from monitor.core.supply import Grams

SCENARIOS: Final = 48
"""That the optimiser looks at. At 98 % none of them may be short, which is as strict as it gets without asking for more."""
CHECKED: Final = 300
"""Fresh ones, in which the choice is tried, so that it is not made for the first ones alone."""
SEED: Final = 20
CHECK_SEED: Final = 77
CHANGE: Final = 0.15
"""What it takes to leave a start of the plan before out, as a share of what a batch costs in the middle; an assumption."""


@light(eq=False)
class Worked:
    """What was reckoned on the way, for measurements and tests."""

    ahead: FoodAhead
    problem: Problem
    choice: Choice


def work(pantry: Pantry, seconds: float = 2.0) -> FoodAhead:
    """What lies ahead of a pantry, and the plan. ``seconds`` for the optimiser; the rest takes about as long again."""
    return work_out(pantry, seconds).ahead


def work_out(pantry: Pantry, seconds: float = 2.0) -> Worked:
    begun = time.monotonic()
    problem = problem_of(pantry, SCENARIOS, SEED, seconds)
    choice = checked(pantry, problem, solve(problem), CHECKED, CHECK_SEED)
    return Worked(_ahead(pantry, problem, choice, time.monotonic() - begun), problem, choice)


def problem_of(pantry: Pantry, scenarios: int, seed: int, seconds: float) -> Problem:
    eaten = demand(pantry, scenarios, seed)
    held = held_sources(pantry, scenarios, seed)

    def given(vessel: str, lot: str, start: Ms) -> Grams:
        return per_gram(pantry, vessel, lot, start, scenarios, seed)

    found = options(pantry, eaten, held, given)
    kept = kept_of(pantry, found)
    return Problem(
        demand=eaten,
        held=held,
        options=found,
        left_g={lot.id: lot.left_g for lot in pantry.lots if lot.left_g is not None},
        chance=pantry.chance,
        kept=kept,
        change=CHANGE * float(np.median([found[k].cost for k in kept])) if kept else 0.0,
        seconds=seconds,
    )


def _ahead(pantry: Pantry, problem: Problem, choice: Choice, seconds: float) -> FoodAhead:
    """What comes of what is under way, and of the plan, in fresh worlds."""
    eaten = demand(pantry, CHECKED, CHECK_SEED)
    held = held_sources(pantry, CHECKED, CHECK_SEED)
    started = [problem.options[k] for k in choice.chosen]
    wanted = [(one.vessel, one.lot, one.grams, one.start) for one in started]
    both = (*held, *planned_sources(pantry, wanted, CHECKED, CHECK_SEED))
    followed = _outlook(pantry, eaten, both)

    def planned(vessel: str, lot: str, grams: float, start: Ms) -> Source:
        return planned_source(pantry, vessel, lot, grams, start, SCENARIOS, SEED)

    plan = make_plan(pantry, problem, replace(choice, seconds=seconds), followed, planned)
    return FoodAhead(time=pantry.now, bare=_outlook(pantry, eaten, held), outlook=followed, plan=plan)


def _outlook(pantry: Pantry, eaten: Demand, sources: tuple[Source, ...]) -> Outlook:
    return outlook(pantry, eaten, sources, feed(eaten, sources))
