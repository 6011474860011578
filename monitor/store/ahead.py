"""The longest reading of a start, done beside the loading of modules: SQLite looks for rows without Python's own lock."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing, suppress
from threading import Thread
from typing import TYPE_CHECKING

from monitor.store.aside import marked_damaged, unfinished
from monitor.store.errors import StoreError
from monitor.store.files import hold
from monitor.store.history import slot_columns
from monitor.store.past import open_to_read
from monitor.store.schema import MIGRATIONS

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.core.model import Ms
    from monitor.store.history import Columns


class Ahead:
    """Reads the slots that begin at ``since`` or later, in a thread of its own.

    The store's place is held until they are taken: nobody writes between their reading and the opening of the store. What
    cannot be read here is left to whoever opens the store, and tells what is wrong with it.
    """

    def __init__(self, path: Path, since: Ms) -> None:
        self._lock: int | None = None
        self._found: Columns | None = None
        self._thread = Thread(target=self._read, args=(path, since), name="store-ahead", daemon=True)
        self._thread.start()

    def take(self) -> Columns | None:
        """What was read, once, to be asked for right before the store is opened; None where there is nothing to be had."""
        self._thread.join()
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None
        found, self._found = self._found, None
        return found

    def _read(self, path: Path, since: Ms) -> None:
        if not path.exists():
            return
        with suppress(StoreError, sqlite3.Error, OSError):
            self._lock = hold(path)
            if marked_damaged(path) or unfinished(path) is not None:
                return  # what is opened will be another file
            with closing(open_to_read(path)) as connection:
                if connection.execute("PRAGMA user_version").fetchone() == (MIGRATIONS[-1].number,):
                    self._found = slot_columns(connection, since)
