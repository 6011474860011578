"""The choice of what to start: against trying everything, and what it is worth to a keeper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.core.food import Demand, Meal, Option, Problem
from monitor.core.model import HOUR
from monitor.planner.solve import solve
from tests.unit.planner.cases import allowed_subsets, cost_of, excess, random_problem, source
from tests.unit.planner.slowly import fed

BLOCKS = 10


@pytest.mark.parametrize("block", range(BLOCKS))
def test_the_choice_is_the_best_of_all(block: int) -> None:
    """On 200 small random cases no choice has fewer short meals, and none with as few costs less."""
    for seed in range(block * 20, block * 20 + 20):
        problem = random_problem(seed, kept=seed % 4 == 3)
        best = min((excess(problem, fed(problem, some)), cost_of(problem, some)) for some in allowed_subsets(problem))
        choice = solve(problem)
        assert choice.chosen in set(allowed_subsets(problem)), seed
        assert excess(problem, fed(problem, choice.chosen)) == best[0], seed
        assert cost_of(problem, choice.chosen) == pytest.approx(best[1], abs=1e-5), seed
        assert choice.gap == 0.0, seed
        assert bool(choice.unmet) == (best[0] > 0), seed


SCENARIOS = 400
"""So many that a failure of one batch in twenty, and of two at once, is there as often as it should be."""


def _failing(chance: float) -> Problem:
    """One meal; three vessels, each of which can make enough for it and fails in 5 % of the worlds."""
    worlds = np.arange(SCENARIOS)
    fails = [worlds % 20 == 0, (worlds // 20) % 20 == 0, (worlds + worlds // 20) % 20 == 7]
    demand = Demand((Meal(time=40 * HOUR, eater="killi", largest_um=None),), np.full((SCENARIOS, 1), 100.0))
    given = [
        source(f"o{k}", np.where(fail, np.inf, 30.0 * HOUR), np.full(SCENARIOS, 60.0 * HOUR), np.full(SCENARIOS, 100.0))
        for k, fail in enumerate(fails)
    ]
    options = tuple(
        Option(
            vessel=f"v{k}",
            lot="tin",
            grams=1.0,
            start=0,
            harvest=29 * HOUR,
            free=30 * HOUR,
            cost=1.0 + k / 10,
            source=one,
        )
        for k, one in enumerate(given)
    )
    return Problem(demand=demand, held=(), options=options, left_g={}, chance=chance)


@pytest.mark.parametrize(("chance", "batches"), [(0.9, 1), (0.94, 1), (0.98, 2), (0.999, 3)])
def test_a_backup_is_there_only_as_far_as_the_chance_needs_it(chance: float, batches: int) -> None:
    """With one batch in twenty failing, nine meals in ten need one batch, 98 in 100 need two."""
    choice = solve(_failing(chance))
    assert choice.chosen == tuple(range(batches))
    assert choice.unmet == ()


def test_a_meal_that_nothing_can_feed_is_told_and_the_others_are_fed() -> None:
    """What comes too late for the first meal is still started for the second one, and the first is named."""
    problem = _failing(0.9)
    meals = (Meal(time=10 * HOUR, eater="killi", largest_um=None), *problem.demand.meals)
    problem = replace(problem, demand=Demand(meals, np.full((SCENARIOS, 2), 90.0)))
    choice = solve(problem)
    assert choice.unmet == (0,)
    assert choice.chosen == (0,)


def test_an_empty_vessel_is_not_started_for_nobody() -> None:
    """Without eaters nothing is started; without options nothing can be, and what is short is named."""
    problem = _failing(0.98)
    nobody = replace(problem, demand=Demand((), np.zeros((SCENARIOS, 0))))
    assert solve(nobody).chosen == ()
    nothing = solve(replace(problem, options=()))
    assert (nothing.chosen, nothing.unmet) == ((), (0,))


def test_a_plan_stays_as_it_was_for_a_small_gain() -> None:
    """What the plan before had is kept while a change saves less than it costs, and changed when it saves more."""
    problem = replace(_failing(0.9), kept=(2,))
    assert solve(replace(problem, change=0.5)).chosen == (2,)
    assert solve(replace(problem, change=0.1)).chosen == (0,)


def test_the_same_question_has_the_same_answer() -> None:
    """Twice the same problem, twice the same choice."""
    problem = random_problem(7)
    first, second = solve(problem), solve(problem)
    assert (first.chosen, first.cost, first.unmet, first.gap) == (second.chosen, second.cost, second.unmet, second.gap)


def test_a_choice_that_could_not_be_proven_says_so() -> None:
    """With no time to prove anything a choice is still allowed, and its gap is no promise."""
    problem = replace(random_problem(11), seconds=0.0)
    choice = solve(problem)
    assert choice.chosen in set(allowed_subsets(problem))
    assert choice.gap > 0 or choice.cost == 0
