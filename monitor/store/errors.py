"""What can go wrong with the store.

::

    StoreError               .transient tells whether waiting can help
    |- DiskFull              transient; everything unsaved stays in memory and is written with the next commit
    |- StoreInUse            transient; another process has it
    |- StoreCorrupt
    '- SchemaTooNew
"""

from __future__ import annotations

import sqlite3
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


class StoreError(Exception):
    """The store cannot do what it was asked. ``transient``: the same may succeed later without anybody's help."""

    def __init__(self, message: str, *, transient: bool = False) -> None:
        super().__init__(message)
        self.transient = transient


class DiskFull(StoreError):  # noqa: N818  (named for what a keeper finds)
    """The disk takes no more, or fails to write.

    ``urgent_saved``: alarm transitions, log entries and letters are on the disk nevertheless.
    """

    def __init__(self, message: str, *, urgent_saved: bool = False) -> None:
        super().__init__(message, transient=True)
        self.urgent_saved = urgent_saved


class StoreInUse(StoreError):  # noqa: N818
    """Another process holds the store."""

    def __init__(self, message: str) -> None:
        super().__init__(message, transient=True)


class StoreCorrupt(StoreError):  # noqa: N818
    """The file is no database, or is damaged."""


class SchemaTooNew(StoreError):  # noqa: N818
    """The file was written by a newer version of this program."""


def from_sqlite(error: sqlite3.Error, path: Path) -> StoreError | None:
    """Name an SQLite error in the words above; None when it is a mistake of ours that must surface as it is."""
    code = getattr(error, "sqlite_errorcode", None)
    primary = None if code is None else code & 0xFF
    said = f"{error} ({getattr(error, 'sqlite_errorname', 'no code')})"
    if primary in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return DiskFull(
            f"{path}: the disk takes no more or fails to write: {said}. Readings wait in memory; free some space."
        )
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreInUse(f"{path}: another program holds the store: {said}. Close it; it will be tried again.")
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return StoreCorrupt(
            f"{path}: the file is damaged or no database: {said}. A damaged store is moved aside when the "
            "service starts, and the newest backup offered: swimup restore newest."
        )
    if primary in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM):
        return StoreError(
            f"{path}: the store cannot be opened for writing: {said}. The user that runs this program must own the "
            "file and its folder, and the disk must not be mounted read-only.",
            transient=primary == sqlite3.SQLITE_READONLY,
        )
    return None


@contextmanager
def in_our_words(path: Path) -> Iterator[None]:
    """Turn SQLite's errors into the tree of this module."""
    try:
        yield
    except sqlite3.Error as error:
        ours = from_sqlite(error, path)
        if ours is None:
            raise
        raise ours from error
