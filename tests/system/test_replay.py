from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import air, configuration, said, swimup, water

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.system

BEGIN = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
START = {
    "time": "2026-03-01T07:00:00Z",
    "event": "start",
    "batch": "one",
    "vessel": "ash",
    "lot": "tin-7",
    "cysts_g": 2,
    "litres": 1.5,
    "salinity_g_l": 25,
}


def night(folder: Path, *, rows: tuple[str, ...] = (), events: tuple[object, ...] = ()) -> list[str]:
    """A day and a half at 28 C on file, with further rows and events at the end; the command that replays it."""
    config, readings, log = folder / "swimup.toml", folder / "readings.csv", folder / "log.jsonl"
    config.write_text(configuration("mqtt://127.0.0.1:1883", water("ash"), air("ash")))
    lines = ["time,probe,value"]
    for minutes in range(0, 36 * 60, 10):
        when = (BEGIN + timedelta(minutes=minutes)).isoformat().replace("+00:00", "Z")
        lines += [f"{when},ash-water,28.0", f"{when},ash-air,on"]
    readings.write_text("\n".join([*lines, *rows]) + "\n")
    log.write_text("".join(f"{one if isinstance(one, str) else json.dumps(one)}\n" for one in (START, *events)))
    return ["replay", "--config", str(config), "--readings", str(readings), "--log", str(log), "--every", "1 h"]


def test_replay_says_the_same_twice(tmp_path: Path) -> None:
    """Replayed twice, a recorded night gives the same bytes: a line per hour, and a hatch when 28 C lets one expect it."""
    command = night(tmp_path)
    first, second = swimup(*command), swimup(*command)
    assert (first.returncode, second.returncode) == (0, 0), first.stderr
    assert first.stdout == second.stdout
    lines = [json.loads(line) for line in first.stdout.splitlines()]
    assert [line["time"] for line in lines[:2]] == ["2026-03-01T07:00:00Z", "2026-03-01T08:00:00Z"]
    assert len(lines) == 35
    for line in lines[1:12]:  # before anything of it can be seen
        ready = datetime.fromisoformat(line["ready"]["mid"])
        assert timedelta(hours=15) <= ready - BEGIN - timedelta(hours=1) <= timedelta(hours=30)
    assert lines[-1]["water_c"] == 28.0
    assert lines[-1]["stage"] in ("ready", "past")


@pytest.mark.parametrize(
    ("row", "found"),
    [
        ("2026-03-02T18:00:00,ash-water,28.0", "time '2026-03-02T18:00:00'"),
        ("yesterday,ash-water,28.0", "time 'yesterday'"),
        ("2026-03-02T18:00:00Z,oak-water,28.0", "probe 'oak-water'"),
        ("2026-03-02T18:00:00Z,ash-water,warm", "warm"),
        ("2026-03-02T18:00:00Z,ash-water,nan", "nan"),
        ("2026-03-02T18:00:00Z,ash-air,perhaps", "perhaps"),
        ("2026-03-02T18:00:00Z,ash-water", "2 columns"),
    ],
)
def test_a_row_that_cannot_be_used_is_told(tmp_path: Path, row: str, found: str) -> None:
    """A row of readings that can't be used ends the replay with exit code 2, file, line, what was found and what is allowed."""
    done = said(*night(tmp_path, rows=(row,)))
    assert done.returncode == 2
    assert f"{tmp_path / 'readings.csv'}, line {2 + 2 * 36 * 6}: found " in done.stderr
    assert found in done.stderr
    assert "; allowed is " in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("event", "found"),
    [
        ("{not json", "the line"),
        ({"time": "2026-03-01T09:00:00Z", "event": "fed", "batch": "one"}, "fed"),
        ({"time": "2026-03-01T09:00:00", "event": "discard", "batch": "one"}, "time"),
        ({"time": "2026-03-01T09:00:00Z", "event": "seen", "batch": "one", "what": "plenty"}, "what"),
        (
            {"time": "2026-03-01T09:00:00Z", "event": "harvest", "batch": "one", "hatched_fraction": 60},
            "hatched_fraction",
        ),
        ({**START, "cysts_g": "two"}, "cysts_g"),
    ],
)
def test_an_event_that_cannot_be_used_is_told(tmp_path: Path, event: object, found: str) -> None:
    """An event that can't be used ends the replay with exit code 2, file, line, what was found and what is allowed."""
    done = said(*night(tmp_path, events=(event,)))
    assert done.returncode == 2
    assert f"{tmp_path / 'log.jsonl'}, line 2: found " in done.stderr
    assert found in done.stderr
    assert "; allowed is " in done.stderr
    assert "Traceback" not in done.stderr


def test_an_event_that_makes_no_sense_is_told(tmp_path: Path) -> None:
    """An event for a batch that is not there ends the replay with exit code 2 and says when it was logged and why."""
    event = {"time": "2026-03-01T09:00:00Z", "event": "discard", "batch": "two"}
    done = said(*night(tmp_path, events=(event,)))
    assert done.returncode == 2
    assert "2026-03-01T09:00:00Z" in done.stderr
    assert "there is no batch two; open batches: one" in done.stderr
