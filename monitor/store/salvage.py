"""What a new store takes over from a damaged one, so that who looks after living animals is not asked to begin anew.

The keeper's log, the phones that are pushed to and what was learned are little, and decide what rings. Readings are not taken.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Final

from monitor.store.journal import LogShelf
from monitor.store.past import open_to_read

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from monitor.store.store import Store

NOT_TAKEN: Final = ("run/", "broker.")
"""Notes of a process and its connection."""


def take_over(store: Store, sources: Iterable[Path]) -> Path | None:
    """Put in what the first of the files that can be read has; give that one back. To be committed by the caller."""
    for source in sources:
        try:
            with closing(open_to_read(source)) as connection:
                entries = LogShelf(connection).entries()
                kept = connection.execute("SELECT key, value FROM kept ORDER BY key").fetchall()
        except (sqlite3.Error, ValueError, KeyError, TypeError):
            continue  # damaged just there
        for entry in entries:
            store.log(entry)
        for key, value in kept:
            if not key.startswith(NOT_TAKEN):
                store.keep(key, value)
        return source
    return None
