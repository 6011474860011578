"""Stores that older versions have left behind become today's, whole, whenever the power goes."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from monitor.core.model import Quality, Reading, SlotClosed
from monitor.service.anew import open_store
from monitor.service.backing import Plan
from monitor.store import SchemaTooNew, Store, integrity
from monitor.store.backups import BackupFolder
from monitor.store.restore import verified
from monitor.store.rotation import Stay
from monitor.store.schema import MIGRATIONS
from tests.adapters.store.released import make

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

HERE = Path(__file__).parent
ROOT = HERE.parents[2]
T0 = make.T0
NEWEST = MIGRATIONS[-1].number
KILLS = 100 if os.environ.get("SWIMUP_LONG") else 25
MANY = 10_000
"""Readings of the store that is killed while it migrates: enough for a tenth of a second."""
EACH = pytest.mark.parametrize("schema", [migration.number for migration in MIGRATIONS])


def released(schema: int, path: Path) -> Path:
    """The store of a released version at ``path``."""
    path.parent.mkdir(exist_ok=True)
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript((HERE / f"released/schema-{schema}.sql").read_text("utf-8"))
    return path


def shape(connection: sqlite3.Connection) -> list[tuple[str, ...]]:
    return connection.execute("SELECT type, name, sql FROM sqlite_schema ORDER BY name").fetchall()


def expected(number: int) -> Reading:
    """The reading of this number as ``make.fill`` wrote it."""
    time = T0 + number // 3 * 10_000
    return Reading(
        make.PROBES[number % 3],
        time,
        24_000 + number,
        quality=Quality.SUSPECT if number % 7 == 6 else Quality.OK,
        reason="it jumped" if number % 7 == 6 else "",
        seq=number,
        own_time=True,
        arrived=time + 3_000 if number % 5 == 4 else 0,
    )


@EACH
def test_a_store_of_every_released_version_is_brought_to_today(schema: int, path: Path) -> None:
    """Readings, log, alarms, letters and what was learned are all there afterwards, with every field they had."""
    with Store.open(released(schema, path), now=T0) as store:
        assert list(store.readings(0)) == [expected(number) for number in range(make.COUNT)]
        assert store.entries() == [make.START, make.HARVEST]
        assert store.alarms() == [make.RUNG.alarm]
        assert store.transitions(0) == [make.RUNG]
        assert store.slots(0) == [SlotClosed("ash-water", T0, 30, 720_000)]
        assert store.kept("lot/tin-7") == '{"hatched": 0.8}'
        assert [(one.time, one.payload) for one in store.quarantined("ash-water")] == [(T0 + 5, b"??")]
        (letter,) = store.due(T0)
        assert (letter.token, letter.title, letter.tries, letter.alarms) == (
            "c0ffee00",
            "Air stopped in ash",
            1,
            ("air-stopped:ash",),
        )
        while store.roll_up(T0 + 3_600_000):
            pass
    assert integrity(path) == []


@EACH
def test_a_migration_that_was_released_is_never_edited(schema: int, path: Path, tmp_path: Path) -> None:
    """The tables of each schema are those of the store that was kept from its time."""
    new = tmp_path / "new.sqlite3"
    make.build(new, schema)
    with closing(sqlite3.connect(released(schema, path))) as old, closing(sqlite3.connect(new)) as today:
        assert shape(old) == shape(today)
        assert old.execute("PRAGMA user_version").fetchone() == (schema,)


def test_there_is_a_store_of_every_schema() -> None:
    """Whoever adds a migration keeps a store of it: python tests/adapters/store/released/make.py FOLDER."""
    kept = sorted(path.name for path in (HERE / "released").glob("*.sql"))
    assert kept == [f"schema-{migration.number}.sql" for migration in MIGRATIONS]


@contextmanager
def killer() -> Iterator[Callable[[Path, float | None], tuple[int, float]]]:
    """Calls open a store in a child that is killed after so many seconds; they give its exit code and how long it ran."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, str(HERE / "migrating.py")]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment) as child:

        def run(path: Path, wait: float | None) -> tuple[int, float]:
            assert child.stdin is not None
            assert child.stdout is not None
            child.stdin.write(f"{path} {'-' if wait is None else wait}\n")
            child.stdin.flush()
            code, lasted = child.stdout.readline().split()
            return int(code), float(lasted)

        yield run


def copied(old: Path, path: Path) -> Path:
    """A fresh copy of the old store; nothing is left of the one before."""
    for left in path.parent.glob(f"{path.name}*"):
        left.unlink()
    shutil.copy(old, path)
    return path


def readings_of(path: Path, schema: int) -> tuple[int, ...]:
    """How many readings there are, and sums that change when any of them does."""
    time = "time" if schema < 3 else "at >> 21"
    query = f"SELECT count(*), sum(milli), sum(({time}) % 1000003), sum(seq), sum(mark) FROM reading"  # noqa: S608
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (schema,)
        found: tuple[int, ...] = connection.execute(query).fetchone()
    return found


def test_killed_at_any_point_a_migration_has_happened_or_not(path: Path, tmp_path: Path) -> None:
    """A kill at any instant leaves the old schema or the new one, every reading in it, and the next start finishes the work."""
    old = tmp_path / "old.sqlite3"
    make.build(old, 1, MANY)
    path.parent.mkdir()
    whole = readings_of(old, 1)
    found: list[int] = []
    with killer() as run:
        times = []
        for _ in range(3):  # the quickest: a busy machine must not make all kills come too late
            code, lasted = run(copied(old, path), None)
            assert (code, readings_of(path, NEWEST)) == (0, whole)
            times.append(lasted)
        for turn in range(KILLS):
            run(copied(old, path), min(times) * 1.1 * turn / KILLS)
            with closing(sqlite3.connect(path)) as connection:
                (schema,) = connection.execute("PRAGMA user_version").fetchone()
            found.append(schema)
            assert schema in (1, NEWEST)
            assert integrity(path) == []
            assert readings_of(path, schema) == whole
            Store.open(path, now=T0).close()
            assert readings_of(path, NEWEST) == whole
    assert 1 in found, "all kills came too late to try anything"


def plan(path: Path) -> Plan:
    return Plan(BackupFolder.of(path), 210, Stay(), "Europe/Berlin", lambda: "[site]\n")


def test_before_an_update_there_is_a_backup_of_what_was(path: Path) -> None:
    """The old store lies verified in the folder of backups, in its old schema, before anything is changed; once only."""
    released(2, path)
    open_store(path, T0, plan(path)).close()
    (made,) = plan(path).folder.all()
    assert made.note is not None
    assert (made.note.schema, made.note.why, made.config.read_text()) == (2, "before update", "[site]\n")
    assert verified(made)["reading"] == make.COUNT
    open_store(path, T0 + 60_000, plan(path)).close()
    assert len(plan(path).folder.all()) == 1


def test_an_update_goes_ahead_where_no_backup_can_be_made(path: Path) -> None:
    """What watches over living animals starts all the same; the log says that there is no way back."""
    released(2, path)
    path.with_name("backups").write_text("a file where the folder should be")
    with open_store(path, T0, plan(path)) as store:
        assert len(list(store.readings(0))) == make.COUNT


def test_a_newer_store_is_refused_before_anything_is_made(path: Path) -> None:
    """An older program leaves a newer store, and the folder of backups, as they are."""
    Store.open(path).close()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(SchemaTooNew, match="schema 99"):
        open_store(path, T0, plan(path))
    assert plan(path).folder.all() == []
