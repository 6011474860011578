"""What a recorded log says of cold stores and of work on a vessel."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.log import Chill, Emptied, Work
from monitor.core.model import HOUR
from monitor.intake.recorded import RecordProblem, entries

if TYPE_CHECKING:
    from pathlib import Path

TIME = "2026-03-02T07:00:00Z"
AT = 1_772_434_800_000
CHILL: dict[str, Any] = {"time": TIME, "event": "chill", "store": "fridge", "nauplii": 200_000, "litres": 0.5}


def recorded(folder: Path, *lines: dict[str, Any]) -> Path:
    path = folder / "log.jsonl"
    path.write_text("\n".join(json.dumps(line) for line in lines))
    return path


def test_work_on_a_vessel_is_read(tmp_path: Path) -> None:
    """Whoever replays a night hears no more of a vessel somebody worked on than the keeper did."""
    path = recorded(tmp_path, {"time": TIME, "event": "work", "vessel": "cedar", "until": "2026-03-02T08:00:00Z"})
    assert list(entries(path)) == [Work(AT, AT, "cedar", AT + HOUR)]


def test_chilled_and_emptied_are_read(tmp_path: Path) -> None:
    """A line each; what is not said is an open vessel without aeration, of no batch that is told."""
    bag = {"gas": "oxygen", "gas_l": 1.0, "batch": "b1", "logged": "2026-03-02T08:00:00Z"}
    path = recorded(tmp_path, CHILL, CHILL | bag, {"time": TIME, "event": "emptied", "store": "fridge"})
    assert list(entries(path)) == [
        Chill(AT, AT, "fridge", 200_000, 0.5, "open", 0.0, aerated=False, batch=""),
        Chill(AT, AT + 3_600_000, "fridge", 200_000, 0.5, "oxygen", 1.0, aerated=False, batch="b1"),
        Emptied(AT, AT, "fridge"),
    ]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"nauplii": 0}, "chill/nauplii: .*greater than 0.*for chill: time, logged, event, store, nauplii"),
        ({"gas": "nitrogen"}, "chill/gas: .*'open', 'air' or 'oxygen'"),
        ({"event": "chilled"}, "one of start, .*chill, emptied"),
    ],
)
def test_what_cannot_be_read_is_told_with_its_line(tmp_path: Path, change: dict[str, Any], told: str) -> None:
    """File, line, what was found, what is allowed."""
    with pytest.raises(RecordProblem, match=f"line 2: found {told}" if "one of" not in told else told):
        list(entries(recorded(tmp_path, CHILL, CHILL | change)))
