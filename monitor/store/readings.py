"""Readings: their identity, their place in the table, and the way back out."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import replace
from heapq import merge
from typing import TYPE_CHECKING

from monitor.store.records import (
    LARGEST,
    MOST_SERIES,
    ReadingRow,
    check_storable,
    exact_time,
    from_row,
    number_of,
    reason_of,
    row_exact_time,
    series_of,
    to_row,
)
from monitor.store.rollups import MARK_STALE, quarter_of
from monitor.store.sequences import SequenceWindow

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator

    from monitor.core.model import Ms, Reading
    from monitor.store.shelf import Names

UNSAVED_READINGS = 10_000
"""How many readings may wait while the disk takes none; then the oldest give way to the newest."""

_NEWEST_ROWS = 50_000
"""Rows read at opening for the sequence numbers in them: four hours of thirty probes at 10 s."""

_PAGE = 2_000
_SELECT = "SELECT time, place, milli, mark, late, seq FROM reading "
_INSERT = "INSERT OR IGNORE INTO reading (time, place, milli, mark, late, seq) VALUES (?, ?, ?, ?, ?, ?)"


class ReadingShelf:
    def __init__(self, connection: sqlite3.Connection, series: Names, reasons: Names) -> None:
        self._connection = connection
        self._series = series
        self._reasons = reasons
        self._waiting: OrderedDict[tuple[Ms, int], list[ReadingRow]] = OrderedDict()
        self._count = 0
        self._windows: dict[int, SequenceWindow] = {}
        newest = connection.execute(_SELECT + "ORDER BY time DESC, place DESC LIMIT ?", (_NEWEST_ROWS,)).fetchall()
        for row in reversed(newest):
            if row[5] is not None and not row_exact_time(row):
                self._note(row)

    @property
    def waiting(self) -> int:
        return self._count

    def add(self, reading: Reading) -> Reading | None:
        check_storable(reading)
        series = self._series.id_of(reading.probe)
        if series > MOST_SERIES:
            raise ValueError(f"probe {reading.probe}: a store holds at most {MOST_SERIES} probes")
        here = self._at(reading.time, series)
        if exact_time(reading):
            if any(row_exact_time(row) and _same_or_unknown(row[5], reading.seq) for row in here):
                return None
        elif reading.seq is not None:
            window = self._windows.get(series)
            arrived = reading.arrived or reading.time
            if window is not None and window.repeats(reading.seq, reading.milli, arrived):
                return None
        placed = replace(reading, n=1 + max((number_of(row[1]) for row in here), default=-1))
        row = to_row(placed, series, self._reasons.id_of(reading.reason) if reading.reason else 0)
        self._waiting.setdefault((reading.time, series), []).append(row)
        self._count += 1
        if reading.seq is not None and not exact_time(reading):
            self._note(row)
        return placed

    def trim(self, limit: int = UNSAVED_READINGS) -> int:
        """Let the oldest go until ``limit`` are left; give back how many went."""
        gone = 0
        while self._count > limit:
            _, rows = self._waiting.popitem(last=False)
            gone += len(rows)
            self._count -= len(rows)
        return gone

    def write(self, connection: sqlite3.Connection) -> None:
        rows = self._rows()
        connection.executemany(_INSERT, rows)
        connection.executemany(MARK_STALE, sorted({(quarter_of(row[0]), series_of(row[1])) for row in rows}))

    def saved(self) -> None:
        self._waiting.clear()
        self._count = 0

    def between(self, since: Ms, until: Ms | None, probe: str | None) -> Iterator[Reading]:
        """Readings in order of (time, n, series), written or not; ``since`` included, ``until`` not.

        Rows are fetched page by page, so that a slow reader holds no transaction open.
        """
        end = LARGEST if until is None else until
        only = None if probe is None else self._series.known_id(probe)
        if probe is not None and only is None:
            return
        unwritten = [row for row in self._rows() if since <= row[0] < end and only in (None, series_of(row[1]))]
        last = None
        for row in merge(self._pages(since, end, only), unwritten, key=lambda row: row[:2]):
            if row[:2] != last:  # it may have been written since ``unwritten`` was taken
                last = row[:2]
                yield from_row(row, self._series.text_of(series_of(row[1])), self._reasons.text_of(reason_of(row)))

    def _pages(self, since: Ms, end: Ms, only: int | None) -> Iterator[ReadingRow]:
        key = (since, -1)
        choice = "" if only is None else "AND series = :only "
        place = "WHERE (time, place) > (:time, :place) AND time < :end "
        query = f"{_SELECT}{place}{choice}ORDER BY time, place LIMIT :page"
        while True:
            values = {"time": key[0], "place": key[1], "end": end, "only": only, "page": _PAGE}
            page = self._connection.execute(query, values).fetchall()
            yield from page
            if len(page) < _PAGE:
                return
            key = page[-1][:2]

    def _at(self, time: Ms, series: int) -> list[ReadingRow]:
        written = self._connection.execute(_SELECT + "WHERE time = ? AND series = ?", (time, series)).fetchall()
        return written + self._waiting.get((time, series), [])

    def _rows(self) -> list[ReadingRow]:
        return sorted((row for rows in self._waiting.values() for row in rows), key=lambda row: row[:2])

    def _note(self, row: ReadingRow) -> None:
        time, place, milli, _, late, seq = row
        if seq is not None:
            self._windows.setdefault(series_of(place), SequenceWindow()).note(seq, milli, time + (late or 0))


def _same_or_unknown(one: int | None, other: int | None) -> bool:
    return one is None or other is None or one == other
