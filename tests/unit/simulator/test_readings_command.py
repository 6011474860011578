from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from simulator.cli import main
from simulator.scenario import load

SHED = Path(__file__).parents[3] / "config" / "shed.scenario.toml"


def written(folder: Path, *options: str) -> tuple[list[list[str]], list[dict[str, Any]], list[dict[str, Any]]]:
    files = {"--out": folder / "R.csv", "--log": folder / "L.jsonl", "--truth": folder / "T.jsonl"}
    arguments = [str(part) for pair in files.items() for part in pair]
    result = CliRunner().invoke(main, ["readings", str(SHED), *arguments, *options])
    assert result.exit_code == 0, result.output
    rows = list(csv.reader(files["--out"].read_text().splitlines()))
    lines = [[json.loads(line) for line in files[name].read_text().splitlines()] for name in ("--log", "--truth")]
    return rows, lines[0], lines[1]


def test_the_folder_holds_readings_log_and_truth_of_one_world(tmp_path: Path) -> None:
    """Readings agree with the truth beside them, and the log names the batches of the truth."""
    rows, log, truth = written(tmp_path, "--history", "6 h", "--until", "4:00")
    assert rows[0] == ["time", "probe", "value"]
    assert [row[0] for row in rows[1:]] == sorted(row[0] for row in rows[1:])
    assert {row[1] for row in rows[1:]} == {probe.id for probe in load(SHED).probe}
    # The probe in ash has a noise of 0.03 C and steps of 1/16 C; a minute apart the water moves by less than 0.1 C.
    ash = {row[0][:16]: float(row[2]) for row in rows[1:] if row[1] == "ash-water"}
    true = {
        line["time"][:16]: line["water_c"] for line in truth if line["what"] == "vessel" and line["vessel"] == "ash"
    }
    errors = [ash[minute] - true[minute] for minute in ash.keys() & true.keys()]
    assert len(errors) > 50
    assert np.max(np.abs(errors)) < 0.03 * 5 + 0.0625 / 2 + 0.1
    stopped = {line["time"] for line in truth if line.get("vessel") == "birch" and line.get("pump") == 0.0}
    assert min(stopped) == "2026-03-03T19:00:00Z"
    watts = [(row[0], float(row[2])) for row in rows[1:] if row[1] == "birch-air"]
    assert all((watt < 1.0) == (time >= "2026-03-03T19:00:00Z") for time, watt in watts)
    outcomes = {line["batch"]: line for line in truth if line["what"] == "outcome"}
    starts = [event for event in log if event["event"] == "start"]
    assert {event["batch"]: event["time"] for event in starts} == {name: o["start"] for name, o in outcomes.items()}
    assert all(line["t10"] < line["t50"] < line["t90"] for line in outcomes.values())


def test_the_same_command_writes_the_same_bytes(tmp_path: Path) -> None:
    """Two runs of one scenario are equal byte for byte."""
    folders = [tmp_path / name for name in ("one", "two")]
    for folder in folders:
        folder.mkdir()
        written(folder, "--history", "2 h", "--until", "1:00")
    for name in ("R.csv", "L.jsonl", "T.jsonl"):
        assert (folders[0] / name).read_bytes() == (folders[1] / name).read_bytes()


def test_the_whole_shed_moves_with_the_epoch(tmp_path: Path) -> None:
    """With another epoch every offset counts from there."""
    rows, log, _ = written(tmp_path, "--sim-epoch", "2026-04-01T12:00:00+02:00", "--history", "30 min", "--until", "0")
    assert rows[1][0] >= "2026-04-01T09:30:00Z"
    assert rows[-1][0] <= "2026-04-01T10:00:00Z"
    assert {event["time"] for event in log[-3:]} == {
        "2026-03-31T09:00:00Z",
        "2026-03-31T13:00:00Z",
        "2026-04-01T08:00:00Z",
    }
    assert log[0]["time"] == "2026-03-29T12:00:00Z"


def test_the_demo_tells_its_story(tmp_path: Path) -> None:
    """Birch has hatched, ash is within hours of its hatch, the night is cold and cedar's probe falls silent."""
    rows, _, truth = written(tmp_path, "--history", "2 d", "--until", "12:00")
    start = "2026-03-03T18:00:00Z"
    outcomes = {line["vessel"]: line for line in truth if line["what"] == "outcome"}
    assert outcomes["birch"]["t90"] < start < outcomes["ash"]["t90"] < "2026-03-03T22:00:00Z"
    assert outcomes["cedar"]["t10"] > "2026-03-04T06:00:00Z"
    waters = [line for line in truth if line["what"] == "vessel"]
    assert all(23.5 < line["water_c"] < 26.5 for line in waters if line["time"] <= "2026-03-03T21:00:00Z")
    ash = {line["time"]: line["water_c"] for line in waters if line["vessel"] == "ash"}
    assert ash["2026-03-03T21:10:00Z"] - ash["2026-03-03T22:10:00Z"] > 2.0  # a cold snap by the starting limits
    cedar = sorted(row[0] for row in rows[1:] if row[1] == "cedar-water")
    assert not [time for time in cedar if "2026-03-04T00:00:00Z" <= time < "2026-03-04T04:00:00Z"]
    spikes = [row for row in rows[1:] if row[2] == "85.0"]
    assert len(spikes) == 2
    assert all(probe.tells_time for probe in load(SHED).probe)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--history", "9 d"], "lengthen lead"),
        (["--history", "5"], "allowed is a text"),
        (["--sim-epoch", "2026-03-03T18:00:00"], "no time zone"),
        (["--sim-epoch", "tonight"], "RFC 3339"),
    ],
)
def test_options_that_make_no_sense_are_told(tmp_path: Path, options: list[str], words: str) -> None:
    """A bad option ends with exit code 2, says what is allowed and writes nothing."""
    out = tmp_path / "R.csv"
    result = CliRunner().invoke(main, ["readings", str(SHED), "--out", str(out), *options])
    assert result.exit_code == 2
    assert words in " ".join(result.output.split())
    assert not out.exists()


def test_a_bad_scenario_ends_with_exit_code_2(tmp_path: Path) -> None:
    """Mistakes of the file are told with their place."""
    bad = tmp_path / "bad.toml"
    bad.write_text(SHED.read_text().replace("depth_c = 9.0", "depth_c = 90.0"))
    result = CliRunner().invoke(main, ["readings", str(bad), "--out", str(tmp_path / "R.csv")])
    assert result.exit_code == 2
    assert "/room/spell/0/depth_c" in result.output
