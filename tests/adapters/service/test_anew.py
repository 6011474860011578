"""A store that is damaged is put aside and a new one begun, with what decides about living animals."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING

import pytest

from monitor.core.log import Start
from monitor.core.model import Reading
from monitor.service.anew import begin_anew, noted_anew, open_store
from monitor.service.backing import Plan
from monitor.store import Store, StoreCorrupt
from monitor.store.aside import mark_damaged, marked_damaged, move_aside, unfinished
from monitor.store.backup import BY_HAND, make_backup
from monitor.store.backups import BackupFolder
from monitor.store.rotation import Stay

if TYPE_CHECKING:
    from pathlib import Path

T0 = 1_770_000_000_000
LATER = T0 + 3_600_000
START = Start(T0, T0, "ash-1", "ash", "tin-7", 2.0, 1.5, 30.0)
WHY = StoreCorrupt("it is damaged")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "shed.sqlite3"
    with Store.open(path, now=T0) as store:
        store.log(START)
        store.keep("phones/site", '{"phones": []}')
        store.keep("lot/tin-7", '{"hatched": 0.8}')
        store.keep("run/alive", str(T0))
        for seq in range(2_000):
            store.add(Reading("ash-water", T0 + seq * 1_000, 24_000, own_time=True, arrived=T0))
        store.commit()
    return path


@pytest.fixture
def plan(path: Path) -> Plan:
    return Plan(BackupFolder.of(path), 210, Stay(), "Europe/Berlin")


def page_of(path: Path, table: str) -> int:
    with closing(sqlite3.connect(path)) as connection:
        (page,) = connection.execute("SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)).fetchone()
    return int(page)


def ruin(path: Path, page: int) -> bytes:
    with path.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\xa5" * 4096)
    return path.read_bytes()


def test_the_log_phones_and_tins_are_taken_from_the_damaged_file(path: Path, plan: Plan) -> None:
    """Where only readings cannot be read, everything that decides what rings is known as before; marks of a run are not."""
    made = make_backup(path, plan.folder, T0, BY_HAND)
    was = ruin(path, page_of(path, "reading"))
    begin_anew(path, LATER, plan, WHY)
    aside = path.with_name("shed.sqlite3.aside-20260202T034000Z")
    assert aside.read_bytes() == was
    with open_store(path, LATER, plan) as store:
        assert store.entries() == [START]
        assert store.kept("phones/site") == '{"phones": []}'
        assert store.kept("lot/tin-7") == '{"hatched": 0.8}'
        assert store.kept("run/alive") is None
        assert list(store.readings(0)) == []
        anew = noted_anew(store)
    assert anew is not None
    assert (anew.time, anew.aside, anew.backup, anew.log_taken) == (LATER, aside.name, made.time, True)


@pytest.mark.parametrize("table", ["sqlite_schema", "event", "kept"])
def test_what_the_damaged_file_does_not_tell_the_newest_backup_does(path: Path, plan: Plan, table: str) -> None:
    """The log as it was last night is better than none."""
    make_backup(path, plan.folder, T0, BY_HAND)
    ruin(path, 1 if table == "sqlite_schema" else page_of(path, table))
    begin_anew(path, LATER, plan, WHY)
    with Store.open(path) as store:
        assert store.entries() == [START]
        assert store.kept("lot/tin-7") == '{"hatched": 0.8}'


def test_without_either_a_new_store_begins_empty_and_says_so(path: Path, plan: Plan) -> None:
    """It starts all the same."""
    ruin(path, 1)
    begin_anew(path, LATER, plan, WHY)
    with Store.open(path) as store:
        assert store.entries() == []
        anew = noted_anew(store)
    assert anew is not None
    assert (anew.backup, anew.log_taken) == (None, False)


@pytest.mark.parametrize("made", [False, True], ids=["before-the-new-one", "after-it"])
def test_a_new_beginning_that_was_cut_short_is_brought_to_its_end(path: Path, plan: Plan, made: bool) -> None:
    """The next start takes the log over as if nothing had happened, once; the start after that leaves it alone."""
    ruin(path, page_of(path, "reading"))
    aside = move_aside(path, LATER)
    if made:
        Store.open(path).close()
    for _ in range(2):
        with open_store(path, LATER + 60_000, plan) as store:
            assert store.entries() == [START]
            anew = noted_anew(store)
        assert anew is not None
        assert (anew.time, anew.aside) == (LATER + 60_000, aside.name)
        assert unfinished(path) is None


def test_what_was_never_a_store_is_not_moved(tmp_path: Path, plan: Plan) -> None:
    """A wrong path in the configuration, at somebody's letters, is told as ever."""
    letters = tmp_path / "letters.txt"
    letters.write_text("Dear aunt,\n" * 400)
    with pytest.raises(StoreCorrupt):
        open_store(letters, T0, plan)
    with pytest.raises(StoreCorrupt, match="it is damaged"):
        begin_anew(letters, T0, plan, WHY)
    assert letters.read_text().startswith("Dear aunt")


def test_damage_that_a_run_has_met_is_looked_for_at_the_next_start(path: Path, plan: Plan) -> None:
    """The start itself may not happen upon it; a false alarm is forgotten."""
    mark_damaged(path)
    open_store(path, LATER, plan).close()
    assert not marked_damaged(path), "the file was sound"
    ruin(path, page_of(path, "rollup_day"))
    open_store(path, LATER, plan).close()
    mark_damaged(path)
    with pytest.raises(StoreCorrupt, match="the file is damaged"):
        open_store(path, LATER, plan)
