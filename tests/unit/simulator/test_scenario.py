from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.scenario import ScenarioError, load, scenario_from
from simulator.scenario.spans import parse_length, parse_offset

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("1:00", 3600),
        ("-22 h", -79_200),
        ("0:30", 1800),
        ("-1:30", -5400),
        ("90 min", 5400),
        ("2 d", 172_800),
        ("1 d 12 h", 129_600),
        ("1.5h", 5400),
        ("0:00:05", 5),
        ("0 s", 0),
    ],
)
def test_spans_are_read_as_people_write_them(text: str, seconds: int) -> None:
    """Hours:minutes and numbers with units mean what they say."""
    assert parse_offset(text) == seconds


@given(st.integers(0, 9999), st.integers(0, 59))
def test_every_clock_span_is_read_exactly(hours: int, minutes: int) -> None:
    """Any hours:minutes before or after the start comes out in whole seconds."""
    assert parse_offset(f"-{hours}:{minutes:02d}") == -(hours * 3600 + minutes * 60)


@pytest.mark.parametrize("text", ["", "-", "1:75", "5", "3 weeks", "2 hours", "h", 60, True, None, "--1:00"])
def test_what_is_no_span_is_refused(text: object) -> None:
    """A span without a unit is never guessed at."""
    with pytest.raises(ValueError, match=r"allowed is|needs a unit|is no span"):
        parse_offset(text)


def test_a_length_must_be_longer_than_nothing() -> None:
    """A period of zero or less is refused."""
    with pytest.raises(ValueError, match="longer than nothing"):
        parse_length("-1 h")


def test_all_mistakes_are_told_at_once_with_their_place(plain: dict[str, Any]) -> None:
    """Each mistake has its own line with a JSON Pointer, and an unknown key its nearest name."""
    plain["room"]["swing"] = 4
    plain["vessel"][0]["litres"] = -1
    plain["probe"][0]["payload"] = {"style": "json", "value": "c"}
    del plain["tin"][0]["id"]
    with pytest.raises(ScenarioError) as caught:
        scenario_from(plain, "shed.toml")
    text = str(caught.value)
    assert len(caught.value.problems) == 4
    assert "/room/swing: unknown key; did you mean 'swing_c'?" in text
    assert "/vessel/0/litres" in text
    assert "/probe/0/payload/value" in text
    assert "/tin/0/id: is missing" in text


def test_tables_are_held_against_each_other(plain: dict[str, Any]) -> None:
    """Names that nothing bears, doubles and overlapping batches are all told."""
    plain["timezone"] = "Europe/Nowhere"
    plain["pump"] = [{"vessel": "oak"}]
    plain["batch"].append({"id": "one", "vessel": "ash", "at": "-1 h", "tin": "tin-9", "cysts_g": 1})
    plain["batch"].append(
        {"id": "early", "vessel": "ash", "at": "-30 h", "tin": "tin-1", "cysts_g": 1, "harvest": "-25 h"}
    )
    with pytest.raises(ScenarioError) as caught:
        scenario_from(plain)
    text = str(caught.value)
    for part in ("/timezone", "'oak'", "'tin-9'", "stands 2 times", "still holds 'one'", "lengthen lead"):
        assert part in text
    assert len(caught.value.problems) == 6


@pytest.mark.parametrize(
    ("table", "change", "words"),
    [
        ("pump", {"failure": [{"at": "1:00"}]}, "exactly one"),
        ("pump", {"failure": [{"at": "1:00", "minutes": 5, "for_good": True}]}, "exactly one"),
        ("probe", {"measures": "room"}, "names none"),
        ("probe", {"unit": "F", "payload": {"style": "senml"}}, "Fahrenheit"),
        ("probe", {"payload": {"style": "json", "value": "/a/b", "time": "/a"}}, "own place"),
        ("probe", {"topic": "shed/#"}, "without . and #"),
        ("batch", {"harvest": "-7 h"}, "harvest must come after"),
        ("tin", {"median_h": 40}, "26"),
    ],
)
def test_values_that_contradict_themselves_are_refused(
    plain: dict[str, Any], table: str, change: dict[str, Any], words: str
) -> None:
    """A table whose values cannot go together is told with its reason."""
    plain[table][0].update(change)
    with pytest.raises(ScenarioError, match=words):
        scenario_from(plain)


def test_a_start_without_a_zone_is_refused(plain: dict[str, Any]) -> None:
    """A naive start would be a guess."""
    plain["start"] = "2026-03-03T18:00:00"
    with pytest.raises(ScenarioError, match="/start"):
        scenario_from(plain)


def test_a_file_that_is_no_toml_is_named(tmp_path: Path) -> None:
    """The message names the file and the line."""
    file = tmp_path / "bad.toml"
    file.write_text("seed = \nsite")
    with pytest.raises(ScenarioError, match=r"bad\.toml: is not TOML.*line 1"):
        load(file)
    with pytest.raises(ScenarioError, match="cannot be read"):
        load(tmp_path / "absent.toml")


def test_a_shed_without_vessels_is_refused(plain: dict[str, Any]) -> None:
    """A scenario without any vessel says what is missing."""
    with pytest.raises(ScenarioError, match="at least one"):
        scenario_from({**plain, "vessel": [], "pump": [], "batch": [], "probe": []})
