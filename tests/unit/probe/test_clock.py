"""What a board knows of the time."""

from __future__ import annotations

import time
from types import SimpleNamespace
from typing import TYPE_CHECKING

import pytest

from monitor.probe import clock
from monitor.probe.clock import Clock, rfc3339, synchronised

if TYPE_CHECKING:
    from pathlib import Path


def test_a_clock_that_was_set_stays_known() -> None:
    """A time server that goes away later takes no reading its time."""
    answers = iter([False, True])
    board = Clock(asked=lambda: next(answers))
    assert board.wall() is None
    assert board.wall() is not None
    assert board.wall() is not None


def test_a_clock_from_another_year_is_never_known(monkeypatch: pytest.MonkeyPatch) -> None:
    """A board that wakes up in 1970 knows no time, even where it is said to keep it."""
    monkeypatch.setattr(time, "time_ns", lambda: 1_000_000_000)
    assert Clock(trusted=True).wall() is None


@pytest.mark.parametrize(("answer", "known"), [(0, True), (1, True), (5, False), (-1, False)])
def test_the_kernel_is_asked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, answer: int, known: bool) -> None:
    """Its answer counts (5: not synchronised, adjtimex(2)); where it gives none, the time service's own mark does."""
    monkeypatch.setattr(clock, "_STAMP", tmp_path / "synchronized")
    monkeypatch.setattr("ctypes.CDLL", lambda *_, **__: SimpleNamespace(adjtimex=lambda _buffer: answer))
    assert synchronised() is known
    (tmp_path / "synchronized").touch()
    assert synchronised()


def test_a_time_is_written_as_rfc_3339() -> None:
    """To the thousandth, in UTC, as the RFC's own example has it (section 5.8)."""
    assert rfc3339(482_196_050_520) == "1985-04-12T23:20:50.520Z"
