"""How a probe went over a span of time, at most so many points: from readings, minutes, quarter-hours or days.

Whatever the roll-ups do not know yet (see ``monitor.store.rollups``) is taken from the readings, so a trend is never behind.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.model import DAY, HOUR, MINUTE, Ms
from monitor.store.records import LAST_TIME, TIME_SHIFT, begin_of
from monitor.store.rollups import QUARTER, SUMS, SUMS_OF_ROLLUPS, horizon, quarter_of

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable


class Step(StrEnum):
    """What a trend was read from."""

    RAW = "raw"
    MINUTE = "minute"
    QUARTER = "quarter"
    DAY = "day"


WIDTHS: Final[dict[Step, Ms]] = {Step.RAW: 0, Step.MINUTE: MINUTE, Step.QUARTER: QUARTER, Step.DAY: DAY}
_RAW_SPAN: Final[Ms] = 2 * HOUR  # readings lie by time: those of all probes are passed over
_QUARTER_SPAN: Final[Ms] = 100 * DAY  # ten thousand rows to sum up; days tell as much from here on


@light
class Point:
    """One interval from ``time`` on. ``low``, ``mean``, ``high`` are of usable readings, in the probe's unit.

    They are None when ``count`` is 0. ``stopped`` and ``weak`` count readings of an air probe that say so.
    """

    time: Ms
    count: int
    low: float | None
    mean: float | None
    high: float | None
    suspect: int = 0
    stopped: int = 0
    weak: int = 0


@light
class Trend:
    """``width`` is the length of an interval in ms, 0 when each point is a reading."""

    probe: str
    since: Ms
    until: Ms
    step: Step
    width: Ms
    points: list[Point]


_Row = tuple[Ms, int, int, int | None, int | None, int, int, int]
"""slot, count, total, low, high, suspect, stopped, weak."""


def course(connection: sqlite3.Connection, probe: str, since: Ms, until: Ms, points: int) -> Trend:
    """Inside one read transaction. A probe that was never heard of has no points. ``points`` is at least 1."""
    since, until = (max(min(time, LAST_TIME - 1), 0) for time in (since, until))
    raw, minute = horizon(connection, "raw"), horizon(connection, "minute")
    step = _step(since, until, points, raw, minute)
    found = connection.execute("SELECT id FROM series WHERE probe = ?", (probe,)).fetchone()
    if step is Step.RAW:
        if found is None:
            return Trend(probe, since, until, step, 0, [])
        readings = _readings(connection, found[0], since, until, points)
        if readings is not None:
            return Trend(probe, since, until, step, 0, readings)
        step = Step.MINUTE
    base = WIDTHS[step]
    width = max(-(-(until - since) // (points * base)) * base, base)
    if found is None or until <= since:
        return Trend(probe, since, until, step, width, [])
    reader = _Reader(connection, found[0], since, until, width, raw)
    return Trend(probe, since, until, step, width, [_point(row) for row in reader.rows(step)])


def _step(since: Ms, until: Ms, points: int, raw: Ms, minute: Ms) -> Step:
    span = until - since
    if span <= _RAW_SPAN and since >= raw:
        return Step.RAW
    if since >= minute and (span <= max(points, 1) * MINUTE or span <= _RAW_SPAN):
        return Step.MINUTE
    return Step.QUARTER if span <= _QUARTER_SPAN else Step.DAY


def _readings(connection: sqlite3.Connection, series: int, since: Ms, until: Ms, points: int) -> list[Point] | None:
    """Each as it was told; None when there are too many."""
    rows = connection.execute(
        "SELECT time, milli, mark FROM reading WHERE at >= ? AND at < ? AND series = ? ORDER BY at LIMIT ?",
        (begin_of(since), begin_of(until), series, points + 1),
    ).fetchall()
    if len(rows) > points:
        return None
    return [_single(*row) for row in rows]


def _single(time: Ms, milli: int, mark: int) -> Point:
    usable = (mark & 7) in (0, 4)
    value = milli / 1000 if usable else None
    state = (mark >> 4) & 3 if usable else 0
    return Point(time, int(usable), value, value, value, int((mark & 7) == 1), int(state == 1), int(state == 3))


def _point(row: _Row) -> Point:
    slot, count, total, low, high, suspect, stopped, weak = row
    if not count or low is None or high is None:
        return Point(slot, 0, None, None, None, suspect, stopped, weak)
    return Point(slot, count, low / 1000, total / count / 1000, high / 1000, suspect, stopped, weak)


class _Reader:
    def __init__(self, connection: sqlite3.Connection, series: int, since: Ms, until: Ms, width: Ms, raw: Ms) -> None:
        self._connection = connection
        self._width = width
        self._series = series
        self._begin, self._end = since // width * width, -(-until // width) * width
        stale = connection.execute(
            "SELECT slot FROM stale WHERE slot >= ? AND slot < ? AND series = ? ORDER BY slot",
            (quarter_of(self._begin), self._end, series),
        ).fetchall()
        self._stale = [slot for (slot,) in stale]
        self._raw = raw

    def rows(self, step: Step) -> Iterable[_Row]:
        """One for each interval that has any, in order of time."""
        sums: dict[Ms, _Row] = {}
        if step is Step.DAY and self._stale:
            days = sorted({slot // DAY * DAY for slot in self._stale})
            self._add(sums, "rollup_day", f"AND slot NOT IN ({_STALE_DAYS})")
            for day in days:
                self._add(sums, "rollup_quarter", f"AND slot NOT IN ({_STALE_QUARTERS})", day, day + DAY)
        elif step is Step.MINUTE:
            self._add(sums, "rollup_minute", f"AND slot - slot % {QUARTER} NOT IN ({_STALE_QUARTERS})")
        elif step is Step.QUARTER:
            self._add(sums, "rollup_quarter", f"AND slot NOT IN ({_STALE_QUARTERS})")
        else:
            self._add(sums, "rollup_day", "")
        for begin, end in _runs(self._stale):
            self._merge(
                sums,
                f"SELECT time - time % :width AS slot, {SUMS} FROM reading WHERE series = :series "
                f"AND at >= :begin << {TIME_SHIFT} AND at < :end << {TIME_SHIFT} GROUP BY time - time % :width",
                max(begin, self._begin),
                min(end, self._end),
            )
        return [sums[slot] for slot in sorted(sums)]

    def _add(self, sums: dict[Ms, _Row], table: str, but: str, begin: Ms | None = None, end: Ms | None = None) -> None:
        self._merge(
            sums,
            f"SELECT slot - slot % :width AS at, {SUMS_OF_ROLLUPS} FROM {table} WHERE series = :series "
            f"AND slot >= :begin AND slot < :end {but} GROUP BY at",
            self._begin if begin is None else max(begin, self._begin),
            self._end if end is None else min(end, self._end),
        )

    def _merge(self, sums: dict[Ms, _Row], query: str, begin: Ms, end: Ms) -> None:
        values = {
            "width": self._width,
            "series": self._series,
            "begin": begin,
            "end": end,
            "first": quarter_of(begin),
            "raw": self._raw,
        }
        for row in self._connection.execute(query, values):
            known = sums.get(row[0])
            sums[row[0]] = row if known is None else _together(known, row)


# Where readings were cleared, roll-ups hold what they were: late ones come on top of them, not in their place.
_STALE_QUARTERS: Final = (
    "SELECT slot FROM stale WHERE slot >= :first AND slot < :end AND series = :series AND slot >= :raw"
)
_STALE_DAYS: Final = f"SELECT slot - slot % {DAY} FROM stale WHERE slot >= :first AND slot < :end AND series = :series"


def _runs(slots: list[Ms]) -> list[tuple[Ms, Ms]]:
    """Neighbouring quarter-hours as one span."""
    runs: list[tuple[Ms, Ms]] = []
    for slot in slots:
        if runs and runs[-1][1] == slot:
            runs[-1] = (runs[-1][0], slot + QUARTER)
        else:
            runs.append((slot, slot + QUARTER))
    return runs


def _together(one: _Row, two: _Row) -> _Row:
    lows = [low for low in (one[3], two[3]) if low is not None]
    highs = [high for high in (one[4], two[4]) if high is not None]
    return (
        one[0],
        one[1] + two[1],
        one[2] + two[2],
        min(lows, default=None),
        max(highs, default=None),
        one[5] + two[5],
        one[6] + two[6],
        one[7] + two[7],
    )
