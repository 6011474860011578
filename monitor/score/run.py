"""Many tins, on several processes at once."""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from monitor.score.cells import Cell, Where, cells
from monitor.score.limits import Verdict, judge
from monitor.score.problem import ScoreProblem
from monitor.score.rows import TinRows, score_tin
from monitor.score.table import Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from monitor.score.rows import LostRow
    from monitor.score.stops import StopRow

ONE_THREAD: Final = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""The arrays are small: numpy's own threads would only fight with the other processes."""


@dataclass(frozen=True, slots=True)
class Result:
    """Everything that was scored, and the verdicts."""

    tins: int
    batches: int
    table: Table
    cells: dict[Where, Cell]
    lost: tuple[LostRow, ...]
    stops: tuple[StopRow, ...]
    verdicts: tuple[Verdict, ...]
    widen: float

    @property
    def passed(self) -> bool:
        """Whether no limit is broken; one that could not be judged is not broken."""
        return all(verdict.passed is not False for verdict in self.verdicts)


def tin_folders(folder: Path) -> list[Path]:
    """The tins in a folder, in order; the folder itself when it is one. Raises ScoreProblem when there is none."""
    if (folder / "truth.jsonl").is_file():
        return [folder]
    try:
        found = sorted(path for path in folder.iterdir() if (path / "truth.jsonl").is_file())
    except OSError as error:
        raise ScoreProblem(f"{folder}: cannot be read: {error.strerror}") from None
    if not found:
        raise ScoreProblem(
            f"{folder}: found no tin; allowed is a folder with swimup.toml, readings.csv, log.jsonl and truth.jsonl, "
            "or a folder of such folders"
        )
    return found


def scored_tins(folders: Sequence[Path], jobs: int = 1, *, unlearned: bool = True) -> Iterator[TinRows]:
    """Score tins, in whichever order they are done. Raises ScoreProblem at the first that cannot be scored."""
    work = partial(score_tin, unlearned=unlearned)
    if jobs <= 1 or len(folders) == 1:
        yield from map(work, folders)
        return
    with _one_thread_each(), multiprocessing.get_context("spawn").Pool(min(jobs, len(folders))) as pool:
        yield from pool.imap_unordered(work, folders)


@contextmanager
def _one_thread_each() -> Iterator[None]:
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def summed_up(tins: Sequence[TinRows], widen: float = 0.0) -> Result:
    """Everything of all tins, in the tins' order. Raises ScoreProblem when no batch hatched."""
    ordered = sorted(tins, key=lambda tin: tin.tin)
    rows = [row for tin in ordered for row in tin.rows]
    if not rows:
        raise ScoreProblem("found no batch that hatched and was open at any moment that is scored; nothing to tell")
    table = Table.of(rows)
    found = cells(table)
    stops = tuple(stop for tin in ordered for stop in tin.stops)
    return Result(
        tins=len(ordered),
        batches=sum(tin.batches for tin in ordered),
        table=table,
        cells=found,
        lost=tuple(row for tin in ordered for row in tin.lost),
        stops=stops,
        verdicts=tuple(judge(found, stops, widen)),
        widen=widen,
    )


def score(folder: Path, jobs: int = 1, *, unlearned: bool = True, widen: float = 0.0) -> Result:
    """Score a folder of tins; with one job in this very process. Raises ScoreProblem."""
    return summed_up(list(scored_tins(tin_folders(folder), jobs, unlearned=unlearned)), widen)


def simulate(out: Path, tins: int, batches: int, seed: int, jobs: int = 1) -> None:
    """Have a population written into ``out`` by the simulator, which knows nothing of the monitor. Raises ScoreProblem."""
    options: dict[str, Any] = {"--tins": tins, "--batches": batches, "--seed": seed, "--jobs": jobs, "--out": out}
    command = [sys.executable, "-m", "simulator", "population"]
    for name, value in options.items():
        command += [name, str(value)]
    done = subprocess.run(command, check=False, stdout=subprocess.DEVNULL)
    if done.returncode != 0:
        raise ScoreProblem(f"the simulator ended with code {done.returncode} and wrote no whole population")
