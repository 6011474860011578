"""Backups of a store that is in use, and the way back."""

from __future__ import annotations

import os
import queue
import sqlite3
import threading
from contextlib import closing
from datetime import UTC
from stat import S_IMODE
from typing import TYPE_CHECKING

import pytest

from monitor.core.model import HOUR, Reading
from monitor.store import SchemaTooNew, Store, StoreError, StoreInUse, integrity
from monitor.store import backup as backups
from monitor.store.backup import BY_HAND, BackupStopped, make_backup, rotate, unchanged_since
from monitor.store.backups import Backup, BackupFolder, BackupProblem, read_backup
from monitor.store.content import counts
from monitor.store.restore import restore, verified
from monitor.store.rotation import Stay

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from monitor.core.model import Transition

T0 = 1_770_000_000_000


@pytest.fixture
def folder(path: Path) -> BackupFolder:
    return BackupFolder.of(path)


def filled(path: Path, number: int = 500) -> Path:
    with Store.open(path, now=T0) as store:
        add(store, 0, number)
        store.commit()
    return path


def add(store: Store, first: int, number: int) -> None:
    for seq in range(first, first + number):
        store.add(Reading("ash-water", T0 + seq * 1_000, 24_000 + seq % 9, own_time=True, seq=seq, arrived=T0))


def ruin(path: Path) -> None:
    """Overwrite pages in the middle, as a worn card does."""
    with path.open("r+b") as file:
        file.seek(path.stat().st_size // 2 // 4096 * 4096)
        file.write(b"\xa5" * 8192)


def sequence(path: Path) -> list[int]:
    with closing(sqlite3.connect(path)) as connection:
        return [seq for (seq,) in connection.execute("SELECT seq FROM reading ORDER BY seq")]


class Writer(threading.Thread):
    """A store's owner at work: commits readings, alarms and slots without end, and notes the counts after each commit."""

    def __init__(self, path: Path, transition: Callable[..., Transition]) -> None:
        super().__init__(name="writer")
        self._path = path
        self._transition = transition
        self.ending = threading.Event()
        self.commits: queue.SimpleQueue[int] = queue.SimpleQueue()
        self.seen: list[dict[str, int]] = []

    def run(self) -> None:
        with Store.open(self._path, now=T0) as store:
            number = 0
            while not self.ending.is_set():
                add(store, number, 97)
                number += 97
                store.put_alarm(self._transition(at=T0 + number))
                store.keep("lot/tin-7", str(number))
                store.remember_delivery(0, number % 65_535 + 1, b"%d" % number)
                store.commit()
                self.seen.append(counts(store._connection))
                store.roll_up(T0 + number * 1_000)  # a commit of its own
                self.seen.append(counts(store._connection))
                self.commits.put(number)


def test_a_backup_under_load_is_the_store_at_one_commit(
    path: Path, folder: BackupFolder, transition: Callable[..., Transition], monkeypatch: pytest.MonkeyPatch
) -> None:
    """While readings and alarms are committed between its steps, a backup holds all tables as they were at one instant."""
    monkeypatch.setattr(backups, "PAGES", 4)
    writer = Writer(path, transition)
    writer.start()
    try:
        for _ in range(60):
            writer.commits.get(timeout=30)
        steps = []

        def pause() -> None:
            """The next step waits for the writer to have written more: it is never held up, or this never ends."""
            while not writer.commits.empty():
                writer.commits.get_nowait()
            steps.append(writer.commits.get(timeout=30))

        made = make_backup(path, folder, T0, BY_HAND, pause=pause)
    finally:
        writer.ending.set()
        writer.join()
    assert len(steps) > 10
    assert made.note is not None
    found = made.note.counts
    assert found in [{table: at.get(table, 0) for table in found} for at in writer.seen]
    assert found["reading"] < steps[-1], "what was written meanwhile is not in it"
    assert sequence(made.path) == list(range(found["reading"]))
    done = restore(made, path, T0 + HOUR)
    assert done.counts == found
    with Store.open(path) as store:
        assert [reading.seq for reading in store.readings(0)] == list(range(found["reading"]))
        assert len(store.transitions(0)) == found["transition"]
    assert done.aside is not None
    assert sequence(done.aside) == list(range(writer.seen[-1]["reading"]))


def test_a_backup_is_one_file_for_its_owner_only(path: Path, folder: BackupFolder) -> None:
    """Beside it lie a note of what was verified and the configuration; nobody else on the machine can read any of them."""
    made = make_backup(filled(path), folder, T0, BY_HAND, "[site]\n")
    assert made.path.name == "swimup-20260202T024000Z.sqlite3"
    names = {entry.name: S_IMODE(entry.stat().st_mode) for entry in folder.path.iterdir()}
    ours = {f"swimup-20260202T024000Z{ending}" for ending in (".sqlite3", ".json", ".toml")}
    assert set(names) == {*ours, ".swimup.lock"}
    assert set(names.values()) == {0o600}
    assert S_IMODE(folder.path.stat().st_mode) == 0o700
    assert folder.all() == [made]
    assert verified(made)["reading"] == 500
    with closing(sqlite3.connect(made.path)) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_a_stopped_backup_leaves_nothing_and_a_killed_one_is_swept_away(path: Path, folder: BackupFolder) -> None:
    """Half a backup never has the name of one; the next one clears what is left, but nothing of a neighbour's."""
    filled(path)

    def stop() -> None:
        raise BackupStopped("now")

    with pytest.raises(BackupStopped):
        make_backup(path, folder, T0, BY_HAND, "[site]\n", stop)
    assert [entry.name for entry in folder.path.iterdir()] == [".swimup.lock"]
    killed = ("swimup-20260101T000000Z.sqlite3.part", "swimup-20260101T000000Z.json", "swimup-20260101T000000Z.toml")
    others = ("swimup-two-20260101T000000Z.sqlite3.part", "letters.json", "swimup-holiday.toml")
    for name in (*killed, *others):
        (folder.path / name).write_text("")
    make_backup(path, folder, T0, BY_HAND)
    assert {entry.name for entry in folder.path.iterdir()} >= set(others)
    assert not {entry.name for entry in folder.path.iterdir()} & set(killed)


def test_without_room_nothing_is_begun(path: Path, folder: BackupFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """A backup must not be what fills the disk; the message says how much is free and how much is needed."""
    monkeypatch.setattr(backups, "SPARE", 1 << 60)
    with pytest.raises(BackupProblem, match=r"MB are free, .* MB are needed"):
        make_backup(filled(path), folder, T0, BY_HAND)
    assert folder.all() == []


def test_a_stick_that_is_not_there_is_told(path: Path, tmp_path: Path) -> None:
    """No folder is made where the stick would be: that would fill the card."""
    with pytest.raises(BackupProblem, match="Is its disk there"):
        make_backup(filled(path), BackupFolder.of(path, tmp_path / "stick" / "swimup"), T0, BY_HAND)
    assert not (tmp_path / "stick").exists()


def test_two_backups_at_once_are_one(path: Path, folder: BackupFolder) -> None:
    """The night's and one by hand do not write to the same folder."""
    filled(path)
    with folder.held(), pytest.raises(BackupProblem, match="another backup is being made"):
        make_backup(path, folder, T0, BY_HAND)


def test_a_damaged_store_gets_no_backup_and_the_last_good_one_stays(path: Path, folder: BackupFolder) -> None:
    """What cannot be verified never takes a place in the rotation."""
    good = make_backup(filled(path), folder, T0, BY_HAND)
    ruin(path)
    with pytest.raises(Exception, match=r"not sound|damaged"):
        make_backup(path, folder, T0 + HOUR, BY_HAND)
    assert folder.all() == [good]


def test_rotation_deletes_whole_backups_of_this_store_only(path: Path, folder: BackupFolder) -> None:
    """Note and copy go with it; what a wrong clock has dated ahead, and what another store has there, stays."""
    filled(path)
    first = make_backup(path, folder, T0, BY_HAND, "[site]\n")
    second = make_backup(path, folder, T0 + HOUR, BY_HAND)
    ahead = make_backup(path, folder, T0 + 9_000 * HOUR, BY_HAND)
    (folder.path / "other-20250101T000000Z.sqlite3").write_text("")
    assert rotate(folder, Stay(1, 0, 0), UTC, T0 + 2 * HOUR) == [first]
    assert folder.all() == [second, ahead]
    assert not first.config.exists()
    assert (folder.path / "other-20250101T000000Z.sqlite3").exists()


def test_whether_anything_is_new_is_seen(path: Path, folder: BackupFolder) -> None:
    """Marks of a running process are nothing new; a reading, an entry or something learned is."""
    made = make_backup(filled(path), folder, T0, BY_HAND)
    with Store.open(path) as store:
        store.keep("run/alive", str(T0))
        store.commit()
        assert unchanged_since(path, made)
        store.keep("lot/tin-7", "{}")
        store.commit()
        assert not unchanged_since(path, made)
    assert not unchanged_since(path, Backup(made.path, made.time, None))


# -- the way back


def test_a_store_in_use_is_not_replaced(path: Path, folder: BackupFolder) -> None:
    """Restoring below a running daemon would lose what it writes; it is refused, and nothing has changed."""
    made = make_backup(filled(path), folder, T0, BY_HAND)
    with Store.open(path) as store:
        with pytest.raises(StoreInUse, match="Stop it first"):
            restore(made, path, T0)
        assert len(list(store.readings(0))) == 500


def test_what_was_there_is_kept_with_all_it_had(path: Path, folder: BackupFolder) -> None:
    """Also what lay in the write-ahead log; a second restore keeps the first one's too."""
    made = make_backup(filled(path), folder, T0, BY_HAND)
    with Store.open(path) as store:
        add(store, 500, 100)
        store.commit()
        held = store._connection
        store._connection = sqlite3.connect(":memory:")  # its log is left behind, as by a power cut
    first = restore(made, path, T0)
    held.close()
    second = restore(made, path, T0)
    assert first.aside is not None
    assert second.aside is not None
    assert first.aside != second.aside
    assert len(sequence(first.aside)) == 600
    assert len(sequence(path)) == len(sequence(second.aside)) == 500
    assert S_IMODE(path.stat().st_mode) == 0o600


def test_interrupted_at_the_last_step_the_store_is_as_it_was(
    path: Path, folder: BackupFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """There is no instant at which a daemon that starts would find no store and begin an empty one."""
    made = make_backup(filled(path), folder, T0, BY_HAND)
    with Store.open(path) as store:
        add(store, 500, 100)
        store.commit()

    def fails(self: Path, _target: Path) -> None:
        raise OSError(5, f"Input/output error: {self.name}")

    monkeypatch.setattr(type(path), "replace", fails)
    with pytest.raises(StoreError, match="Input/output error"):
        restore(made, path, T0)
    monkeypatch.undo()
    assert len(sequence(path)) == 600
    assert not list(path.parent.glob("*.restore"))
    assert len(sequence(restore(made, path, T0).store)) == 500


def test_onto_an_empty_place(tmp_path: Path, path: Path, folder: BackupFolder) -> None:
    """On a new card there is nothing to move aside, not even the folder."""
    made = make_backup(filled(path), folder, T0, BY_HAND)
    done = restore(made, tmp_path / "new" / "card" / "swimup.db", T0)
    assert done.aside is None
    assert integrity(done.store) == []
    assert len(sequence(done.store)) == 500


@pytest.mark.parametrize("harm", ["ruined", "other bytes", "foreign", "empty", "gone"])
def test_a_bad_backup_is_refused_and_the_store_stays(path: Path, folder: BackupFolder, harm: str) -> None:
    """A backup that a card has spoilt since, or that is none, replaces nothing."""
    made = make_backup(filled(path), folder, T0, BY_HAND)
    match harm:
        case "ruined":
            ruin(made.path)
        case "other bytes":  # sound for SQLite, but not what was verified
            with closing(sqlite3.connect(made.path)) as connection, connection:
                connection.execute("UPDATE reading SET milli = 85000 WHERE seq = 7")
        case "foreign":
            made.path.unlink()
            with closing(sqlite3.connect(made.path)) as connection:
                connection.execute("CREATE TABLE recipes (id INTEGER)")
        case "empty":
            os.truncate(made.path, 0)
        case _:
            made.path.unlink()
    with pytest.raises(BackupProblem, match=r"not sound|no such file"):
        restore(made, path, T0)
    assert len(sequence(path)) == 500
    assert not list(path.parent.glob("*.aside-*"))


def test_a_backup_of_a_newer_version_is_refused(path: Path, folder: BackupFolder) -> None:
    """It is said which schema it has and what to install."""
    made = make_backup(filled(path), folder, T0, BY_HAND)
    with closing(sqlite3.connect(made.path)) as connection:
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(SchemaTooNew, match="backup has schema 99"):
        restore(Backup(made.path, made.time, None), path, T0)


def test_a_name_that_is_no_backup_is_none(tmp_path: Path) -> None:
    """Other files in the folder, and impossible dates, are not taken for backups."""
    names = ("shed.sqlite3", "shed-20261340T000000Z.sqlite3", "shed-20260101T000000Z.db", "-20260101T000000Z.sqlite3")
    assert [read_backup(tmp_path / name) for name in names] == [None] * 4
