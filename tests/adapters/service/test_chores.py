"""What is done at set times: a real scheduler, a real store."""

from __future__ import annotations

import queue
import sqlite3
from typing import TYPE_CHECKING

from monitor.core.model import DAY, HOUR, MINUTE, Reading
from monitor.service.chores import EVERY, Chore, Chores, Upkeep
from monitor.service.clock import SimulatedClock, SystemClock
from monitor.store import Keep, Store

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

    from monitor.core.model import Ms

T0: Ms = 1_770_000_000_000 // DAY * DAY


def test_chores_come_by_simulated_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """At a speed of 3600 the hourly chore comes every second, and none after the end."""
    monkeypatch.setattr(Chores, "FIRST_S", 0.1)
    due: queue.SimpleQueue[Chore] = queue.SimpleQueue()
    chores = Chores(due.put, SimulatedClock(T0, 3600))
    assert due.empty(), "nothing before the start"
    chores.start()
    came = [due.get(timeout=5) for _ in range(7)]
    chores.stop()
    assert came.count(Chore.ROLL_UP) == 3
    assert came.count(Chore.CLEAR) == 1
    assert came.count(Chore.BACK_UP) == 2
    assert came.count(Chore.LET_GO) == 1
    assert set(EVERY) == set(Chore)


def test_chores_keep_to_the_steady_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only seconds that nobody sets are asked for: a clock that is set back holds no chore up, one set ahead makes none due."""
    monkeypatch.setattr(Chores, "FIRST_S", 0.1)
    due: queue.SimpleQueue[Chore] = queue.SimpleQueue()
    chores = Chores(due.put, SteadyOnly())
    chores.start()
    came = [due.get(timeout=5) for _ in EVERY]
    chores.stop()
    assert came == list(EVERY)
    assert due.empty()


class SteadyOnly(SystemClock):
    """Nobody may ask it for the time of day."""

    def now(self) -> Ms:
        raise AssertionError("a chore has looked at the system clock")

    wall = now


def test_a_chore_is_done_in_steps_with_room_between_them(tmp_path: Path) -> None:
    """Each step asks for the next one through the queue, until all is rolled up and what is old is gone."""
    asked: list[Chore] = []
    with Store.open(tmp_path / "s.db", now=T0) as store:
        for time in range(T0 - 30 * DAY, T0, 10 * MINUTE):
            store.add(Reading("ash-water", time, 24_000, own_time=True, arrived=time))
        store.commit()
        upkeep = Upkeep(store, Keep(14 * DAY, 14 * DAY), SimulatedClock(T0, 1), asked.append)
        steps = 0
        for chore in (Chore.ROLL_UP, Chore.CLEAR):
            asked.append(chore)
            while asked:
                assert asked == [chore]
                upkeep.do(asked.pop())
                steps += 1
        assert steps > 30 * 24 + 16 * 24 - 5
        assert next(store.readings(0)).time == T0 - 14 * DAY


def test_a_store_that_fails_is_tried_again_later(tmp_path: Path) -> None:
    """A file that another program holds costs nothing; the chore is done when it is due the next time."""
    asked: list[Chore] = []
    with Store.open(tmp_path / "s.db", now=T0) as store:
        store._connection.execute("PRAGMA busy_timeout = 10")
        store.add(Reading("ash-water", T0 - HOUR, 24_000))
        store.commit()
        upkeep = Upkeep(store, Keep(), SimulatedClock(T0, 1), asked.append)
        holder = sqlite3.connect(tmp_path / "s.db", isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        upkeep.do(Chore.ROLL_UP)
        upkeep.do(Chore.ROLL_UP)
        holder.execute("ROLLBACK")
        assert store._connection.execute("SELECT count(*) FROM rollup_quarter").fetchone() == (0,)
        upkeep.do(Chore.ROLL_UP)
        assert store._connection.execute("SELECT count(*) FROM rollup_quarter").fetchone() == (1,)
        holder.close()
    assert asked == []


def test_what_is_long_over_is_let_go_by_whoever_holds_it(tmp_path: Path) -> None:
    """The chore asks once, with the time, and for no further step."""
    asked: list[Chore] = []
    let_go: list[Ms] = []
    with Store.open(tmp_path / "s.db", now=T0) as store:
        Upkeep(store, Keep(), SimulatedClock(T0, 1), asked.append, let_go=let_go.append).do(Chore.LET_GO)
    assert [time // MINUTE for time in let_go] == [T0 // MINUTE]
    assert asked == []
