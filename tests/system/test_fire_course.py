from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from tests.system.fire import __main__ as command
from tests.system.fire.course import Course, turns
from tests.system.fire.fault import Fault, Tried

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.system.fire.fault import Ground


@dataclass
class Day:
    """A clock that goes on by what is tried."""

    now: float = 0.0

    def passes(self, seconds: float, _: Ground) -> None:
        self.now += seconds


def rows(day: Day) -> list[Tried]:
    quick = Fault("quick", "crash", partial(day.passes, 1.0), short=2, long=50)
    slow = Fault("slow", "clock", partial(day.passes, 60.0), short=1, long=10)
    rare = Fault("rare", "clock", partial(day.passes, 1.0), short=0, long=2)
    return [Tried(one, one.long) for one in (quick, slow, rare)]


def nothing(*_: object) -> None:
    """Nobody looks on."""


def test_all_are_tried_in_equal_shares() -> None:
    """Wherever a long run is cut after the suite's share of it, each fault was tried to the same share of what is asked."""
    course = turns(given := rows(Day()))
    assert [course.count(row) for row in given] == [50, 10, 2]
    assert [row.fault.name for row in course[:3]] == ["quick", "quick", "slow"]
    for cut in range(3, len(course)):
        done = [(course[:cut].count(row), row) for row in given]
        last = max((number / row.asked for number, row in done if number > row.fault.short), default=0.0)
        for number, row in done:
            assert number >= row.fault.short
            assert (number + 1) / row.asked >= last


def test_it_ends_when_its_time_is_over_and_says_so() -> None:
    """A run that is cut ends in time, with none tried less often than in the suite, and each row tells what it lacks."""
    day = Day()
    given = rows(day)
    assert not Course(given, ends=250.0, clock=lambda: day.now).run(0, nothing, nothing)
    assert 200.0 < day.now <= 310.0
    assert [row.tried for row in given] == [20, 4, 0]
    assert "| 20 of 50 | 20 |" in given[0].line()
    late = rows(day)
    assert not Course(late, ends=0.0, clock=lambda: day.now).run(0, nothing, nothing)
    assert [row.tried for row in late] == [2, 1, 0]


def test_a_run_with_time_enough_tries_all() -> None:
    """Each is tried as often as asked, and whoever looks on is told after each try how it ended."""
    told: list[tuple[str, str]] = []
    given = rows(Day())
    assert Course(given, clock=lambda: 0.0).run(0, nothing, lambda row, failure: told.append((row.fault.name, failure)))
    assert Counter(told) == {("quick", ""): 50, ("slow", ""): 10, ("rare", ""): 2}
    assert "| 50 | 50 |" in given[0].line()


def test_what_is_interrupted_does_not_count() -> None:
    """Ctrl-C ends the try that is under way and counts it neither as kept nor as broken; a broken one is counted as such."""
    found = Tried(Fault("any", "stop", _breaks), 3)
    assert "not kept at all" in found.again()
    with pytest.raises(KeyboardInterrupt):
        Tried.again(interrupted := Tried(Fault("any", "stop", _interrupted), 3))
    assert (found.tried, found.kept, len(found.failures)) == (1, 0, 1)
    assert "not kept at all" in found.failures[0]
    assert (interrupted.tried, interrupted.kept, interrupted.failures) == (0, 0, [])
    assert "| 0 of 3 | 0 |" in interrupted.line()


def _breaks(_: Ground) -> None:
    raise AssertionError("not kept at all")


def _interrupted(_: Ground) -> None:
    raise KeyboardInterrupt


def test_whoever_waits_is_told_how_long() -> None:
    """Before each try a line says which it is and how long the rest will last, by the tries before it and the time there is."""
    given = rows(Day())
    quick, slow, _ = given
    course = Course(given, clock=lambda: 0.0)
    assert course.says(quick) == "1 of 62: quick, 1 of 50"
    quick.tried, quick.seconds = 2, 4.0
    slow.tried, slow.seconds, slow.failures = 1, 60.0, ["why"]
    rare_s = 2 * (64.0 / 3)
    assert course.left_s() == pytest.approx(48 * 2.0 + 9 * 60.0 + rare_s)
    assert course.says(slow) == "4 of 62, 11 min left, 1 BROKEN: slow, 2 of 10"
    course.ends = 300.0
    assert course.says(slow) == "4 of 62, 5 min left, 1 BROKEN: slow, 2 of 10"


@pytest.mark.parametrize(
    ("ends", "code", "tells"),
    [
        (lambda _: None, 0, "| all |  | 6 | 6 | 0 |"),
        (_breaks, 1, "AssertionError: not kept at all"),
        (_interrupted, 130, "| last | it can be told to stop | 0 of 2 | 0 | 0 |"),
    ],
    ids=["kept", "broken", "interrupted"],
)
def test_the_command_prints_its_table_however_it_ends(
    ends: Callable[[Ground], None], code: int, tells: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A row for each fault and one for all; the exit code tells a broken promise, and Ctrl-C, from a good end."""
    first = Fault("first", "crash", lambda _: None, long=2, each=2)
    monkeypatch.setattr(command, "FAULTS", (first, Fault("last", "stop", ends, long=2)))
    done = CliRunner().invoke(command.main, ["--long"])
    assert done.exit_code == code
    assert "| first | an accepted reading survives a crash |" in done.stdout
    assert tells in done.stdout
    assert ("BROKEN: last, try 0 of seed 0" in done.stderr) == (code == 1)
