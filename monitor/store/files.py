"""The file of the store from outside: made, held against a second process, checked."""

from __future__ import annotations

import fcntl
import os
from contextlib import closing
from typing import TYPE_CHECKING

from monitor.store.errors import StoreError, StoreInUse, in_our_words
from monitor.store.past import open_to_read

if TYPE_CHECKING:
    from pathlib import Path


def hold(path: Path) -> int:
    """Hold the place of a store against a second process, whether or not there is a file yet; give back the lock."""
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        lock = os.open(path.with_name(path.name + ".lock"), os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, 0o600)
    except OSError as error:
        raise StoreError(
            f"{path}: the store's folder cannot be written: {error}. Give another path in [store]."
        ) from error
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        os.close(lock)
        raise StoreInUse(f"{path}: another process holds this store. Stop it first, or give another path.") from error
    except OSError as error:
        os.close(lock)
        raise StoreError(f"{path}: the store cannot be opened for writing: {error}.") from error
    return lock


def claim(path: Path) -> int:
    """Make the file and its folders for this user only, and hold it against a second process; give back the lock."""
    lock = hold(path)
    try:
        os.close(os.open(path, os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, 0o600))
    except OSError as error:
        os.close(lock)
        raise StoreError(f"{path}: the store cannot be opened for writing: {error}.") from error
    return lock


def integrity(path: Path) -> list[str]:
    """What SQLite finds wrong with the file; empty when nothing."""
    with in_our_words(path), closing(open_to_read(path)) as connection:
        found = [str(text) for (text,) in connection.execute("PRAGMA integrity_check")]
    return [] if found == ["ok"] else found
