"""Readings: their identity, their place in the table, and the way back out."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import replace
from heapq import merge
from operator import itemgetter
from typing import TYPE_CHECKING

from monitor.core.model import SECOND
from monitor.store.records import (
    LARGEST,
    LAST_TIME,
    MOST_AT_ONCE,
    MOST_SERIES,
    ReadingRow,
    begin_of,
    check_storable,
    exact_time,
    from_row,
    number_of,
    reason_of,
    row_exact_time,
    series_of,
    time_of,
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
_SELECT = "SELECT at, milli, mark, late, seq FROM reading "
_INSERT = "INSERT OR IGNORE INTO reading (at, milli, mark, late, seq) VALUES (?, ?, ?, ?, ?)"


class ReadingShelf:
    def __init__(self, connection: sqlite3.Connection, series: Names, reasons: Names) -> None:
        self._connection = connection
        self._series = series
        self._reasons = reasons
        self._waiting: OrderedDict[tuple[Ms, int], list[ReadingRow]] = OrderedDict()
        self._count = 0
        self._windows: dict[int, SequenceWindow] = {}
        self._newest: dict[int, tuple[Ms, list[ReadingRow]]] = {}
        """By series: no reading of it is later, and all that are of that time; not there: as late as ``_found`` at most."""
        newest = connection.execute(_SELECT + "ORDER BY at DESC LIMIT ?", (_NEWEST_ROWS,)).fetchall()
        self._found: Ms = time_of(newest[0][0]) if newest else -LAST_TIME
        for row in reversed(newest):
            if row[4] is not None and not row_exact_time(row):
                self._note(row)

    @property
    def waiting(self) -> int:
        return self._count

    def add(self, reading: Reading) -> Reading | None:
        check_storable(reading)
        series = self._series.id_of(reading.probe)
        if series > MOST_SERIES:
            raise ValueError(f"probe {reading.probe}: a store holds at most {MOST_SERIES} probes")
        here = self._here(reading.time, series)
        if exact_time(reading):
            if any(row_exact_time(row) and _same_or_unknown(row[4], reading.seq) for row in here):
                return None
        elif reading.seq is not None:
            window = self._windows.get(series)
            arrived = reading.arrived or reading.time
            if window is not None and window.repeats(reading.seq, reading.milli, arrived):
                return None
        n = _next_number(here)
        placed = reading
        if n >= MOST_AT_ONCE:
            placed = self._later(reading, series)
        elif n != reading.n:
            placed = replace(reading, n=n)
        row = to_row(placed, series, self._reasons.id_of(reading.reason) if reading.reason else 0)
        self._wait(placed.time, series, row)
        if reading.seq is not None and not exact_time(reading):
            self._note(row)
        return placed

    def unwritten(self) -> Iterator[int]:
        """The numbers ``at`` of what waits, in any order."""
        return (row[0] for rows in self._waiting.values() for row in rows)

    def trim(self, limit: int = UNSAVED_READINGS) -> int:
        """Let the oldest go until ``limit`` are left; give back how many went."""
        gone = max(self._count - limit, 0)
        while self._count > limit:
            (time, series), rows = next(iter(self._waiting.items()))
            old = rows[: self._count - limit]
            del rows[: len(old)]
            if not rows:
                del self._waiting[time, series]
            newest = self._newest.get(series)
            if newest is not None and newest[0] == time:
                self._newest[series] = (time, [row for row in newest[1] if row not in old])
            self._count -= len(old)
        return gone

    def write(self, connection: sqlite3.Connection) -> None:
        rows = self._rows()
        connection.executemany(_INSERT, rows)
        connection.executemany(MARK_STALE, sorted({(quarter_of(time_of(row[0])), series_of(row[0])) for row in rows}))

    def saved(self) -> None:
        self._waiting.clear()
        self._count = 0

    def between(self, since: Ms, until: Ms | None, probe: str | None) -> Iterator[Reading]:
        """Readings in order of (time, n, series), written or not; ``since`` included, ``until`` not.

        Rows are fetched page by page, so that a slow reader holds no transaction open.
        """
        begin, end = begin_of(since), LARGEST if until is None else begin_of(until)
        only = None if probe is None else self._series.known_id(probe)
        if probe is not None and only is None:
            return
        unwritten = [row for row in self._rows() if begin <= row[0] < end and only in (None, series_of(row[0]))]
        last = None
        for row in merge(self._pages(begin, end, only), unwritten, key=itemgetter(0)):
            if row[0] != last:  # it may have been written since ``unwritten`` was taken
                last = row[0]
                yield from_row(row, self._series.text_of(series_of(row[0])), self._reasons.text_of(reason_of(row)))

    def _pages(self, begin: int, end: int, only: int | None) -> Iterator[ReadingRow]:
        last = max(begin - 1, -LARGEST - 1)
        choice = "" if only is None else "AND series = :only "
        query = f"{_SELECT}WHERE at > :last AND at < :end {choice}ORDER BY at LIMIT :page"
        while True:
            values = {"last": last, "end": end, "only": only, "page": _PAGE}
            page = self._connection.execute(query, values).fetchall()
            yield from page
            if len(page) < _PAGE:
                return
            last = page[-1][0]

    def _at(self, time: Ms, series: int) -> list[ReadingRow]:
        span = (begin_of(time), begin_of(time + 1), series)
        written = self._connection.execute(
            _SELECT + "WHERE at >= ? AND at < ? AND series = ? ORDER BY at", span
        ).fetchall()
        return written + self._waiting.get((time, series), [])

    def _here(self, time: Ms, series: int) -> list[ReadingRow]:
        """What is there of a series at this time, by number; of its newest time, as nearly always, without a look at the file."""
        newest = self._newest.get(series)
        if time > (self._found if newest is None else newest[0]):
            self._newest[series] = (time, [])
            return []
        return newest[1] if newest is not None and time == newest[0] else self._at(time, series)

    def _later(self, reading: Reading, series: int) -> Reading:
        """A time of arrival is no identity: what came in too large a burst for one millisecond is of the next one."""
        if exact_time(reading):
            raise ValueError(f"probe {reading.probe}: more than {MOST_AT_ONCE} readings in one millisecond")
        time, n = reading.time, MOST_AT_ONCE
        while n >= MOST_AT_ONCE:
            time += 1
            n = _next_number(self._here(time, series))
        return replace(reading, time=time, n=n, arrived=reading.arrived and max(reading.arrived, time))

    def _wait(self, time: Ms, series: int, row: ReadingRow) -> None:
        self._waiting.setdefault((time, series), []).append(row)
        self._count += 1
        newest = self._newest.get(series)
        if newest is not None and newest[0] == time:
            newest[1].append(row)

    def _rows(self) -> list[ReadingRow]:
        return sorted((row for rows in self._waiting.values() for row in rows), key=itemgetter(0))

    def _note(self, row: ReadingRow) -> None:
        at, milli, _, late, seq = row
        if seq is None:
            return
        window = self._windows.get(series_of(at))
        if window is None:
            window = self._windows[series_of(at)] = SequenceWindow()
        window.note(seq, milli, time_of(at) + (late or 0) * SECOND)


def _next_number(here: list[ReadingRow]) -> int:
    return 1 + number_of(here[-1][0]) if here else 0


def _same_or_unknown(one: int | None, other: int | None) -> bool:
    return one is None or other is None or one == other
