from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

import pytest

from monitor.score.problem import ScoreProblem
from monitor.score.truth import Truth, truths
from tests.unit.score.worlds import quantiles

if TYPE_CHECKING:
    from pathlib import Path

LINE = {
    "batch": "b1",
    "tin": "t1",
    "k": 1,
    "share": 0.3,
    "season": "cold",
    "start": "2026-03-02T12:00:00Z",
    "t90": "2026-03-03T18:00:00Z",
}
FLOOR = {
    "new": {"start": quantiles(30, 0.2)},
    "known": {"start": quantiles(28, 0.1), "after_failure": quantiles(40, 0.1)},
}


def truth(**changes: Any) -> Truth:
    return Truth.model_validate_json(json.dumps(LINE | changes))


@pytest.mark.parametrize(("k", "group"), [(1, "new"), (2, "learning"), (5, "learning"), (6, "known"), (9, "known")])
def test_a_tin_is_known_after_five_batches(k: int, group: str) -> None:
    """The first batch is a new tin's, those from the sixth on a known one's."""
    assert truth(k=k).group == group


def test_half_the_swing_is_the_border_of_a_shed() -> None:
    """A room that passes on half is sheltered, one that passes on more a shed."""
    assert (truth(share=0.5).room, truth(share=0.51).room) == ("sheltered", "shed")


def test_a_heater_failure_counts_from_an_hour_after_its_onset() -> None:
    """Until then it could not be foreseen; from then on the floor knows of it."""
    failing = truth(k=6, heater_failure="2026-03-02T22:00:00Z", floor=FLOOR)
    assert [failing.foreseeable(age) for age in (0.6, 10.5, 11.0, 18.0)] == [False, False, True, True]
    medians = [found[49] for age in (0.6, 12.0) if (found := failing.floor_at(age)) is not None]
    assert medians == pytest.approx([28, 40])


def test_a_failure_after_the_hatch_matters_to_nobody() -> None:
    """Nothing is left out and the floor stays as it was."""
    late = truth(k=6, heater_failure="2026-03-03T19:00:00Z", floor=FLOOR)
    found = late.floor_at(36.0)
    assert late.foreseeable(0.6)
    assert found is not None
    assert found[49] == pytest.approx(28)


def test_a_floor_may_never_come() -> None:
    """A quantile without a number is infinite."""
    found = truth(floor={"new": {"start": [*quantiles(30, 0.2)[:98], None]}}).floor_at(1.0)
    assert found is not None
    assert math.isinf(found[98])


@pytest.mark.parametrize(("changes", "hours"), [({}, 30.0), ({"lost": True}, None), ({"t90": None}, None)])
def test_a_lost_batch_has_no_time(changes: dict[str, Any], hours: float | None) -> None:
    """T90 counts from the start; a batch that is lost has none."""
    assert truth(**changes).hours == hours


@pytest.mark.parametrize(
    ("line", "part"),
    [
        ("{", "the line"),
        (json.dumps(LINE | {"season": "wet"}), "season"),
        (json.dumps(LINE | {"start": "2026-03-02T12:00:00"}), "start"),
        (json.dumps({"batch": "b1"}), "tin"),
        (json.dumps(LINE | {"floor": {"new": {"start": [1.0]}}}), "floor/new/start"),
    ],
)
def test_a_bad_line_is_named(tmp_path: Path, line: str, part: str) -> None:
    """The message has the file, the line, the part that is wrong and what is needed."""
    file = tmp_path / "truth.jsonl"
    file.write_text(json.dumps(LINE) + "\n" + line + "\n")
    with pytest.raises(ScoreProblem) as told:
        truths(file)
    assert str(told.value).startswith(f"{file}, line 2: {part}: ")
    assert "needed are batch, tin, k" in str(told.value)
