"""What a board knows of the time."""

from __future__ import annotations

import time

import pytest

from monitor.probe.clock import Clock, rfc3339, synchronised


def test_a_clock_that_was_set_stays_known() -> None:
    """A time server that goes away later takes no reading its time."""
    answers = iter([False, True])
    clock = Clock(asked=lambda: next(answers))
    assert clock.wall() is None
    assert clock.wall() is not None
    assert clock.wall() is not None


def test_a_clock_from_another_year_is_never_known(monkeypatch: pytest.MonkeyPatch) -> None:
    """A board that wakes up in 1970 knows no time, even where it is said to keep it."""
    monkeypatch.setattr(time, "time_ns", lambda: 1_000_000_000)
    assert Clock(trusted=True).wall() is None


def test_the_kernel_is_asked() -> None:
    """The real question has an answer on this machine, whichever it is."""
    assert synchronised() in (True, False)


def test_a_time_is_written_as_rfc_3339() -> None:
    """To the thousandth, in UTC, as the RFC's own example has it (section 5.8)."""
    assert rfc3339(482_196_050_520) == "1985-04-12T23:20:50.520Z"
