"""Many tins, on several processes at once."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from functools import partial
from multiprocessing import get_context
from typing import IO, TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.score.cells import Cell, Where, cells
from monitor.score.limits import Verdict, judge
from monitor.score.problem import ScoreProblem
from monitor.score.rows import TinRows, score_tin
from monitor.score.table import Table

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from monitor.score.rows import LostRow
    from monitor.score.stops import StopRow
    from monitor.score.water import WaterRow

ONE_THREAD: Final = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""The arrays are small: numpy's own threads would only fight with the other processes."""
LOOK_EVERY_S: Final = 0.5


@light
class Result:
    """Everything that was scored, and the verdicts."""

    tins: int
    batches: int
    table: Table
    cells: dict[Where, Cell]
    lost: tuple[LostRow, ...]
    stops: tuple[StopRow, ...]
    water: tuple[WaterRow, ...]
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


def scored_tins(
    folders: Sequence[Path], jobs: int = 1, *, unlearned: bool = True, prepare: Callable[[], None] | None = None
) -> Iterator[TinRows]:
    """Score tins, in whichever order they are done. Raises ScoreProblem at the first that cannot be scored.

    ``prepare`` is called in each process before its first tin; with one, nothing is scored in this very process.
    """
    work = partial(score_tin, unlearned=unlearned)
    if prepare is None and (jobs <= 1 or len(folders) == 1):
        yield from map(work, folders)
        return
    processes = min(jobs, len(folders))
    with (
        _one_thread_each(),
        ProcessPoolExecutor(processes, mp_context=get_context("spawn"), initializer=prepare) as pool,
    ):
        running = [pool.submit(work, folder) for folder in folders]
        try:
            for done in as_completed(running):
                yield done.result()
        except BrokenProcessPool as error:
            raise ScoreProblem(f"a process that scored tins died ({error}); try again with --jobs 1") from None
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


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
    water = tuple(row for tin in ordered for row in tin.water)
    return Result(
        tins=len(ordered),
        batches=sum(tin.batches for tin in ordered),
        table=table,
        cells=found,
        lost=tuple(row for tin in ordered for row in tin.lost),
        stops=stops,
        water=water,
        verdicts=tuple(judge(found, stops, water, widen)),
        widen=widen,
    )


def score(
    folder: Path,
    jobs: int = 1,
    *,
    unlearned: bool = True,
    widen: float = 0.0,
    prepare: Callable[[], None] | None = None,
) -> Result:
    """Score a folder of tins; with one job in this very process, unless ``prepare``. Raises ScoreProblem."""
    return summed_up(list(scored_tins(tin_folders(folder), jobs, unlearned=unlearned, prepare=prepare)), widen)


@light
class Population:
    """What the simulator is asked for: ``tins`` of ``batches`` each, and ``new_tins`` of one batch."""

    tins: int
    batches: int
    new_tins: int = 0

    @property
    def all_tins(self) -> int:
        return self.tins + self.new_tins

    def __str__(self) -> str:
        more = f" and {self.new_tins} of one batch" if self.new_tins else ""
        return f"{self.tins} tins of {self.batches} batches{more}"


def simulate(
    out: Path, wanted: Population, seed: int, jobs: int = 1, told: Callable[[int], None] = lambda _: None
) -> None:
    """Have a population written into ``out``, an empty folder, by the simulator, which knows nothing of the monitor.

    ``told`` learns of tins as they are there. Raises ScoreProblem.
    """
    options: dict[str, Any] = {
        "--tins": wanted.tins, "--batches": wanted.batches, "--new-tins": wanted.new_tins,
        "--seed": seed, "--jobs": jobs, "--out": out,
    }  # fmt: skip
    command = [sys.executable, "-m", "simulator", "population"]
    for name, value in options.items():
        command += [name, str(value)]
    there = 0
    with tempfile.TemporaryFile() as said, _ended(command, said) as process:
        while process.returncode is None:
            with suppress(subprocess.TimeoutExpired):
                process.wait(LOOK_EVERY_S)
            now = sum(1 for path in out.iterdir() if not path.name.startswith("."))
            told(now - there)
            there = now
        if process.returncode != 0:
            said.seek(0)
            last = said.read().decode(errors="replace").strip().rpartition("\n")[2]
            raise ScoreProblem(
                f"the simulator ended with code {process.returncode} and wrote no whole population: {last}"
            )


@contextmanager
def _ended(command: list[str], said: IO[bytes]) -> Iterator[subprocess.Popen[bytes]]:
    """A process that does not outlive its caller."""
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=said)
    try:
        yield process
    finally:
        if process.returncode is None:
            process.terminate()
            process.wait()
