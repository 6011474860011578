"""What a recorded log says of tins, feedings, broods and corrections."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

import pytest

from monitor.archive.documents import LOG
from monitor.archive.tables import Names
from monitor.core.log import Undo
from monitor.core.log_food import Brood, BroodEnded, Correct, Counted, Drawn, Eater, Fed, Tin, Weighed
from monitor.intake.recorded import RecordProblem, entries
from monitor.store.records import entry_to_record
from monitor.web.trend_words import told_entry

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.core.log import LogEntry

AT: Final = 1_772_434_800_000  # 2026-03-02T07:00:00Z
FOOD: Final[dict[LogEntry, str]] = {
    Tin(AT, AT, "tin-7", "sfb", 85.0, 50.0, 12.5, 270_000.0, 480.0, AT - 60_007, "cool"): "tin tin-7 (sfb), 50 g",
    Tin(AT, AT + 1, "tin-8"): "tin tin-8",
    Weighed(AT, AT, "tin-7", 41.5): "41.5 g left in tin-7, weighed",
    Fed(AT - 5, AT, "killi-3", 10_000.0, store="fridge"): "fed to killi-3 out of fridge",
    Fed(AT, AT, "", 500.0, batch="b1"): "500 fed of b1",
    Drawn(AT, AT, "fridge", 1000.0, "spilt"): "taken out of fridge: spilt",
    Brood(AT, AT, "killi-3", "killi", 40.0, swam_up=AT + 5, ration=500.0, growth_per_day=0.2, meals=2): "40 larvae",
    Counted(AT, AT, "killi-3", 38.0): "38 larvae counted in killi-3",
    BroodEnded(AT, AT, "killi-3", "moved"): "killi-3 went elsewhere",
    Eater(AT, AT, "adults", 20_000.0, 1, 900.0): "adults gets",
}
ABOUT: Final[tuple[LogEntry, ...]] = (
    Correct(AT, AT, "start", "b1", AT - 9, {"time": AT - 61_007, "cysts_g": 2.25, "lot": "tin-8"}),
    Correct(AT, AT, "tin", "tin-7", AT, {"opened": None}),
    Correct(AT, AT, "fed", "killi-3", AT, gone=True),
    Undo(AT, AT, "correct", "killi-3", AT),
)


def line(entry: LogEntry) -> str:
    """As an export has it."""
    kind, fields = entry_to_record(entry)
    return json.dumps(LOG.document((entry.time, entry.logged, kind, fields), Names({}, {})))


def test_an_export_is_read_for_replay(tmp_path: Path) -> None:
    """Every entry about food, and every correction, is read from an exported log just as it was made."""
    path = tmp_path / "log.jsonl"
    made = [*FOOD, *ABOUT]
    path.write_text("\n".join(map(line, made)))
    assert list(entries(path)) == made


def test_each_is_told_in_a_line() -> None:
    """Whatever is written down of food is one short line on the page of trends; what is about the log itself is none."""
    for entry, told in FOOD.items():
        assert told in told_entry(entry)
    assert [told_entry(entry) for entry in ABOUT] == [""] * len(ABOUT)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"event": "fed", "nauplii": 0}, "fed/nauplii: .*greater than 0.*for fed: time, logged, event, brood, nauplii"),
        ({"event": "tin", "lot": "x", "kept": "oven"}, "tin/kept: .*'room', 'cool' or 'frozen'"),
        (
            {"event": "correct", "kind": "seen", "subject": "b1", "at": "2026-03-02T07:00:00Z"},
            "only these are corrected",
        ),
        ({"event": "undo", "kind": "lapse", "subject": "b1", "at": "2026-03-02T07:00:00Z"}, "only these are undone"),
        (
            {
                "event": "correct",
                "kind": "fed",
                "subject": "a",
                "at": "2026-03-02T07:00:00Z",
                "values": {"time": "2026-03-02"},
            },
            "no time zone",
        ),
    ],
)
def test_what_cannot_be_read_is_told(tmp_path: Path, change: dict[str, Any], told: str) -> None:
    """Line, what was found, and what is allowed."""
    path = tmp_path / "log.jsonl"
    path.write_text(json.dumps({"time": "2026-03-02T07:00:00Z"} | change))
    with pytest.raises(RecordProblem, match=f"line 1: found .*{told}"):
        list(entries(path))
