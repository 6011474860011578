"""The forecasts against every limit, over a hundred simulated batches: what each change of the model must pass."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

import pytest
from click.testing import CliRunner

from monitor.cli import swimup
from monitor.score.limits import AIR_INSIDE, AIR_TOO_LATE, LIMITS, WATER
from tests.once import once

if TYPE_CHECKING:
    from pathlib import Path

# 96 batches of 12 tins, of which the last 36 are of known tins, and 12 more of new ones; the same each time.
POPULATION: Final = ("--tins", "12", "--batches", "8", "--new-tins", "12", "--seed", "20130601")
WIDEN: Final = "3"
SCORE: Final = "score.json"
EXIT: Final = "exit"
NAMES: Final = (*(limit.name for limit in LIMITS), AIR_INSIDE, AIR_TOO_LATE, WATER)
JUDGED: Final = {"coverage", "new tin at the start", "new tin later", "no rule is better", "learning", WATER}
"""The others speak of fewer batches than can be judged in a run as short as this."""


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What ``swimup score --widen 3 --check`` found, by name of the limit; its exit code as ``exit``."""
    folder = once(tmp_path_factory, "score-limits", run)
    limits = json.loads((folder / SCORE).read_text())["limits"]
    return {limit["name"]: limit for limit in limits} | {"exit": int((folder / EXIT).read_text())}


def run(folder: Path) -> None:
    """Leaves in the folder what the command found and its exit code."""
    arguments = ["score", "--simulated", *POPULATION, "--widen", WIDEN, "--check", "--jobs", "2"]
    done = CliRunner().invoke(swimup, [*arguments, "--json", str(folder / SCORE)])
    assert done.exit_code in (0, 1), done.output
    (folder / EXIT).write_text(str(done.exit_code))


@pytest.mark.parametrize("name", NAMES)
def test_a_limit_holds(told: dict[str, Any], name: str) -> None:
    """Widened by three standard errors, no cell with enough batches breaks this limit."""
    limit = told[name]
    broken = sorted(
        (cell for cell in limit["cells"] if cell["judged"] and not cell["holds"]), key=lambda c: c["margin"]
    )
    assert broken == [], f"{name} ({limit['promise']}) is broken in {len(broken)} cells, worst: {broken[0]}"


def test_a_short_run_judges_what_it_can(told: dict[str, Any]) -> None:
    """Coverage, new tins, rules, learning and the water are judged in such a run, and its exit code says whether all hold."""
    assert {name for name in JUDGED if told[name]["passed"] is None} == set()
    assert told["exit"] == int(any(told[name]["passed"] is False for name in NAMES))
