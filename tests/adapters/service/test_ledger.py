"""Marks over weeks, in a real store, by an invented clock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.core.house import Began
from monitor.core.model import DAY, HOUR, Ms
from monitor.service.ledger import ENDS, SIZES, Ledger
from monitor.store import Store

if TYPE_CHECKING:
    from pathlib import Path

NOW: Ms = 1_772_413_800_000


@dataclass
class Hands:
    """A clock that goes where it is moved."""

    time: Ms = NOW
    speed = None

    def now(self) -> Ms:
        return self.time

    def wall(self) -> Ms:
        return self.time

    def steady(self) -> float:
        return self.time / 1000

    def jumped(self) -> Ms | None:
        return None


def test_the_size_is_marked_once_a_day_and_outlives_a_restart(tmp_path: Path) -> None:
    """Thirty days at most; the next run goes on with them."""
    clock = Hands()
    with Store.open(tmp_path / "shed.sqlite3", now=NOW) as store:
        ledger = Ledger(store, clock)
        for _ in range(40 * 24):
            ledger.look()
            clock.time += HOUR
        assert len(ledger.sizes) == 30
        assert {after[0] - before[0] for before, after in zip(ledger.sizes, ledger.sizes[1:], strict=False)} == {DAY}
        assert all(size > 4096 for _, size in ledger.sizes)
        store.commit()
        assert Ledger(store, clock).sizes == ledger.sizes


def test_a_clock_that_is_wrong_spoils_no_marks(tmp_path: Path) -> None:
    """One that is not set marks nothing, and what lies ahead of it is dropped once it is right again."""
    clock = Hands(4 * DAY)
    with Store.open(tmp_path / "shed.sqlite3", now=NOW) as store:
        ledger = Ledger(store, clock)
        ledger.look()
        assert ledger.sizes == ()
        clock.time = NOW + 400 * DAY
        ledger.look()
        clock.time = NOW
        ahead = Ledger(store, clock)
        ahead.look()
        assert [time for time, _ in ahead.sizes] == [NOW]


def test_ends_without_warning_are_counted_over_restarts(tmp_path: Path) -> None:
    """An end that somebody asked for is none; the first start is none either."""
    clock = Hands()
    with Store.open(tmp_path / "shed.sqlite3", now=NOW) as store:
        for began in (
            Began(NOW),
            Began(NOW + DAY, NOW + DAY - HOUR, clean=False),
            Began(NOW + 2 * DAY, NOW + DAY, clean=True),
            Began(NOW + 3 * DAY, NOW + 2 * DAY, clean=False),
        ):
            Ledger(store, clock).began(began)
        assert Ledger(store, clock).ends == (NOW + DAY - HOUR, NOW + 2 * DAY)
        assert Ledger(store, clock).since == NOW


def test_marks_of_another_version_are_no_trouble(tmp_path: Path) -> None:
    """What cannot be understood counts as nothing."""
    with Store.open(tmp_path / "shed.sqlite3", now=NOW) as store:
        for nonsense in ("7", "[1, 2]", "{", '{"ends": ["x"]}', '[["x", 1]]', "null"):
            store.keep(SIZES, nonsense)
            store.keep(ENDS, nonsense)
            ledger = Ledger(store, Hands())
            assert (ledger.sizes, ledger.ends) == ((), ())
