"""What lies in the store of the last weeks, read beside its owner: a connection of its own that can only read.

A long look back must not hold up the thread of decisions. SQLite's write-ahead log lets it read while the owner writes; it sees
what is committed, which for alarms and letters is everything but what a failing disk has not taken.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor.core.dispatch import Kind
from monitor.core.light import light
from monitor.core.model import AlarmState, Priority
from monitor.store.errors import in_our_words
from monitor.store.letters import parts_from_column
from monitor.store.records import alarm_from_record, transition_from_record

if TYPE_CHECKING:
    from monitor.core.model import Alarm, Ms, Transition

MOST: Final = 20_000
"""Rows of a kind that are read at most, the newest: one wild alarm must not fill the memory of a small machine."""
_OVER: Final = (AlarmState.NORMAL, AlarmState.RETURNED)


@light
class PastLetter:
    """A letter that a channel took. ``went`` is when it was handed out, in the engine's time."""

    went: Ms
    channel: str
    kind: Kind
    priority: Priority
    alarms: tuple[str, ...]


@light
class Past:
    """Transitions and letters in order of time; alarms as they stand; since when there is a store."""

    begun: Ms
    transitions: list[Transition]
    letters: list[PastLetter]
    standing: list[Alarm]


def read_past(path: Path | str, since: Ms, went_since: Ms) -> Past:
    """Transitions of ``since`` and later, letters handed out at ``went_since`` or later and taken.

    Safe from any thread. Raises StoreError.
    """
    path = Path(path)
    with in_our_words(path), closing(open_to_read(path)) as connection:
        connection.execute("BEGIN")  # one instant for all that is read
        (begun,) = connection.execute("SELECT min(applied) FROM migration").fetchone()
        alarms = connection.execute("SELECT fields FROM alarm ORDER BY id").fetchall()
        found = Past(
            begun,
            _transitions(connection, since),
            _letters(connection, went_since),
            [alarm for (text,) in alarms if (alarm := alarm_from_record(text)).state is not AlarmState.NORMAL],
        )
        connection.execute("ROLLBACK")
        return found


def begun_of(path: Path) -> Ms | None:
    """Since when there is this store; None when there is none yet. Raises StoreError."""
    if not path.exists():
        return None
    with in_our_words(path), closing(open_to_read(path)) as connection:
        (begun,) = connection.execute("SELECT min(applied) FROM migration").fetchone()
    return None if begun is None else int(begun)


def open_to_read(path: Path) -> sqlite3.Connection:
    """A connection that can only read; the file must be there."""
    address = f"{path.absolute().as_uri()}?mode=ro"
    return sqlite3.connect(address, timeout=2.0, isolation_level=None, uri=True)


def _transitions(connection: sqlite3.Connection, since: Ms) -> list[Transition]:
    rows = connection.execute(
        "SELECT time, before, notify, reason, fields FROM transition WHERE time >= ? ORDER BY id DESC LIMIT ?",
        (since, MOST),
    ).fetchall()
    return [transition_from_record(*row) for row in reversed(rows)]


def _letters(connection: sqlite3.Connection, since: Ms) -> list[PastLetter]:
    rows = connection.execute(
        "SELECT coalesce(went, told), channel, kind, priority, outbox.alarm, parts, before, after "
        "FROM outbox LEFT JOIN transition ON transition.id = transition_id "
        "WHERE state = 'told' AND coalesce(went, told) >= ? ORDER BY coalesce(went, told) DESC LIMIT ?",
        (since, MOST),
    ).fetchall()
    return [_letter(*row) for row in reversed(rows)]


def _letter(
    went: Ms,
    channel: str,
    kind: str,
    priority: str,
    alarm: str,
    parts: Any,
    before: str | None,
    after: str | None,
) -> PastLetter:
    known = Kind(kind)
    told = tuple(part.alarm for part in parts_from_column(parts))
    if known is Kind.TROUBLE and not told and after is not None:  # from before letters had a kind
        known = Kind.OVER if after in _OVER else Kind.REPEAT if before == after else known
    return PastLetter(went, channel, known, Priority(priority), told or (alarm,))
