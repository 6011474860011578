"""What every part of the store has in common, and the small tables that turn names into numbers.

A shelf keeps what was put on it in memory until a commit has written it. Nothing is lost when a commit fails: SQLite
rolls back, the shelf still has it all, and the next commit writes it. Everything asked meanwhile is answered from
the file and the shelf together.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from monitor.store.records import plain

if TYPE_CHECKING:
    import sqlite3


class Shelf(Protocol):
    @property
    def waiting(self) -> int:
        """How many things wait to be written."""

    def write(self, connection: sqlite3.Connection) -> None:
        """Write what waits, inside the open transaction."""

    def saved(self) -> None:
        """The transaction is committed: forget what waited."""


def next_id(connection: sqlite3.Connection, table: str) -> int:
    """The first number that no row of a table has."""
    (newest,) = connection.execute(f"SELECT coalesce(max(id), 0) FROM {table}").fetchone()  # noqa: S608
    return int(newest) + 1


class Names:
    """A table of (id, text); ids are given out in memory and written with the rows that use them.

    ``cached``: how many texts to hold in memory; the rest is looked up when asked.
    """

    def __init__(self, connection: sqlite3.Connection, table: str, column: str, cached: int) -> None:
        self._connection = connection
        self._find_id = f"SELECT id FROM {table} WHERE {column} = ?"  # noqa: S608
        self._find_text = f"SELECT {column} FROM {table} WHERE id = ?"  # noqa: S608
        self._insert = f"INSERT OR IGNORE INTO {table} (id, {column}) VALUES (?, ?)"  # noqa: S608
        self._cached = cached
        self._ids: dict[str, int] = {}
        self._texts: dict[int, str] = {}
        self._new: dict[str, int] = {}
        (newest,) = connection.execute(f"SELECT coalesce(max(id), 0) FROM {table}").fetchone()  # noqa: S608
        self._next = newest + 1

    @property
    def waiting(self) -> int:
        return 0  # a name alone is no reason for a commit

    def id_of(self, text: str) -> int:
        """The number of this text, a new one if it has none; numbers start at 1."""
        known = self._ids.get(text)
        return known if known is not None else self._look_up(plain(text))

    def known_id(self, text: str) -> int | None:
        known = self._ids.get(text)
        if known is not None:
            return known
        found = self._connection.execute(self._find_id, (plain(text),)).fetchone()
        return None if found is None else int(found[0])

    def text_of(self, number: int) -> str:
        """The text of a number that was given out; empty for 0."""
        if not number:
            return ""
        known = self._texts.get(number)
        if known is None:
            (known,) = self._connection.execute(self._find_text, (number,)).fetchone()
            self._hold(known, number)
        return str(known)

    def write(self, connection: sqlite3.Connection) -> None:
        connection.executemany(self._insert, [(number, text) for text, number in self._new.items()])

    def saved(self) -> None:
        self._new.clear()

    def _look_up(self, text: str) -> int:
        number = self.known_id(text)
        if number is None:
            number = self._next
            self._next += 1
            self._new[text] = number
        self._hold(text, number)
        return number

    def _hold(self, text: str, number: int) -> None:
        if len(self._ids) >= self._cached:
            self._ids = dict(self._new)
            self._texts = {new: name for name, new in self._new.items()}
        self._ids[text] = number
        self._texts[number] = text
