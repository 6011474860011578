"""Who gets what."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.optimize import linprog

from monitor.core.feeding import course, feed, fits, times_of
from monitor.core.food import Demand, Meal, Source
from monitor.core.model import HOUR
from tests.unit.core.larder import demand, source

if TYPE_CHECKING:
    from collections.abc import Sequence

SMALL, LARGE = 430.0, 490.0
NARROW, WIDE = 440.0, 600.0


def most(wanted: Demand, sources: Sequence[Source], row: int, of: Sequence[int]) -> float:
    """The most that the meals ``of`` can get together in one scenario, whoever is fed of what: a linear programme."""
    pairs = [
        (m, s)
        for m in of
        for s, one in enumerate(sources)
        if one.since[row] <= wanted.meals[m].time < one.until[row] and fits(one.length_um, wanted.meals[m].largest_um)
    ]
    if not pairs:
        return 0.0
    limits = np.zeros((len(of) + len(sources), len(pairs)))
    for k, (m, s) in enumerate(pairs):
        limits[list(of).index(m), k] = limits[len(of) + s, k] = 1
    bounds = [*(wanted.need[row, m] for m in of), *(one.nauplii[row] for one in sources)]
    found = linprog(-np.ones(len(pairs)), A_ub=limits, b_ub=bounds)
    assert found.success
    return float(-found.fun)


def at_random(seed: int, sizes: Sequence[float | None]) -> tuple[Demand, list[Source]]:
    rng = np.random.default_rng(seed)
    scenarios, days = 5, 4
    hours = sorted(int(h) for h in rng.integers(0, days * 4, rng.integers(2, 9)) * 6)
    mouths = [float(rng.choice([NARROW, WIDE])) for _ in hours]
    wanted = demand(
        [(h, f"brood-{k}", mouth) for k, (h, mouth) in enumerate(zip(hours, mouths, strict=True))],
        rng.integers(0, 10, (scenarios, len(hours))),
    )
    sources = []
    for _ in range(int(rng.integers(1, 6))):
        since = rng.uniform(-10, days * 24, scenarios)
        sources.append(
            source(
                np.where(rng.random(scenarios) < 0.1, np.inf, since),
                since + rng.uniform(5, 60, scenarios),
                rng.integers(0, 20, scenarios),
                length_um=sizes[int(rng.integers(len(sizes)))],
            )
        )
    return wanted, sources


def test_one_size_is_fed_as_far_as_it_can_be() -> None:
    """Where all can take all, no other way of feeding gives more to all together: feeding is as good as a linear programme."""
    for seed in range(40):
        wanted, sources = at_random(seed, [SMALL, None])
        got = feed(wanted, sources).got
        for row in range(len(got)):
            assert got[row].sum() == pytest.approx(most(wanted, sources, row, range(len(wanted.meals))), abs=1e-6)


def test_no_wide_mouth_starves_a_small_one() -> None:
    """Small mouths get as much as if nobody else were there, where others could eat large ones."""
    for seed in range(60):
        wanted, sources = at_random(1000 + seed, [SMALL, LARGE])
        if all(one.length_um == SMALL for one in sources):
            continue
        got = feed(wanted, sources).got
        small = [k for k, meal in enumerate(wanted.meals) if meal.largest_um == NARROW]
        for row in range(len(got)):
            assert got[row, small].sum() == pytest.approx(most(wanted, sources, row, small), abs=1e-6)


def test_wide_mouths_hardly_go_short_of_what_could_be_spared() -> None:
    """Of random rooms with two sizes, 99 in 100 are fed with all that any way of feeding could give."""
    full = rows = 0
    for seed in range(60):
        wanted, sources = at_random(1000 + seed, [SMALL, LARGE])
        got = feed(wanted, sources).got
        for row in range(len(got)):
            best = most(wanted, sources, row, range(len(wanted.meals)))
            assert got[row].sum() <= best + 1e-6
            full += got[row].sum() > best - 1e-6
            rows += 1
    assert full / rows >= 0.99


def test_nothing_is_fed_that_is_not_there() -> None:
    """What is fed is what is taken, of what is in hand then and small enough, and never more than it was."""
    for seed in range(60):
        wanted, sources = at_random(2000 + seed, [SMALL, LARGE, None])
        got, taken = course(wanted, sources)
        assert (got <= wanted.need + 1e-9).all()
        assert (taken >= 0).all()
        assert got.sum(axis=1) == pytest.approx(taken.sum(axis=(1, 2)))
        for k, one in enumerate(sources):
            assert (taken[:, :, k].sum(axis=1) <= one.nauplii + 1e-9).all()
            for at, time in enumerate(times_of(wanted)):
                absent = (one.since > time) | (one.until <= time)
                assert not taken[absent, at, k].any()
                if all(m.largest_um == NARROW for m in wanted.meals if m.time == time) and one.length_um == LARGE:
                    assert not taken[:, at, k].any()


def test_what_ends_first_is_fed_first() -> None:
    """Of two that are there, the one that ends sooner is fed."""
    wanted = demand([(5, "killi-3", None)], [[10.0]])
    sources = [source([0], [40], [50]), source([3], [20], [50])]
    assert feed(wanted, sources).used.tolist() == [[0.0, 10.0]]


def test_who_can_take_large_ones_leaves_the_small_ones() -> None:
    """The small ones that a small mouth needs tomorrow are not fed to a wide one today, though they end first."""
    wanted = demand([(1, "severum", WIDE), (20, "gourami", NARROW)], [[10.0, 10.0]])
    sources = [source([0], [30], [10], length_um=SMALL), source([0], [60], [10], length_um=LARGE)]
    assert feed(wanted, sources).got.tolist() == [[10.0, 10.0]]


def test_small_ones_that_would_spoil_are_fed_to_wide_mouths() -> None:
    """Small ones that no small mouth is going to need are food like any other, and go first when they end first."""
    wanted = demand([(1, "severum", WIDE), (20, "severum", WIDE)], [[10.0, 10.0]])
    sources = [source([0], [10], [10], length_um=SMALL), source([0], [60], [10], length_um=LARGE)]
    assert feed(wanted, sources).got.tolist() == [[10.0, 10.0]]


def test_who_eats_together_shares() -> None:
    """What is too little for two at one feeding is shared by their need."""
    wanted = demand([(1, "killi-3", None), (1, "severum", None)], [[30.0, 10.0]])
    assert feed(wanted, [source([0], [10], [20])]).got.tolist() == [[15.0, 5.0]]


@pytest.mark.parametrize(("hour", "got"), [(-0.001, 0.0), (0, 10.0), (9.999, 10.0), (10, 0.0)])
def test_from_since_to_before_until(hour: float, got: float) -> None:
    """It can be fed at the instant it is there, and not any more at the instant it ends."""
    for mouths in ((None,), (NARROW, WIDE)):
        wanted = demand([(hour, "killi-3", mouth) for mouth in mouths], [[10.0 / len(mouths)] * len(mouths)])
        found = feed(wanted, [source([0], [10], [50], length_um=SMALL), source([0], [0], [9], length_um=LARGE)])
        assert found.got.sum() == pytest.approx(got)


def test_no_source_and_no_meal() -> None:
    """Nobody is fed of nothing, and nothing is fed to nobody."""
    wanted = demand([(1, "killi-3", None)], [[30.0]])
    assert feed(wanted, []).got.tolist() == [[0.0]]
    empty = Demand(meals=(), need=np.zeros((2, 0)))
    assert feed(empty, [source([0, 0], [9, 9], [5, 5])]).used.tolist() == [[0.0], [0.0]]


def test_unknown_lengths_and_mouths_fit() -> None:
    """What nobody measured is taken to fit."""
    assert fits(None, 400.0)
    assert fits(500.0, None)
    assert fits(430.0, 430.0)
    assert not fits(431.0, 430.0)


def test_meals_stand_where_they_stood() -> None:
    """What a meal gets is told in its own place, however many mouths eat at whatever time."""
    meals = tuple(
        Meal(time=h * HOUR, eater=name, largest_um=mouth)
        for h, name, mouth in [(1, "a", NARROW), (1, "b", WIDE), (2, "a", NARROW)]
    )
    wanted = Demand(meals=meals, need=np.array([[1.0, 2.0, 4.0]]))
    each = Source(
        kind="store",
        name="fridge",
        lot="",
        length_um=SMALL,
        since=np.array([0.0]),
        until=np.array([9e9]),
        nauplii=np.array([99.0]),
    )
    assert feed(wanted, [each]).got.tolist() == [[1.0, 2.0, 4.0]]
