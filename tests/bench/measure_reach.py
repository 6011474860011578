"""What the best forecaster could reach in the limits on learning and on counted shares; prints Markdown.

    python -m tests.bench.measure_reach --seeds 11 --tins 40 --new-tins 60 --jobs 2

Learning: the shipped model without learning, in the tin's sixth batch and later, against forecasters who know ever less:
the tin and the weather to come; the weather, and of the tin all but its speed, of which five batches tell exactly; the tin,
but of the water only what the shipped forecast says of it. Counts: an observer who knows the weather and the keeper's own
borders and how loosely he counts reads the same log as the best rule. Where even these stay outside a limit, no forecaster
can keep it. Nothing here is asserted.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.evidence import started_in_good_faith
from monitor.core.model import HOUR, MINUTE, SLOT
from monitor.core.replay import played
from monitor.core.water import forecast
from monitor.intake.recorded import entries, readings
from monitor.score.baselines import BASELINES
from monitor.score.cells import ratio_of_means
from monitor.score.rows import AGED, AGES_H, score_tin
from monitor.score.run import ONE_THREAD
from monitor.settings.loader import load
from simulator.population import ranges
from simulator.population.batches import MEDIAN
from simulator.population.cohort import hours_until, progress, steps
from simulator.population.floor import Z_PERCENTS
from simulator.population.folder import write_tin
from simulator.population.heat import BEGIN
from simulator.population.tins import Tin, draw_probes
from simulator.world.numbers import stream
from simulator.world.world import STEP_H
from tests.bench.hidden import Errors, Life, Watched, shelf, weighted_median
from tests.bench.markdown import line, say
from tests.bench.observer import MODEL, OBSERVER, STRANGER, counts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.score.cells import Figure
    from monitor.score.rows import Row
    from simulator.population.batches import Batch
    from simulator.world.numbers import Floats

LEARNED: Final = 5
BATCHES: Final = 8
WATER: Final = "jug-water"
START: Final = AGED[0]
LESSONS: Final = 40  # lots drawn for what five batches happen to teach
WAYS: Final = np.linspace(-2.4, 2.4, 9)  # of the water about its forecast, in standard deviations
COARSE: Final = 10  # minutes
SEASONS: Final = ("all", "cold", "mild", "warm")
ASKED: Final = {"all": 0.4, "cold": 0.5, "warm": 0.5}
LEARNING: Final = "learning"
BLANK, POPULATION = "shipped, without learning", "population and weather known"
KNOWN, LESSON, FORETOLD = "tin and weather known", "five exact batches, weather known", "tin known, water as foretold"


def taught_error(tin: Tin, quantiles: Floats, truth_h: float, chance: np.random.Generator) -> float:
    """Mean error of one who has the exact speed of five batches and knows all else of the tin, and the weather."""
    own, luck = ranges.MEDIAN_H.log_sd, tin.batch_log_sd
    far = float(np.log(tin.median_h / ranges.MEDIAN_H.median))
    weight = LEARNED / luck**2 / (LEARNED / luck**2 + 1 / own**2)
    seen = far + luck / np.sqrt(LEARNED) * chance.standard_normal(LESSONS)
    believed = (weight * seen - far) / luck
    return float(np.abs(np.interp(believed, Z_PERCENTS, quantiles) - truth_h).mean())


def foretold_h(year: Watched, life: Life, start: int, mean: Floats, sd: Floats) -> float:
    """Median of T90, hours, of one who knows the tin, for the water as it was until ``start`` (minutes) and as foretold."""
    cells = len(life.water.free) // COARSE
    pace = coarse(life.pace(year.tin), cells)
    begun = -(-start // COARSE)
    hours = np.empty(len(WAYS))
    for number, way in enumerate(WAYS):
        celsius = coarse(life.water.celsius[BEGIN:], cells)
        celsius[begun:] = coarse(mean + way * sd, cells)[begun:]
        total = progress(steps(year.rates, year.shelf.classes.soak_h, celsius, pace, COARSE * STEP_H))
        slowness = np.array([np.log(year.tin.median_h)])
        hours[number] = hours_until(total, slowness, year.tin.shares, 0.9, COARSE * STEP_H)[0]
    weights = np.exp(-(WAYS**2) / 2)
    weights /= weights.sum()
    weights *= started_in_good_faith(hours, WAYS, weights, start / 60)
    return weighted_median(hours, weights)


def coarse(minutely: Floats, cells: int) -> Floats:
    return np.asarray(minutely[: cells * COARSE].reshape(cells, COARSE).mean(axis=1))


def learning(folder: Path, year: Watched, batches: Sequence[Batch], rows: Sequence[Row]) -> list[Errors]:
    """All known batches of a tin at the start."""
    early = [row for row in rows if row.point == START and row.group == "known" and row.foreseeable and row.unlearned]
    by_id = {batch.id: batch for batch in batches}
    foretold = water_foretold(folder, year, [by_id[row.batch] for row in early])
    found = []
    for row in early:
        batch, truth = by_id[row.batch], row.truth_h
        life = year.lives[batch.id]
        chance = stream(year.shelf.seed, "lesson", batch.id)
        one = Errors(row.tin, "learning", row.season)
        one.hours[MODEL] = abs(float(row.model.mid) - truth)
        assert row.unlearned is not None  # chosen so
        one.hours[BLANK] = abs(float(row.unlearned.mid) - truth)
        one.hours[POPULATION] = abs(float(batch.at_start.new[MEDIAN]) - truth)
        one.hours[KNOWN] = abs(float(batch.at_start.known[MEDIAN]) - truth)
        one.hours[LESSON] = taught_error(year.tin, batch.at_start.known, truth, chance)
        mean, sd = foretold[batch.id]
        begin = round(AGES_H[0] * 60)
        one.hours[FORETOLD] = abs(foretold_h(year, life, begin, mean, sd) - truth)
        found.append(one)
    return found


def water_foretold(folder: Path, year: Watched, batches: Sequence[Batch]) -> dict[str, tuple[Floats, Floats]]:
    """What the monitor foretells of the water soon after the start of each batch, by minute: mean and SD, C."""
    settings = load(folder / "swimup.toml")
    measured = readings(folder / "readings.csv", settings.bindings())
    asked = {batch.start_s * 1000 + round(AGES_H[0] * HOUR): batch for batch in batches}
    bias = draw_probes(year.shelf.seed, year.tin.id).bias_c[WATER]
    found = {}
    told = played(settings.site_spec(), measured, entries(folder / "log.jsonl"), asked)
    for now, engine in told:
        batch = asked[now]
        belief = engine.state.batches[batch.id].belief
        assert belief is not None  # an hour old at most
        start = batch.start_s * 1000
        run = belief.advance(now)
        future = forecast(belief.water, run.slot, belief.room, start // SLOT, belief.habit)
        minutes = len(year.lives[batch.id].water.free)
        middles = start + MINUTE * (np.arange(minutes, dtype=np.float64) + 0.5)
        mean, sd = future.at(np.asarray(middles, dtype=np.float64))
        found[batch.id] = mean - bias, sd
    return found


# ---------------------------------------------------------------------------------------------------------- telling


def of_tin(asked: tuple[int, int, int]) -> list[Errors]:
    """Everything of one tin: seed, number, batches."""
    seed, number, count = asked
    year = Watched(shelf(seed), f"tin-{number:04d}")
    batches = year.batches(count)
    with tempfile.TemporaryDirectory() as out:
        folder = Path(out) / year.tin.id
        folder.mkdir()
        write_tin(folder, year, batches, seed)
        rows = score_tin(folder, unlearned=count > LEARNED).rows
        return [*learning(folder, year, batches, rows), *counts(year, batches, rows)]


def heading(*cells: str) -> None:
    say("")
    line(*cells)
    line("---", *("---:" for _ in cells[1:]))


def against(errors: Sequence[Errors], own: str, other: str) -> Figure:
    """Mean error of one over that of the other, and its standard error by drawing tins."""
    mine, theirs = (np.array([one.hours[who] for one in errors]) for who in (own, other))
    return ratio_of_means([one.tin for one in errors], mine, theirs)


def percent(figure: Figure) -> str:
    return f"{100 * (1 - figure.value):.0f} % ({100 * figure.se:.0f})"


def tell_learning(seed: int, errors: Sequence[Errors]) -> None:
    who = (MODEL, FORETOLD, LESSON, KNOWN)
    heading(f"seed {seed}: cut at the start", "batches", "hours, without learning", *who, "asked")
    for season in SEASONS:
        some = [one for one in errors if one.what == LEARNING and season in ("all", one.season)]
        if some:
            hours = float(np.mean([one.hours[BLANK] for one in some]))
            cuts = [percent(against(some, name, BLANK)) for name in who]
            line(
                season, str(len(some)), f"{hours:.1f}", *cuts, f"{100 * ASKED[season]:.0f} %" if season in ASKED else ""
            )
    some = [one for one in errors if one.what == LEARNING]
    if some:
        cuts = [percent(against(some, name, POPULATION)) for name in who]
        hours = float(np.mean([one.hours[POPULATION] for one in some]))
        line(f"all, against {POPULATION}", str(len(some)), f"{hours:.1f}", *cuts, "")


def tell_counts(seed: int, errors: Sequence[Errors]) -> None:
    heading(f"seed {seed}: error with a counted share, of the best rule's", "batches", "best rule, h", "shipped",
            OBSERVER, STRANGER, "asked")  # fmt: skip
    for group in ("new", "known"):
        some = [one for one in errors if one.what == group]
        if some:
            rule = min(BASELINES, key=lambda name: float(np.mean([one.hours[name] for one in some])))
            told = []
            for name in (MODEL, OBSERVER, STRANGER):
                figure = against(some, name, rule) if name in some[0].hours else None
                told.append("" if figure is None else f"{figure.value:.2f} ({figure.se:.2f})")
            hours = float(np.mean([one.hours[rule] for one in some]))
            line(group, str(len(some)), f"{hours:.1f} ({rule})", *told, "0.50")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, nargs="+", default=[11])
    parser.add_argument("--tins", type=int, default=40, help=f"tins of {BATCHES} batches")
    parser.add_argument("--new-tins", type=int, default=60, help="and tins of one batch")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    wanted = parser.parse_args()
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    say("In brackets: one standard error, drawn over tins.")
    with ProcessPoolExecutor(wanted.jobs, mp_context=get_context("spawn")) as pool:
        for seed in wanted.seeds:
            all_tins = range(1, wanted.tins + wanted.new_tins + 1)
            asked = [(seed, number, BATCHES if number <= wanted.tins else 1) for number in all_tins]
            errors = [one for found in pool.map(of_tin, asked) for one in found]
            tell_learning(seed, errors)
            tell_counts(seed, errors)


if __name__ == "__main__":
    main()
