from __future__ import annotations

import signal
import subprocess
import sys

import pytest

from monitor.failpoint import VARIABLE, Point, arm

REACHES = """
from monitor.failpoint import Point, reach
for _ in range(4):
    reach(Point.SENT)
    reach(Point.COMMITTED)
    print("on", flush=True)
"""


@pytest.mark.parametrize(
    ("at", "code", "went_on"),
    [
        ("", 0, 4),
        ("migrated", 0, 4),
        ("committed", -signal.SIGKILL, 0),
        ("committed:3", -signal.SIGKILL, 2),
        ("sent:5", 0, 4),
    ],
    ids=["off", "elsewhere", "at-once", "the-third-time", "not-so-often"],
)
def test_it_ends_where_it_was_told(at: str, code: int, went_on: int) -> None:
    """A process ends itself by SIGKILL when it reaches the named place so often, and else not at all."""
    command = [sys.executable, "-c", REACHES]
    done = subprocess.run(command, env={VARIABLE: at}, capture_output=True, text=True, timeout=30, check=False)
    assert (done.returncode, done.stdout.count("on")) == (code, went_on)


@pytest.mark.parametrize("at", ["before-lunch", "committed:soon"])
def test_a_place_that_is_none_is_refused(at: str) -> None:
    """A name with a slip of the pen would else try nothing and look as if it had."""
    with pytest.raises(ValueError, match=r"before-lunch|soon"):
        arm(at)


def test_places_have_names_of_their_own() -> None:
    """Each place is told apart by its name."""
    assert len({point.value for point in Point}) == len(Point)
