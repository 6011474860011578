"""The record as a reader sees it: trends, log, estimates as they were told, alarms. Safe from any thread.

Each question opens a connection of its own that can only read, and is answered as of one instant. What the owner has not
committed yet (at most ``commit_every``) is not seen.
"""

from __future__ import annotations

import json
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.core.wording import rfc3339
from monitor.store.course import Point, Step, Trend, course
from monitor.store.errors import in_our_words
from monitor.store.past import open_to_read
from monitor.store.records import (
    LARGEST,
    begin_of,
    entry_from_record,
    from_row,
    reason_of,
    told_from_record,
    transition_from_record,
)
from monitor.store.rollups import horizon

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator

    from monitor.core.log import LogEntry
    from monitor.core.model import Ms, Reading, Transition

__all__ = ["KnownProbe", "Noted", "PastTransition", "Point", "Record", "Step", "ToldEstimate", "Trend"]

POINTS: Final = 2000
"""More than a screen has columns."""


@light
class KnownProbe:
    """A probe that was ever heard, and from when to when, as far as it is known to the quarter of an hour."""

    id: str
    first: Ms | None
    last: Ms | None


@light
class Noted:
    id: int
    entry: LogEntry


@light
class ToldEstimate:
    """``document`` is as replay prints it, without alarms."""

    id: int
    batch: str
    time: Ms
    document: dict[str, Any]


@light
class PastTransition:
    id: int
    transition: Transition


class Record:
    """Every method raises StoreError when the store can't be read just now."""

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)

    def probes(self) -> list[KnownProbe]:
        """By id."""
        with self._reading() as connection:
            rows = connection.execute(
                """SELECT probe,
                     (SELECT min(slot) FROM (SELECT min(slot) AS slot FROM rollup_quarter WHERE series = series.id
                      UNION ALL SELECT min(slot) FROM stale WHERE stale.series = series.id)),
                     (SELECT max(slot) FROM (SELECT max(slot) AS slot FROM rollup_quarter WHERE series = series.id
                      UNION ALL SELECT max(slot) FROM stale WHERE stale.series = series.id))
                   FROM series ORDER BY probe"""
            ).fetchall()
        return [KnownProbe(*row) for row in rows]

    def trend(self, probe: str, since: Ms, until: Ms, points: int = POINTS) -> Trend:
        """``since`` included, ``until`` not; intervals are whole, so the first may begin a little before."""
        with self._reading() as connection:
            return course(connection, probe, since, until, max(points, 1))

    def readings(
        self, since: Ms, until: Ms, probe: str | None = None, after: int | None = None, limit: int = POINTS
    ) -> list[tuple[int, Reading]]:
        """One page in order of time, each with its number; ``after`` is the number that the page before ended with."""
        begin = max(begin_of(since), 0 if after is None else after + 1)
        query = (
            "SELECT at, milli, mark, late, seq, probe FROM reading JOIN series ON series.id = series "
            "WHERE at >= ? AND at < ? "
            f"{'' if probe is None else 'AND series = (SELECT id FROM series WHERE probe = ?) '}"
            "ORDER BY at LIMIT ?"
        )
        values = (begin, begin_of(until), *(() if probe is None else (probe,)), limit)
        with self._reading() as connection:
            rows = connection.execute(query, values).fetchall()
            numbers = {reason_of(row[:5]) for row in rows}
            reasons = dict(connection.execute("SELECT id, text FROM reason").fetchall()) if numbers != {0} else {}
        return [(row[0], from_row(row[:5], row[5], reasons.get(reason_of(row[:5]), ""))) for row in rows]

    def entries(self) -> list[Noted]:
        """The keeper's log, whole, in order of ``logged``."""
        with self._reading() as connection:
            rows = connection.execute("SELECT id, time, logged, kind, fields FROM event ORDER BY logged, id").fetchall()
        return [Noted(number, entry_from_record(*values)) for number, *values in rows]

    def told(self, batch: str | None = None, after: int = 0, limit: int | None = None) -> list[ToldEstimate]:
        """Estimates as they were told, in that order; ``after`` is the id that a page before ended with."""
        query = (
            "SELECT id, batch, time, fields FROM told_estimate WHERE id > ? "
            f"{'' if batch is None else 'AND batch = ? '}ORDER BY id LIMIT ?"
        )
        values = (after, *(() if batch is None else (batch,)), -1 if limit is None else limit)
        with self._reading() as connection:
            rows = connection.execute(query, values).fetchall()
        return [
            ToldEstimate(number, name, time, told_from_record(rfc3339(time), name, text))
            for number, name, time, text in rows
        ]

    def transitions(
        self, since: Ms = 0, until: Ms | None = None, after: int = 0, limit: int | None = None
    ) -> list[PastTransition]:
        """What alarms went through, in the order in which it was kept."""
        with self._reading() as connection:
            rows = connection.execute(
                "SELECT id, time, before, notify, reason, fields FROM transition "
                "WHERE id > ? AND time >= ? AND time < ? ORDER BY id LIMIT ?",
                (after, since, LARGEST if until is None else until, -1 if limit is None else limit),
            ).fetchall()
        return [PastTransition(number, transition_from_record(*values)) for number, *values in rows]

    def kept(self, prefix: str) -> dict[str, Any]:
        """Documents the core gave to keep, by key: those of ``lot/``, ``vessel/``, ``prior/`` and others."""
        with self._reading() as connection:
            rows = connection.execute(
                "SELECT key, value FROM kept WHERE substr(key, 1, ?) = ? ORDER BY key", (len(prefix), prefix)
            ).fetchall()
        return {key: json.loads(value) for key, value in rows}

    def horizons(self) -> tuple[Ms, Ms]:
        """What is older was cleared away: of readings, of minutes. Far in the past when nothing was."""
        with self._reading() as connection:
            return horizon(connection, "raw"), horizon(connection, "minute")

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with in_our_words(self.path), closing(open_to_read(self.path)) as connection:
            connection.execute("BEGIN")
            yield connection
