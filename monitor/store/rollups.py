"""Roll-ups of the readings by the minute, the quarter of an hour and the day (UTC), kept up step by step.

A commit only marks which quarter-hours have changed. About once an hour those that are over are reckoned anew from the
readings, so that late data count like any other and a crash anywhere loses nothing. Readings that are later than what is kept
raw are added to the roll-ups instead, and go.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.model import DAY, MINUTE

if TYPE_CHECKING:
    import sqlite3

    from monitor.core.model import Ms

QUARTER: Final[Ms] = 15 * MINUTE

MARK_STALE: Final = "INSERT OR IGNORE INTO stale (slot, series) VALUES (?, ?)"

_QUARTERS: Final = 4
_ENOUGH: Final = 20_000
"""Readings after which a step ends, so that it holds up nobody for long: a tenth of a second on a small board."""

_OK: Final = "(mark & 7) IN (0, 4)"
# No sum of a quarter-hour may run over 64 bits, whatever a counter counts.
_MILLI: Final = "max(min(milli, 1000000000000000), -1000000000000000)"

SUMS: Final = f"""
    coalesce(sum({_OK}), 0), coalesce(sum({_MILLI}) FILTER (WHERE {_OK}), 0),
    min({_MILLI}) FILTER (WHERE {_OK}), max({_MILLI}) FILTER (WHERE {_OK}),
    coalesce(sum((mark & 7) = 1), 0),
    coalesce(sum(((mark >> 4) & 3) = 1) FILTER (WHERE {_OK}), 0),
    coalesce(sum(((mark >> 4) & 3) = 3) FILTER (WHERE {_OK}), 0)"""
"""count, total, low, high, suspect, stopped, weak of a group of readings."""

SUMS_OF_ROLLUPS: Final = "sum(count), sum(total), min(low), max(high), sum(suspect), sum(stopped), sum(weak)"

_INTO: Final = "(series, slot, count, total, low, high, suspect, stopped, weak)"
_IN_QUARTER: Final = (
    f"FROM reading WHERE time >= :slot AND time < :slot + {QUARTER} "
    "AND series IN (SELECT series FROM stale WHERE slot = :slot)"
)
_BY_MINUTE: Final = (
    f"SELECT series, time - (time - :slot) % {MINUTE} AS minute, {SUMS} {_IN_QUARTER} GROUP BY series, minute"
)
_BY_QUARTER: Final = f"SELECT series, :slot, {SUMS} {_IN_QUARTER} GROUP BY series"
_ADD: Final = """ON CONFLICT (series, slot) DO UPDATE SET
    count = count + excluded.count, total = total + excluded.total,
    low = min(coalesce(low, excluded.low), coalesce(excluded.low, low)),
    high = max(coalesce(high, excluded.high), coalesce(excluded.high, high)),
    suspect = suspect + excluded.suspect, stopped = stopped + excluded.stopped, weak = weak + excluded.weak"""


def quarter_of(time: Ms) -> Ms:
    """When the quarter of an hour of an instant begins."""
    return time // QUARTER * QUARTER


def horizon(connection: sqlite3.Connection, kind: str) -> Ms:
    """What is older was cleared away; before all time when nothing was."""
    found = connection.execute("SELECT time FROM horizon WHERE kind = ?", (kind,)).fetchone()
    return -(2**62) if found is None else int(found[0])


def roll_up(connection: sqlite3.Connection, now: Ms) -> bool:
    """One step, inside the open transaction: some quarter-hours that are over, the oldest first. Whether more are due."""
    due = connection.execute(
        f"SELECT DISTINCT slot FROM stale WHERE slot <= ? ORDER BY slot LIMIT {_QUARTERS + 1}", (now - QUARTER,)
    ).fetchall()
    raw, minute = horizon(connection, "raw"), horizon(connection, "minute")
    days: set[tuple[int, Ms]] = set()
    seen = 0
    for done, (slot,) in enumerate(due):
        if done == _QUARTERS or seen > _ENOUGH:
            break
        days |= {(series, slot // DAY * DAY) for (series,) in _stale_at(connection, slot)}
        seen += _quarter(connection, slot, add=slot < raw, minutes=slot >= minute)
    else:
        done = len(due)
    connection.executemany(
        f"INSERT OR REPLACE INTO rollup_day {_INTO} SELECT series, :day, {SUMS_OF_ROLLUPS} FROM rollup_quarter "
        f"WHERE series = :series AND slot >= :day AND slot < :day + {DAY} GROUP BY series",
        [{"series": series, "day": day} for series, day in sorted(days)],
    )
    return done < len(due)


def _stale_at(connection: sqlite3.Connection, slot: Ms) -> list[tuple[int]]:
    return connection.execute("SELECT series FROM stale WHERE slot = ?", (slot,)).fetchall()


def _quarter(connection: sqlite3.Connection, slot: Ms, *, add: bool, minutes: bool) -> int:
    """Reckon one quarter-hour of all probes that changed in it, or add to it; how many readings it had."""
    verb, end = ("INSERT INTO", f" {_ADD}") if add else ("INSERT OR REPLACE INTO", "")
    at = {"slot": slot}
    if minutes:
        # WHERE true: without it SQLite takes ON CONFLICT for the ON of a join.
        connection.execute(f"{verb} rollup_minute {_INTO} SELECT * FROM ({_BY_MINUTE}) WHERE true{end}", at)
    connection.execute(f"{verb} rollup_quarter {_INTO} SELECT * FROM ({_BY_QUARTER}) WHERE true{end}", at)
    (count,) = connection.execute(
        f"SELECT count(*) FROM reading WHERE time >= :slot AND time < :slot + {QUARTER}", at
    ).fetchone()
    if add:
        connection.execute(f"DELETE FROM reading WHERE time >= :slot AND time < :slot + {QUARTER}", at)
    connection.execute("DELETE FROM stale WHERE slot = :slot", at)
    return int(count)
