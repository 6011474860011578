from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from monitor.cli import swimup
from monitor.core import hatch
from monitor.core.model import HOUR
from monitor.core.replay import forecasts_at
from monitor.intake.recorded import entries, readings
from monitor.score.cells import Where
from monitor.score.metrics import crps_of_normal
from monitor.score.problem import ScoreProblem
from monitor.score.rows import score_tin
from monitor.score.run import Population, score, simulate
from monitor.score.table import FLOOR, MODEL
from monitor.settings.loader import load
from tests.unit.score.worlds import T0, write_tin

if TYPE_CHECKING:
    from pathlib import Path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(swimup, ["score", *map(str, arguments)])


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three tins of two batches."""
    for k, hours in enumerate((22.0, 26.0, 31.0)):
        write_tin(tmp_path / "tins" / f"tin-{k}", (hours, hours + 1))
    return tmp_path / "tins"


def test_a_folder_is_scored_whole(folder: Path, tmp_path: Path) -> None:
    """Report, JSON and picture are written; every tin and batch is in them at every age that its log reaches."""
    out = {name: tmp_path / f"out.{name}" for name in ("md", "json", "svg")}
    done = run("--folder", folder, "--jobs", 1, "--markdown", out["md"], "--json", out["json"], "--picture", out["svg"])
    assert (done.exit_code, done.stdout) == (0, "")
    found = json.loads(out["json"].read_text())
    assert (found["tins"], found["batches"]) == (3, 6)
    new = {c["point"]: c for c in found["cells"] if c["group"] == "new" and c["room"] == c["season"] == "all"}
    assert {point: cell["n"] for point, cell in new.items()} == {
        "0.6 h": 3, "6 h": 3, "12 h": 3, "18 h": 3, "24 h": 3, "share counted": 3,
    }  # fmt: skip
    assert set(new["6 h"]["scores"]) == {"model", "floor", "always 24 h", "degree-hours", "last batch"}
    assert "### New tins" in out["md"].read_text()
    assert b"<svg" in out["svg"].read_bytes()


def test_the_score_is_that_of_what_was_told(folder: Path) -> None:
    """Error and range of a row are those of the estimate that the core gives for the same files."""
    tin = folder / "tin-1"
    settings = load(tin / "swimup.toml")
    start = round(T0.timestamp() * 1000)
    (told,) = forecasts_at(
        settings.site_spec(),
        list(readings(tin / "readings.csv", settings.bindings())),
        list(entries(tin / "log.jsonl")),
        [(start + 12 * HOUR, "b1")],
    )
    (row,) = [row for row in score_tin(tin).rows if row.batch == "b1" and row.point == "12 h"]
    ends = told.estimate.t90.lo, told.estimate.t90.mid, told.estimate.t90.hi
    assert row.model[:3] == pytest.approx([(end - start) / HOUR for end in ends if end is not None])
    assert row.truth_h == 26.0
    assert row.model.crps < abs(float(row.model.mid) - 26.0) + 5
    assert 0 < row.model.place < 1


def test_the_last_batch_is_the_tins_own(folder: Path) -> None:
    """The rule of the last batch says 24 h for a tin's first and the true T90 of the first for its second."""
    rows = [row for row in score_tin(folder / "tin-2").rows if row.point == "6 h"]
    assert [row.baselines["last batch"] for row in rows] == [24.0, 31.0]


def test_processes_change_nothing(folder: Path) -> None:
    """Two processes find what one finds."""
    one, two = (score(folder, jobs) for jobs in (1, 2))
    assert one.cells == two.cells


def test_a_perfect_floor_is_scored_as_one(tmp_path: Path) -> None:
    """A floor whose quantiles all lie at the truth has no error, and the model none that is smaller."""
    result = score(write_tin(tmp_path / "tin", (24.0,), floor={"new": {"start": [24.0] * 99}}))
    scores = result.cells[Where("12 h", "new")].scores
    assert (scores[FLOOR]["mae"].value, scores[FLOOR]["coverage"].value) == (0.0, 1.0)
    assert scores[FLOOR]["crps"].value == pytest.approx(0.0, abs=1e-9)
    assert scores[MODEL]["crps"].value > 0


def test_known_tins_are_told_with_and_without_learning(tmp_path: Path) -> None:
    """From the sixth batch on the start is told twice; a slow tin that was learned is told later than one that was not."""
    looks = ({"hour": 26.0, "what": "first"}, {"hour": 32.0, "what": "some", "fraction": 0.3})
    tin = write_tin(tmp_path / "slow", (36.0,) * 6, looks=looks)
    (row,) = [row for row in score_tin(tin).rows if row.group == "known" and row.point == "0.6 h"]
    assert row.unlearned is not None
    assert row.model.mid > row.unlearned.mid
    assert all(row.unlearned is None for row in score_tin(tin, unlearned=False).rows)


def test_lost_batches_stand_apart(tmp_path: Path) -> None:
    """A batch of which none hatched is in no cell and is told by itself."""
    result = score(write_tin(tmp_path / "tin", (24.0, None)))
    assert {row.batch for row in result.lost} == {"b2"}
    assert result.cells[Where("6 h", "new")].n == 1
    assert Where("6 h", "learning") not in result.cells


def test_air_stops_count_from_the_last_reading_with_air(tmp_path: Path) -> None:
    """A stop 4 min after a reading with air adds these to the truth; one that no reading showed is not scored."""
    begin = 12 + 4 / 60
    tin = score_tin(write_tin(tmp_path / "tin", (24.0,), air_off=(begin, 14.0, 50.0)))
    (row,) = tin.stops
    assert row.truth == pytest.approx(54.0)
    assert row.lo is not None
    assert 0 < row.lo < 600
    short = (12.05, 12.1, 50.0)
    assert score_tin(write_tin(tmp_path / "short", (24.0,), air_off=short)).stops == []


def test_later_readings_do_not_reach_back(tmp_path: Path) -> None:
    """A row does not change when the water turns cold after it."""
    plain = score_tin(write_tin(tmp_path / "a" / "tin", (24.0,)))
    colder = score_tin(write_tin(tmp_path / "b" / "tin", (24.0,), water_c=lambda hour: 25.0 if hour < 13 else 12.0))
    early = [[asdict(row) for row in found.rows if row.age_h <= 12] for found in (plain, colder)]
    assert len(early[0]) == 3
    assert early[0] == early[1]


@pytest.mark.parametrize(
    ("file", "content", "part"),
    [
        ("truth.jsonl", '{"batch": "b1"}\n', "truth.jsonl, line 1: tin"),
        ("readings.csv", "time,probe,value\n2026-03-02T19:00:00Z,oak,1\n", "probe 'oak'"),
        ("log.jsonl", "", "batch 'b1' has no start in the log"),
        ("swimup.toml", "[site]\n", "/site/id"),
    ],
)
@pytest.mark.parametrize("jobs", [1, 2])
def test_what_cannot_be_scored_is_told(folder: Path, file: str, content: str, part: str, jobs: int) -> None:
    """A bad file ends the run with exit code 2 and a sentence that names it, in this process or another."""
    (folder / "tin-1" / file).write_text(content)
    done = run("--folder", folder, "--jobs", jobs)
    assert done.exit_code == 2
    assert part in done.stderr


def test_an_empty_folder_is_told(tmp_path: Path) -> None:
    """A folder without a tin is no success."""
    done = run("--folder", tmp_path)
    assert done.exit_code == 2
    assert "found no tin" in done.stderr


@pytest.mark.parametrize("arguments", [(), ("--simulated", "--folder", ".")])
def test_one_source(arguments: tuple[Any, ...]) -> None:
    """Either a folder or the simulator, not both and not neither."""
    done = run(*arguments)
    assert done.exit_code == 2
    assert "either --folder DIR or --simulated" in done.stderr


def test_a_broken_limit_ends_a_check_with_one(tmp_path: Path) -> None:
    """``--check`` gives exit code 1 when a limit is broken and 0 when none is judged."""
    for k in range(20):
        write_tin(tmp_path / "late" / f"tin-{k:02}", (90.0,), looks=())
    late = run("--folder", tmp_path / "late", "--check", "--skip-unlearned")
    assert (late.exit_code, "**broken**" in late.stdout) == (1, True)
    few = run("--folder", tmp_path / "late" / "tin-00", "--check")
    assert few.exit_code == 0


def test_the_same_data_give_the_same_picture(folder: Path, tmp_path: Path) -> None:
    """Drawn twice, the file is the same byte for byte, and a suffix that cannot be drawn is told."""
    for name in ("a.svg", "b.svg"):
        assert run("--folder", folder / "tin-0", "--picture", tmp_path / name).exit_code == 0
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    odd = run("--folder", folder / "tin-0", "--picture", tmp_path / "a.odd")
    assert (odd.exit_code, "allowed are .svg, .png and .pdf" in odd.stderr) == (2, True)


@pytest.mark.system
def test_simulated_batches_are_scored() -> None:
    """The simulator's own population is read and scored; a call that it refuses ends with exit code 2."""
    done = run("--simulated", "--tins", 2, "--batches", 2, "--seed", 4, "--jobs", 1)
    assert done.exit_code == 0
    assert done.stdout.startswith("Scored: simulated, 2 tins of 2 batches, seed 4. 4 batches of 2 tins, ")
    assert run("--simulated", "--tins", 1, "--seed", -1).exit_code == 2


def test_the_picture_is_made_from_the_data() -> None:
    """Places spread evenly lie on the diagonal; places at the edges fall below it."""
    from monitor.score.picture import LEVELS, coverage

    even = (np.arange(1000) + 0.5) / 1000
    assert coverage(even) == pytest.approx(LEVELS, abs=0.002)
    assert (coverage(np.where(even < 0.5, 0.02, 0.98))[:8] == 0).all()


def test_the_water_is_told_ahead_and_compared(tmp_path: Path) -> None:
    """A row is the core's forecast, the newest reading and the mean of the readings around the hour that it speaks of."""

    def cooling(hour: float) -> float:
        return 25.0 - 0.1 * max(hour, 0.0)

    tin = score_tin(write_tin(tmp_path / "tin", (24.0,), water_c=cooling))
    (row,) = [row for row in tin.water if (round(row.age_h, 1), row.ahead_h) == (6.0, 12)]
    assert row.newest == pytest.approx(cooling(6.0), abs=0.02)
    assert row.truth == pytest.approx(cooling(18.0), abs=0.02)
    assert row.held_loss == pytest.approx(1.2, abs=0.05)
    assert row.sd > 0
    assert row.loss == pytest.approx(float(crps_of_normal(*(np.array([x]) for x in (row.mean, row.sd, row.truth)))[0]))


def test_water_that_no_record_tells_is_not_scored(tmp_path: Path) -> None:
    """Nothing is asked of the hours after the batch was over, nor of a heater that fails before nobody could know."""
    plain = score_tin(write_tin(tmp_path / "a", (24.0,)))  # harvested after 28 h
    assert max(row.age_h + row.ahead_h for row in plain.water) <= 28
    fails = "2026-03-03T15:00:00Z"  # 20 h after the start
    failing = score_tin(write_tin(tmp_path / "b", (24.0,), heater_failure=fails))
    asked = {(round(row.age_h, 1), row.ahead_h) for row in failing.water}
    assert (12.0, 6) in asked
    assert (12.0, 12) not in asked
    assert (24.0, 3) in asked


def test_preparing_spoils_other_processes_only(folder: Path) -> None:
    """What is done before the first tin changes what is scored, and nothing in this process."""
    before = score(folder)
    spoilt = score(folder, prepare=always_cold)
    assert spoilt.cells != before.cells
    assert score(folder).cells == before.cells


def always_cold() -> None:
    hatch.HALF_MEDIAN_H = 40.0  # type: ignore[misc]


def test_a_process_that_dies_is_told(folder: Path) -> None:
    """A worker that cannot begin ends the run with a sentence and does not hang."""
    with pytest.raises(ScoreProblem, match="a process that scored tins died"):
        score(folder, 2, prepare=cannot_begin)


def cannot_begin() -> None:
    raise SystemExit(3)


def test_a_simulator_that_fails_is_quoted(tmp_path: Path) -> None:
    """What the simulator says last stands in the message."""
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(ScoreProblem, match="is not empty; give a folder that is empty"):
        simulate(tmp_path, Population(1, 1), 1)
