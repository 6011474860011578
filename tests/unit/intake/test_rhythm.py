from __future__ import annotations

from monitor.core.model import SECOND
from monitor.intake.rhythm import Rhythm


def test_the_middle_gap_is_told_once_there_are_some() -> None:
    """One late message changes nothing; few say nothing."""
    rhythm = Rhythm()
    for second in (0, 10, 20):
        rhythm.heard("ash-water", second * SECOND)
    assert rhythm.gap("ash-water") is None
    for second in (80, 90, 100):
        rhythm.heard("ash-water", second * SECOND)
    assert rhythm.gap("ash-water") == 10 * SECOND
    assert rhythm.gap("oak-water") is None


def test_a_clock_that_was_set_back_tells_no_gap() -> None:
    """Neither backwards nor at once."""
    rhythm = Rhythm()
    for second in (500, 10, 10, 20, 30, 40):
        rhythm.heard("ash-water", second * SECOND)
    assert rhythm.gap("ash-water") == 10 * SECOND
