"""Sixty simulated days of feeding by the plan, held against the two usual ways without one; prints Markdown.

    python -m tests.food_trial.run

Real weather, batches that fail, a tin that goes bad, two spawnings. ``--seeds``, ``--days`` and ``--chance`` for other runs. The
exit code is 1 when a promise is broken.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from multiprocessing import get_context
from typing import TYPE_CHECKING, Final

import click

from monitor.core.model import DAY, Ms
from tests.food_trial import report
from tests.food_trial.habits import variants
from tests.food_trial.keeper import STEP, Keeper
from tests.food_trial.planned import Asked, Planned
from tests.food_trial.scenario import DAYS, FEW_DAYS, RUN_IN, SOON, SPAWNINGS, START
from tests.food_trial.world import World

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from monitor.core.log import LogEntry
    from tests.food_trial.keeper import Strategy
    from tests.food_trial.scenario import Spawning

SEEDS: Final = (11, 22, 33, 44, 55)
ASKED: Final = Asked(chance=0.995, seconds=2.0)
"""Who wants fewer than one meal in a hundred to be short asks for more than the 98 % that a keeper has who asks for nothing."""


@dataclass(frozen=True, slots=True)
class Played:
    """One way of feeding in one world, at its end."""

    name: str
    seed: int
    keeper: Keeper
    plans: int = 0


def without(strategy: Strategy, seed: int, days: int = DAYS) -> Played:
    """By habit."""
    keeper = Keeper(World(seed), _nowhere, _spawnings(days))
    keeper.begin(START)
    for now in _steps(days):
        keeper.step(now, set(), strategy)
    return Played(strategy.name, seed, keeper)


def with_plan(
    seed: int, days: int = DAYS, asked: Asked = ASKED, progress: Callable[[Ms], None] | None = None
) -> Played:
    """By the plan, through the monitor's core."""
    world = World(seed)
    planned = Planned(world, asked)
    keeper = Keeper(world, planned.write, _spawnings(days))
    planned.hear(START)
    keeper.begin(START)
    for now in _steps(days):
        planned.hear(now)
        keeper.step(now, planned.ready(now) if keeper.there(now) else set(), planned)
        if progress is not None:
            progress(now)
    return Played(planned.name, seed, keeper, len(planned.plans))


def _spawnings(days: int) -> tuple[Spawning, ...]:
    return SPAWNINGS if days > FEW_DAYS else SOON


def _steps(days: int) -> Sequence[Ms]:
    return range(START, START + (days + RUN_IN) * DAY, STEP)


def _nowhere(_: LogEntry) -> None:
    """A keeper without a monitor needs no log."""


def _world(seed: int, days: int, asked: Asked) -> list[Played]:
    """The plan, and after it all usual ways, in one world."""
    return [with_plan(seed, days, asked), *(without(strategy, seed, days) for strategy in variants())]


@click.command()
@click.option("--days", type=click.IntRange(3, DAYS), default=DAYS, show_default=True)
@click.option("--seeds", type=int, multiple=True, default=SEEDS, show_default=True)
@click.option("--chance", type=click.FloatRange(0.5, 0.999), default=ASKED.chance, show_default=True)
@click.option("--seconds", type=float, default=ASKED.seconds, show_default=True, help="For each plan, at most.")
@click.option("--jobs", type=click.IntRange(1, 64), default=2, show_default=True, help="Worlds played at once.")
@click.option("--short", is_flag=True, help="Five days of one world, with one spawning.")
@click.option("--meals", is_flag=True, help="Print each short meal of the plan too.")
def main(
    days: int, seeds: tuple[int, ...], chance: float, seconds: float, jobs: int, *, short: bool, meals: bool
) -> None:
    """Play all ways of feeding in the same worlds and print how they fared."""
    days, seeds = (FEW_DAYS, seeds[:1]) if short else (days, seeds)
    usual, planned = [], []
    with (
        ProcessPoolExecutor(min(jobs, len(seeds)), mp_context=get_context("spawn")) as pool,
        click.progressbar(length=len(seeds) * (days + RUN_IN), label="days of all worlds", file=sys.stderr) as bar,
    ):
        running = [pool.submit(_world, seed, days, Asked(chance, seconds)) for seed in seeds]
        for done in as_completed(running):
            of_world = done.result()
            planned.append(of_world[0])
            usual += of_world[1:]
            bar.update(days + RUN_IN)
            click.echo("\n".join(["", report.in_brief(of_world[0]), *report.short_meals(of_world[0])]), err=True)
    planned.sort(key=lambda one: one.seed)
    found = report.of(usual, planned)
    click.echo(found.markdown())
    for one in planned if meals else ():
        click.echo("\n".join(report.short_meals(one)))
    sys.exit(1 if found.broken else 0)


if __name__ == "__main__":
    main()
