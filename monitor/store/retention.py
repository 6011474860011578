"""What is cleared away once it is old, a little at a time, and the room it leaves in the file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.model import DAY, HOUR, MINUTE
from monitor.store.records import begin_of, time_of
from monitor.store.rollups import horizon, quarter_of

if TYPE_CHECKING:
    import sqlite3

    from monitor.core.model import Ms

_STEP: Final[Ms] = HOUR
"""So much of the time is cleared in one step."""
_MINUTES: Final = DAY // MINUTE
_FREE_PAGES: Final = 250
_VACUUM_PAGES: Final = 200
_VACUUM_SHARE: Final = 0.1
"""Less of the file may lie empty: new readings soon fill it again, and moving pages about wears the card."""


@light
class Keep:
    """How long readings and minutes are kept. Quarter-hours and days are kept for ever."""

    raw: Ms = 60 * DAY
    minute: Ms = 90 * DAY


def clear(connection: sqlite3.Connection, now: Ms, keep: Keep) -> bool:
    """One step, inside the open transaction. Whether more is due.

    A clock that leaps ahead must not cost the history: nothing goes before as many days as half of those to be kept have been
    rolled up since.
    """
    readings = _readings(connection, quarter_of(now - keep.raw), keep.raw)
    minutes = _minutes(connection, quarter_of(now - keep.minute), keep.minute)
    slots = _slots(connection, now - keep.raw, keep.raw)
    return readings or minutes or slots


def _lived_through(connection: sqlite3.Connection, cut: Ms, kept: Ms) -> bool:
    (days,) = connection.execute("SELECT count(DISTINCT slot) FROM rollup_day WHERE slot >= ?", (cut,)).fetchone()
    lived: int = days * DAY
    return 2 * lived >= kept


def _readings(connection: sqlite3.Connection, cut: Ms, kept: Ms) -> bool:
    (first,) = connection.execute("SELECT min(at) FROM reading").fetchone()
    oldest = cut if first is None else time_of(first)
    if oldest >= cut or not _lived_through(connection, cut, kept):
        return False
    until = min(cut, quarter_of(oldest) + _STEP)
    waits = connection.execute("SELECT 1 FROM stale WHERE slot < ? LIMIT 1", (until,)).fetchone()
    if waits is not None:
        return False  # it is not rolled up yet
    connection.execute("DELETE FROM reading WHERE at < ?", (begin_of(until),))
    _set_horizon(connection, "raw", until)
    return until < cut


def _minutes(connection: sqlite3.Connection, cut: Ms, kept: Ms) -> bool:
    """Those of one probe in a step."""
    if cut <= horizon(connection, "minute") or not _lived_through(connection, cut, kept):
        return False
    for (series,) in connection.execute("SELECT id FROM series ORDER BY id").fetchall():
        found = connection.execute(
            f"SELECT slot FROM rollup_minute WHERE series = ? AND slot < ? LIMIT {_MINUTES}", (series, cut)
        ).fetchall()
        if found:
            connection.execute("DELETE FROM rollup_minute WHERE series = ? AND slot <= ?", (series, found[-1][0]))
            return True
    _set_horizon(connection, "minute", cut)
    return False


def _slots(connection: sqlite3.Connection, cut: Ms, kept: Ms) -> bool:
    (oldest,) = connection.execute("SELECT min(slot) FROM slot").fetchone()
    if oldest is None or oldest >= cut or not _lived_through(connection, cut, kept):
        return False
    until: Ms = min(cut, oldest + DAY)
    connection.execute("DELETE FROM slot WHERE slot < ?", (until,))
    return until < cut


def _set_horizon(connection: sqlite3.Connection, kind: str, time: Ms) -> None:
    connection.execute(
        "INSERT INTO horizon VALUES (?, ?) ON CONFLICT (kind) DO UPDATE SET time = max(time, excluded.time)",
        (kind, time),
    )


def give_back(connection: sqlite3.Connection) -> bool:
    """Outside of a transaction: give some empty pages back to the disk, if many lie empty. Whether more is due."""
    (free,) = connection.execute("PRAGMA freelist_count").fetchone()
    (pages,) = connection.execute("PRAGMA page_count").fetchone()
    if free < _FREE_PAGES or free < _VACUUM_SHARE * pages:
        return False
    connection.execute(f"PRAGMA incremental_vacuum({_VACUUM_PAGES})").fetchall()
    return True
