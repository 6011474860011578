"""A spoilt model must break a limit in the season of cold nights, on batches on which the true one keeps it."""

from __future__ import annotations

import csv
import json
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
import pytest

from monitor.score.limits import WATER
from monitor.score.run import score
from monitor.score.water import AHEAD_H
from simulator.population.run import Order, write_one
from tests.system import mutants

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from monitor.score.limits import Found
    from monitor.score.run import Result

SEED: Final = 20131101
# By how many standard errors limits are widened. Half way between the true model and a spoilt one, so that either has room;
# without learning the cut is naught without any error, whatever the limit is widened by.
WIDEN_NEW, WIDEN_KNOWN = 1.0, 3.0
JOBS: Final = 2
COOL_C: Final = 20.5  # mean over the first hours: hardly heated, so that the rate in the cold decides
FIRST_H: Final = 18.0
COLD_OF_THREE: Final = 3  # of a known tin's sixth to eighth batch


# Of 700 tins and of 72, those whose batches are the coldest; a tin is the same however many are drawn. To look for them
# anew: all with a cold first batch in such cool water, and the first twelve of those whose last three of eight are cold.
NEW: Final = (
    2, 13, 36, 39, 79, 100, 113, 121, 122, 125, 133, 159, 163, 208, 218, 219, 220,
    245, 265, 275, 323, 347, 383, 392, 399, 499, 501, 547, 572, 582, 638, 643, 662, 670,
)  # fmt: skip
KNOWN: Final = (1, 3, 4, 10, 11, 15, 17, 19, 22, 34, 37, 40)


class Batches(NamedTuple):
    """Simulated tins that were picked by their weather and water, and the score of the model as it is."""

    folder: Path
    widen: float
    result: Result


def lines(tin: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (tin / "truth.jsonl").read_text().splitlines()]


def first_water_c(tin: Path) -> float:
    """Mean of the water over the first hours of a tin's only batch, C."""
    start = datetime.fromisoformat(lines(tin)[0]["start"])
    with (tin / "readings.csv").open() as file:
        told = [(row["time"], float(row["value"])) for row in csv.DictReader(file) if row["probe"] == "jug-water"]
    hours = [(datetime.fromisoformat(time) - start).total_seconds() / 3600 for time, _ in told]
    return float(np.mean([celsius for hour, (_, celsius) in zip(hours, told, strict=True) if 0 <= hour < FIRST_H]))


def written(order: Order, numbers: Iterable[int], chosen: Callable[[Path, list[str]], bool]) -> Path:
    """A folder of the tins of these numbers; each must still be what it was chosen for, by itself and its batches' seasons."""
    order.out.mkdir()
    for number in numbers:
        write_one(order, number)
    for tin in order.out.iterdir():
        assert chosen(tin, [batch["season"] for batch in lines(tin)]), f"{tin.name} is not cold any more: choose anew"
    return order.out


@pytest.fixture(scope="module")
def new_tins(tmp_path_factory: pytest.TempPathFactory) -> Batches:
    """First batches of tins, in the cold season and in cool water."""
    order = Order(tmp_path_factory.mktemp("new") / "tins", 1, 2, SEED, 700)
    folder = written(order, NEW, lambda tin, seasons: seasons == ["cold"] and first_water_c(tin) < COOL_C)
    return Batches(folder, WIDEN_NEW, score(folder, JOBS, unlearned=False, widen=WIDEN_NEW))


@pytest.fixture(scope="module")
def known_tins(tmp_path_factory: pytest.TempPathFactory) -> Batches:
    """Tins of eight batches, the last three of them in the cold season."""
    order = Order(tmp_path_factory.mktemp("known") / "tins", 72, 8, SEED)
    folder = written(order, KNOWN, lambda _, seasons: seasons[-COLD_OF_THREE:] == ["cold"] * COLD_OF_THREE)
    return Batches(folder, WIDEN_KNOWN, score(folder, JOBS, widen=WIDEN_KNOWN))


def cold_cells(result: Result, name: str) -> list[Found]:
    """The judged cells in the cold season of a limit."""
    (verdict,) = [verdict for verdict in result.verdicts if verdict.name == name]
    return [found for found in verdict.judged if found.where.endswith("cold") or ", cold, " in found.where]


def broken(result: Result, name: str) -> Iterator[Found]:
    return (found for found in cold_cells(result, name) if not found.holds)


def caught(batches: Batches, limit: str, spoil: Callable[[], None], *, unlearned: bool = False) -> list[Found]:
    """Where the spoilt model breaks the limit; the true one must have been judged and must keep it."""
    assert cold_cells(batches.result, limit), f"{limit}: no cell of the cold season has enough batches"
    assert list(broken(batches.result, limit)) == [], f"{limit}: the model as it is breaks it"
    spoilt = score(batches.folder, JOBS, unlearned=unlearned, widen=batches.widen, prepare=spoil)
    return list(broken(spoilt, limit))


def test_what_spoils_the_forecast_of_a_new_tin_in_the_cold_is_noticed(new_tins: Batches) -> None:
    """A base that is 4 C too high or too low, and water that is not foreseen, each break the limit that is there for it.

    Too high: told far too late, errors outgrow the floor's. Too low: the medians lie before the floor's. Water that stays at
    its newest value for sure errs too much at every horizon. One test, since the tins are dear to simulate and to score.
    """
    assert caught(new_tins, "cold nights, new tin", mutants.base_too_high)
    (found,) = caught(new_tins, "cold nights, lean", mutants.base_too_low)
    assert found.figure.value < 0
    assert len(caught(new_tins, WATER, mutants.water_stays)) == len(AHEAD_H)


def test_a_model_that_does_not_learn_is_noticed(known_tins: Batches) -> None:
    """Without learning five batches cut nothing off the error at the start, in the cold season either."""
    assert caught(known_tins, "learning, cold and warm", mutants.nothing_learned, unlearned=True)
