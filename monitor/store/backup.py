"""One backup of a store that may be in use: copied in small steps by a connection of its own, verified, then named.

A read transaction holds the instant that is copied; the owner goes on writing to SQLite's write-ahead log meanwhile, which is
longer for so long. What is copied goes to the disk a little at a time, so that an alarm's commit never waits behind all of it.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING, Final

from monitor import failpoint
from monitor.failpoint import Point
from monitor.store.backups import CONFIG, NOTE, PART, Backup, BackupFolder, BackupProblem, Note, drop
from monitor.store.content import counts, mark_of
from monitor.store.errors import in_our_words
from monitor.store.past import open_to_read
from monitor.store.rotation import staying
from monitor.store.schema import APPLICATION_ID

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import tzinfo
    from pathlib import Path

    from monitor.core.model import Ms
    from monitor.store.rotation import Stay

PAGES: Final = 64
"""Copied in a step: 256 kB."""
TO_DISK: Final = 16  # steps, 4 MB; common practice, no source
SPARE: Final = 64_000_000
"""Bytes that stay free on the backups' disk; common practice, no source."""
_BUFFER: Final = 1 << 18
_OPCODES: Final = 200_000
NIGHTLY: Final = "nightly"
BY_HAND: Final = "by hand"
BEFORE_UPDATE: Final = "before update"


class BackupStopped(BackupProblem):
    """Somebody asked to stop."""


def no_pause() -> None:
    """For whoever has nothing else to do meanwhile."""


def make_backup(
    store: Path,
    folder: BackupFolder,
    now: Ms,
    why: str,
    config: str | None = None,
    pause: Callable[[], None] = no_pause,
) -> Backup:
    """Copy the store into the folder; what is committed when it begins is in it.

    ``pause`` is called after each step; it may wait, and raises BackupStopped to end it. ``config`` is laid beside the backup.
    Raises BackupProblem, StoreError; the folder has nothing new then.
    """
    with folder.held(), _in_the_folder(folder.path):
        place = folder.place(now)
        part = place.with_name(place.name + PART)
        try:
            note = _copy(store, part, why, pause)
            _write(place.with_suffix(NOTE), note.text())
            if config is not None:
                _write(place.with_suffix(CONFIG), config)
            failpoint.reach(Point.BACKUP_COPIED)
            part.replace(place)
            failpoint.reach(Point.BACKUP_NAMED)
            to_disk(folder.path)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
        return Backup(place, now // 1000 * 1000, note)


def unchanged_since(store: Path, backup: Backup) -> bool:
    """Whether the store holds nothing that this backup has not. Raises StoreError."""
    if backup.note is None or not backup.note.mark:
        return False
    with in_our_words(store), closing(open_to_read(store)) as source:
        source.execute("BEGIN")
        return mark_of(source, counts(source)) == backup.note.mark


def rotate(folder: BackupFolder, stay: Stay, zone: tzinfo, now: Ms) -> list[Backup]:
    """Delete what need not stay; give it back. To be called after a good backup only. Raises BackupProblem.

    What is dated in the future, by a clock that was wrong, is left alone.
    """
    with folder.held(), _in_the_folder(folder.path):
        past = [backup for backup in folder.all() if backup.time <= now]
        kept = {backup.path for backup in staying(past, stay, zone)}
        gone = [backup for backup in past if backup.path not in kept]
        for backup in gone:
            drop(backup)
        return gone


def faults_of(path: Path, pause: Callable[[], None] = no_pause) -> list[str]:
    """What is wrong with a file that should be a store; empty when nothing. It is opened for reading only."""

    def look() -> int:
        try:
            pause()
        except BackupStopped:
            return 1
        return 0

    try:
        with closing(open_to_read(path)) as connection:
            connection.set_progress_handler(look, _OPCODES)
            (mark,) = connection.execute("PRAGMA application_id").fetchone()
            if mark != APPLICATION_ID:
                return ["it is no store of this program"]
            found = [str(text) for (text,) in connection.execute("PRAGMA integrity_check(5)")]
    except sqlite3.DatabaseError as error:
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_INTERRUPT:
            raise BackupStopped("the check was stopped") from None
        return [str(error)]
    return [] if found == ["ok"] else found


def sha256_of(path: Path, pause: Callable[[], None] = no_pause) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(_BUFFER):
            digest.update(piece)
            pause()
    return digest.hexdigest()


def to_disk(path: Path) -> None:
    """A file, or the names in a folder, as durable as the disk makes them."""
    handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def room_for(folder: Path, size: int) -> None:
    """Raises BackupProblem when so many bytes would leave too little."""
    offered = os.statvfs(folder)
    free = offered.f_bavail * offered.f_frsize
    if free < size + SPARE:
        raise BackupProblem(
            f"{folder}: {free // 1_000_000} MB are free, {(size + SPARE) // 1_000_000} MB are needed. Make room there, keep "
            "fewer backups, or give another folder: [backup]."
        )


def _copy(store: Path, part: Path, why: str, pause: Callable[[], None]) -> Note:
    if not store.exists():
        raise BackupProblem(f"{store}: there is no store yet. It is made when the service first runs.")
    with in_our_words(store), closing(open_to_read(store)) as source:
        source.execute("BEGIN")
        found = counts(source)  # the first read: from here on it is one instant
        mark = mark_of(source, found)
        (schema,) = source.execute("PRAGMA user_version").fetchone()
        (begun,) = source.execute("SELECT min(applied) FROM migration").fetchone()
        room_for(part.parent, _size(source))
        part.unlink(missing_ok=True)
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY | os.O_CLOEXEC, 0o600))
        _pages(source, part, pause)
    _check(part, schema, found, pause)
    return Note(schema, begun, part.stat().st_size, sha256_of(part, pause), found, mark, why)


def _size(source: sqlite3.Connection) -> int:
    (pages,) = source.execute("PRAGMA page_count").fetchone()
    (size,) = source.execute("PRAGMA page_size").fetchone()
    return int(pages) * int(size)


def _pages(source: sqlite3.Connection, part: Path, pause: Callable[[], None]) -> None:
    handle = os.open(part, os.O_RDONLY | os.O_CLOEXEC)
    steps = 0

    def after_step(_status: int, _left: int, _all: int) -> None:
        nonlocal steps
        steps += 1
        if steps % TO_DISK == 0:
            os.fdatasync(handle)
        pause()

    try:
        with in_our_words(part), closing(sqlite3.connect(part, isolation_level=None)) as target:
            target.execute("PRAGMA synchronous = OFF")  # it is written to the disk here
            source.backup(target, pages=PAGES, progress=after_step)
            # One plain file that needs no other beside it, whoever opens it.
            target.execute("PRAGMA journal_mode = DELETE").fetchall()
        os.fsync(handle)
    finally:
        os.close(handle)


def _check(part: Path, schema: int, found: dict[str, int], pause: Callable[[], None]) -> None:
    """Raises BackupProblem when the copy is not as its source was."""
    faults = faults_of(part, pause)
    if not faults:
        with in_our_words(part), closing(open_to_read(part)) as copy:
            if copy.execute("PRAGMA user_version").fetchone() != (schema,):
                faults.append("another schema than the store's")
            there = counts(copy)
            faults += [
                f"{there.get(table, 0)} rows in {table}, not {number}"
                for table, number in found.items()
                if there.get(table) != number
            ]
    if faults:
        raise BackupProblem(
            f"{part.parent}: the copy is not sound: {'; '.join(faults[:3])}. The store or this disk may be damaged."
        )


def _write(path: Path, text: str) -> None:
    """For their owner only; the file is as it was until the new text is on the disk."""
    part = path.with_name(path.name + PART)
    part.unlink(missing_ok=True)
    handle = os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY | os.O_CLOEXEC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)


@contextmanager
def _in_the_folder(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise BackupProblem(f"{folder} cannot be written: {error.strerror or error}.") from error
