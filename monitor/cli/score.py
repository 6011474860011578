"""``swimup score``: how good the forecasts are, over simulated or recorded batches whose outcome is known."""

from __future__ import annotations

import json
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.score.picture import draw
from monitor.score.problem import ScoreProblem
from monitor.score.report import document, markdown
from monitor.score.run import Result, scored_tins, simulate, summed_up, tin_folders

if TYPE_CHECKING:
    from collections.abc import Iterator

BROKEN, UNUSABLE = 1, 2
"""Exit codes: a limit is broken (with ``--check``); the batches cannot be scored."""

FOLDER = click.Path(path_type=Path, exists=True, file_okay=False)
FILE = click.Path(path_type=Path, dir_okay=False)


@click.command()
@click.option("--folder", type=FOLDER, help="A tin's folder, or a folder of such folders.")
@click.option("--simulated", is_flag=True, help="Have the simulator draw the batches.")
@click.option("--tins", type=click.IntRange(1), default=20, show_default=True, help="Simulated tins.")
@click.option("--batches", type=click.IntRange(1), default=8, show_default=True, help="Batches of each simulated tin.")
@click.option("--seed", type=int, default=1, show_default=True, help="Which simulated tins.")
@click.option("--jobs", type=click.IntRange(1), default=2, show_default=True, help="Tins scored at the same time.")
@click.option("--skip-unlearned", is_flag=True, help="Don't compare with the model without learning; saves a third.")
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
    seed: int,
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
    try:
        if folder is None:
            source = f"simulated, {tins} tins of {batches} batches, seed {seed}"
            with _population(tins, batches, seed, jobs) as made:
                result = _scored(made, jobs, not skip_unlearned, widen)
        else:
            source = f"the batches in {folder.name or folder.resolve().name}"
            result = _scored(folder, jobs, not skip_unlearned, widen)
        _tell(result, source, markdown_file, json_file)
        if picture is not None:
            draw(result, picture)
    except ScoreProblem as problem:
        click.echo(str(problem), err=True)
        sys.exit(UNUSABLE)
    if check and not result.passed:
        sys.exit(BROKEN)


@contextmanager
def _population(tins: int, batches: int, seed: int, jobs: int) -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="swimup-score-") as place:
        simulate(Path(place), tins, batches, seed, jobs)
        yield Path(place)


def _scored(folder: Path, jobs: int, unlearned: bool, widen: float) -> Result:
    folders = tin_folders(folder)
    done = []
    with click.progressbar(length=len(folders), label="tins", file=sys.stderr) as bar:
        for tin in scored_tins(folders, jobs, unlearned=unlearned):
            done.append(tin)
            bar.update(1)
    return summed_up(done, widen)


def _tell(result: Result, source: str, markdown_file: Path | None, json_file: Path | None) -> None:
    text = markdown(result, source)
    try:
        if markdown_file is None:
            click.echo(text, nl=False)
        else:
            markdown_file.write_text(text, encoding="utf-8")
        if json_file is not None:
            json_file.write_text(json.dumps(document(result, source), indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise ScoreProblem(f"{error.filename}: cannot be written: {error.strerror}") from None
