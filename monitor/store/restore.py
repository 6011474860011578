"""A backup back in the place of the store: verified first, then copied, then put there by a rename."""

from __future__ import annotations

import os
import shutil
from contextlib import closing
from typing import TYPE_CHECKING

from monitor.core.light import light
from monitor.store.aside import replace_store, unmark
from monitor.store.backup import faults_of, no_pause, room_for, sha256_of, to_disk
from monitor.store.backups import Backup, BackupProblem
from monitor.store.content import counts
from monitor.store.errors import SchemaTooNew, in_our_words
from monitor.store.files import hold
from monitor.store.past import open_to_read
from monitor.store.schema import MIGRATIONS

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable
    from pathlib import Path

    from monitor.core.model import Ms


@light
class Restored:
    """``aside``: the name that the store which was there has now, if there was one."""

    backup: Backup
    store: Path
    aside: Path | None
    counts: dict[str, int]


def restore(backup: Backup, store: Path, now: Ms, pause: Callable[[], None] = no_pause) -> Restored:
    """Make the backup the store. The daemon must be stopped.

    Raises StoreInUse while another process has the store, SchemaTooNew, StoreError, BackupProblem; the store is then as it was.
    """
    lock = hold(store)
    try:
        found = verified(backup, pause)
        new = store.with_name(store.name + ".restore")
        try:
            room_for(store.parent, backup.bytes)
            _copy(backup.path, new)
            if sha256_of(new, pause) != sha256_of(backup.path, pause):
                raise BackupProblem(f"{new}: the copy is not as the backup is. This disk may be damaged.")
            aside = replace_store(store, new, now)
        except OSError as error:
            raise BackupProblem(f"{store} cannot be written: {error}. Make room, or give another path.") from error
        finally:
            new.unlink(missing_ok=True)
        unmark(store)
    finally:
        os.close(lock)
    return Restored(backup, store, aside, found)


def verified(backup: Backup, pause: Callable[[], None] = no_pause) -> dict[str, int]:
    """What is in a backup, by table. Raises BackupProblem when it is not as it was made, SchemaTooNew, StoreError."""
    path, note = backup.path, backup.note
    if not path.is_file():
        raise BackupProblem(f"{path}: there is no such file.")
    faults = faults_of(path, pause)
    if not faults and note is not None and sha256_of(path, pause) != note.sha256:
        faults = ["its SHA-256 is not the one noted beside it"]
    if faults:
        raise BackupProblem(f"{path} is not sound: {'; '.join(faults[:3])}. Take an older backup. Nothing was changed.")
    with in_our_words(path), closing(open_to_read(path)) as connection:
        _check_schema(connection, path)
        return counts(connection)


def _check_schema(connection: sqlite3.Connection, path: Path) -> None:
    (schema,) = connection.execute("PRAGMA user_version").fetchone()
    newest = MIGRATIONS[-1].number
    if schema > newest:
        raise SchemaTooNew(
            f"{path}: the backup has schema {schema}, this version knows schemas up to {newest}. Install the version that "
            "wrote it (or a newer one). Nothing was changed."
        )
    if not schema:
        raise BackupProblem(f"{path}: there is nothing in it. Take another backup.")


def _copy(source: Path, target: Path) -> None:
    target.unlink(missing_ok=True)
    handle = os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY | os.O_CLOEXEC, 0o600)
    with os.fdopen(handle, "wb") as out, source.open("rb") as file:
        shutil.copyfileobj(file, out, 1 << 20)
    to_disk(target)
