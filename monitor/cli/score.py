"""``swimup score``: how good the forecasts are, over simulated or recorded batches whose outcome is known."""

from __future__ import annotations

import json
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from monitor.core.light import light
from monitor.score.picture import draw
from monitor.score.problem import ScoreProblem
from monitor.score.report import document, markdown
from monitor.score.run import Population, Result, scored_tins, simulate, summed_up, tin_folders
from monitor.score.seeds import Run, document_of_runs, markdown_of_runs, seeds_of

if TYPE_CHECKING:
    from collections.abc import Callable

BROKEN, UNUSABLE = 1, 2
"""Exit codes: a limit is broken (with ``--check``); the batches cannot be scored."""

FOLDER = click.Path(path_type=Path, exists=True, file_okay=False)
FILE = click.Path(path_type=Path, dir_okay=False)


@light
class How:
    """How to score, and where the findings go."""

    jobs: int
    unlearned: bool
    widen: float
    markdown_file: Path | None
    json_file: Path | None
    picture: Path | None


@click.command()
@click.option("--folder", type=FOLDER, help="A tin's folder, or a folder of such folders.")
@click.option("--simulated", is_flag=True, help="Have the simulator draw the batches.")
@click.option("--tins", type=click.IntRange(1), default=20, show_default=True, help="Simulated tins.")
@click.option("--batches", type=click.IntRange(1), default=8, show_default=True, help="Batches of each simulated tin.")
@click.option("--new-tins", type=click.IntRange(0), default=0, help="So many more simulated tins, of one batch each.")
@click.option("--seed", type=int, default=1, show_default=True, help="Which simulated tins.")
@click.option("--seeds-from", metavar="COMMIT", help="Score three populations, with seeds from this commit's hash.")
@click.option("--jobs", type=click.IntRange(1), default=2, show_default=True, help="Tins scored at the same time.")
@click.option("--skip-unlearned", is_flag=True, help="Don't compare with the model without learning; saves a fifth.")
@click.option("--widen", type=click.FloatRange(0), default=0.0, help="Widen each limit by so many standard errors.")
@click.option("--check", is_flag=True, help="End with exit code 1 when a limit is broken.")
@click.option("--markdown", "markdown_file", type=FILE, help="Write the report there instead of printing it.")
@click.option("--json", "json_file", type=FILE, help="Write everything that was found there.")
@click.option("--picture", type=FILE, help="Draw calibration and error against age: .svg, .png or .pdf.")
def score(
    folder: Path | None,
    simulated: bool,
    tins: int,
    batches: int,
    new_tins: int,
    seed: int,
    seeds_from: str | None,
    jobs: int,
    skip_unlearned: bool,
    widen: float,
    check: bool,
    markdown_file: Path | None,
    json_file: Path | None,
    picture: Path | None,
) -> None:
    """Run batches with a known outcome through the monitor's core and score its forecasts of T90.

    Beside it stand the floor (what nobody could do better) and three rules people use, given the same log.
    """
    if simulated == (folder is not None):
        raise click.UsageError("say what to score: either --folder DIR or --simulated")
    if seeds_from is not None and not simulated:
        raise click.UsageError("--seeds-from draws batches; it goes with --simulated")
    how = How(jobs, not skip_unlearned, widen, markdown_file, json_file, picture)
    wanted = Population(tins, batches, new_tins)
    try:
        if folder is not None:
            passed = _of_folder(folder, how)
        elif seeds_from is None:
            passed = _of_seed(wanted, seed, how)
        else:
            passed = _of_commit(wanted, seeds_from, how)
    except ScoreProblem as problem:
        click.echo(str(problem), err=True)
        sys.exit(UNUSABLE)
    if check and not passed:
        sys.exit(BROKEN)


def _of_folder(folder: Path, how: How) -> bool:
    with click.progressbar(length=len(tin_folders(folder)), label="tins", file=sys.stderr) as bar:
        result = _scored(folder, how, bar.update)
    return _tell(result, f"the batches in {folder.name or folder.resolve().name}", how)


def _of_seed(wanted: Population, seed: int, how: How) -> bool:
    with _bar(wanted, 1) as bar:
        result = _drawn(wanted, seed, how, bar.update)
    return _tell(result, _source(wanted, seed), how)


def _of_commit(wanted: Population, commit: str, how: How) -> bool:
    """One seed after the other: each population is gone before the next is drawn."""
    runs = []
    seeds = seeds_of(commit)
    with _bar(wanted, len(seeds)) as bar:
        for seed in seeds:
            result = _drawn(wanted, seed, how, bar.update)
            runs.append(Run.of(seed, result, _source(wanted, seed)))
            if how.picture is not None:
                draw(result, how.picture.with_stem(f"{how.picture.stem}-{seed}"))
    _write(markdown_of_runs(commit, runs), document_of_runs(commit, runs), how)
    return all(run.passed for run in runs)


def _bar(wanted: Population, populations: int) -> Any:
    """Each tin counts twice: drawn and scored."""
    return click.progressbar(length=2 * wanted.all_tins * populations, label="tins drawn and scored", file=sys.stderr)


def _source(wanted: Population, seed: int) -> str:
    return f"simulated, {wanted}, seed {seed}"


def _drawn(wanted: Population, seed: int, how: How, one_done: Callable[[int], None]) -> Result:
    with tempfile.TemporaryDirectory(prefix="swimup-score-") as place:
        simulate(Path(place), wanted, seed, how.jobs, one_done)
        return _scored(Path(place), how, one_done)


def _scored(folder: Path, how: How, one_done: Callable[[int], None]) -> Result:
    done = []
    for tin in scored_tins(tin_folders(folder), how.jobs, unlearned=how.unlearned):
        done.append(tin)
        one_done(1)
    return summed_up(done, how.widen)


def _tell(result: Result, source: str, how: How) -> bool:
    _write(markdown(result, source), document(result, source), how)
    if how.picture is not None:
        draw(result, how.picture)
    return result.passed


def _write(text: str, everything: dict[str, Any], how: How) -> None:
    try:
        if how.markdown_file is None:
            click.echo(text, nl=False)
        else:
            how.markdown_file.write_text(text, encoding="utf-8")
        if how.json_file is not None:
            how.json_file.write_text(json.dumps(everything, indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise ScoreProblem(f"{error.filename}: cannot be written: {error.strerror}") from None
