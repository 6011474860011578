"""All tins of a population, on one core or several. Each tin has chances of its own, so the number of jobs changes nothing."""

from __future__ import annotations

import shutil
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import cache
from multiprocessing import get_context
from typing import TYPE_CHECKING

from simulator.population.batches import Shelf, TinYear
from simulator.population.folder import write_tin
from simulator.population.outdoors import STATIONS, hourly_c

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

LEARNED = 5  # batches after which a tin counts as known
MOST_BATCHES = 60


class CannotWrite(Exception):  # noqa: N818  (the message says what stands in the way)
    """The folder cannot be used or written."""


@dataclass(frozen=True, slots=True)
class Order:
    """What is asked for: ``batches`` of each of ``tins``, and after these ``new_tins`` of one batch each."""

    out: Path
    tins: int
    batches: int
    seed: int
    new_tins: int = 0

    @property
    def all_tins(self) -> int:
        return self.tins + self.new_tins

    def batches_of(self, number: int) -> int:
        """How many batches the tin of that number (from 1) has."""
        return self.batches if number <= self.tins else 1

    def name(self, number: int) -> str:
        """The tin's id; the same in every population of the seed, however large."""
        return f"tin-{number:04d}"


def populate(order: Order, jobs: int, one_done: Callable[[int], None]) -> None:
    """Write all tins below ``order.out``, which must be empty or not exist; ``one_done`` is told of each tin (1).

    A tin's folder appears when it is complete. Raises CannotWrite and NoWeather.
    """
    for station in STATIONS:
        hourly_c(station)
    try:
        order.out.mkdir(parents=True, exist_ok=True)
        if any(order.out.iterdir()):
            raise CannotWrite(f"{order.out} is not empty; give a folder that is empty or does not exist yet")
        _all(order, jobs, one_done)
    except OSError as error:
        raise CannotWrite(f"{error.filename or order.out}: cannot be written: {error.strerror}") from error


def _all(order: Order, jobs: int, one_done: Callable[[int], None]) -> None:
    if jobs == 1:
        for number in range(1, order.all_tins + 1):
            write_one(order, number)
            one_done(1)
        return
    with ProcessPoolExecutor(min(jobs, order.all_tins), mp_context=get_context("spawn")) as pool:
        running = [pool.submit(write_one, order, number) for number in range(1, order.all_tins + 1)]
        try:
            for done in as_completed(running):
                done.result()
                one_done(1)
        except BrokenProcessPool as error:
            raise CannotWrite(f"a worker died ({error}); try again with --jobs 1 and an empty folder") from error
        finally:
            pool.shutdown(cancel_futures=True)


@cache
def _shelf(seed: int) -> Shelf:
    return Shelf(seed)


def write_one(order: Order, number: int) -> None:
    """Draw and write one tin. Raises OSError."""
    name = order.name(number)
    year = TinYear(_shelf(order.seed), name)
    part = order.out / f".{name}.part"
    shutil.rmtree(part, ignore_errors=True)
    part.mkdir()
    write_tin(part, year, year.batches(order.batches_of(number)), order.seed)
    part.rename(order.out / name)
