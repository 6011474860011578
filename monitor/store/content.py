"""What a store holds, in a few numbers: to hold a copy against its source, and to see whether anything has come since."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import sqlite3

FIRST_WITH_MARK: Final = 3
_NEWEST: Final = (("reading", "at"), ("event", "id"), ("transition", "id"), ("told_estimate", "id"), ("outbox", "id"))
_PASSING: Final = frozenset(
    {"delivery", "sink", "resend", "stale", "rollup_minute", "rollup_quarter", "rollup_day", "kept"}
)
"""Rows that come and go while nothing new is known; what matters of `kept` is looked at by itself."""


def counts(connection: sqlite3.Connection) -> dict[str, int]:
    """Rows by table. It goes through the whole file once."""
    tables = connection.execute(
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite!_%' ESCAPE '!' ORDER BY name"
    ).fetchall()
    return {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for (name,) in tables}


def mark_of(connection: sqlite3.Connection, found: dict[str, int]) -> str:
    """The same as long as nothing was read, logged, told, alarmed or learned; empty for the oldest schemas.

    ``found`` are its ``counts``. What a running process notes of itself does not count.
    """
    (schema,) = connection.execute("PRAGMA user_version").fetchone()
    if schema < FIRST_WITH_MARK:
        return ""
    told: list[object] = [(table, number) for table, number in found.items() if table not in _PASSING]
    told += [connection.execute(f"SELECT max({column}) FROM {table}").fetchone() for table, column in _NEWEST]
    told += connection.execute("SELECT id, fields FROM alarm ORDER BY id").fetchall()
    told += connection.execute("SELECT key, value FROM kept WHERE key NOT LIKE 'run/%' ORDER BY key").fetchall()
    told += connection.execute("SELECT state, count(*) FROM outbox GROUP BY state ORDER BY state").fetchall()
    return hashlib.sha256(repr(told).encode()).hexdigest()
