"""Readings, roll-ups and slots: tables of the store as rows of text, in CSV or as JSON lines, and back."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from monitor.archive.forms import (
    Unfit,
    instant,
    instant_from,
    quality_from,
    thousandths,
    thousandths_from,
    whole_from,
)
from monitor.core.light import light
from monitor.core.model import Air, Quality
from monitor.store.records import LAST_TIME, MOST_AT_ONCE, MOST_SERIES, OWN_TIME, at_of, number_of, series_of, time_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

Cells = list[str]
Row = tuple[Any, ...]

_AIR_WORDS: Final = {air.word: int(air) + 1 for air in Air}
_AIR_TEXTS: Final = ["", *(air.word for air in Air)]
_YES_NO: Final = {"yes": True, "no": False}
_MARKS: Final = 10_000
"""Marks held in memory: a reason may carry a number, so there can be many."""


@light(frozen=False)
class Names:
    """Probes and reasons by their numbers in the store, both ways."""

    probes: dict[int, str] = field(default_factory=dict)
    reasons: dict[int, str] = field(default_factory=dict)
    numbers: dict[str, int] = field(default_factory=dict)
    reason_numbers: dict[str, int] = field(default_factory=dict)
    _told: dict[int, tuple[str, str, str, str]] = field(default_factory=dict)
    _marks: dict[tuple[str, str, str, str], int] = field(default_factory=dict)

    def number(self, probe: str) -> int:
        """Raises Unfit for a probe that the manifest does not list."""
        try:
            return self.numbers[probe]
        except KeyError:
            raise Unfit(f"probe {probe[:60]!r}, which the manifest does not list") from None

    def told(self, mark: int) -> tuple[str, str, str, str]:
        """Quality, air, own_time and reason of a reading's mark."""
        found = self._told.get(mark)
        if found is None:
            if len(self._told) >= _MARKS:
                self._told.clear()
            own = "yes" if mark & OWN_TIME else "no"
            found = (Quality(mark & 7).word, _AIR_TEXTS[mark >> 4 & 3], own, self.reasons.get(mark >> 6, ""))
            self._told[mark] = found
        return found

    def mark(self, quality: str, air: str, own: str, reason: str) -> int:
        """The other way round. Raises Unfit."""
        key = (quality, air, own, reason)
        found = self._marks.get(key)
        if found is None:
            if len(self._marks) >= _MARKS:
                self._marks.clear()
            if air and air not in _AIR_WORDS:
                raise Unfit(f"air {air[:60]!r}; allowed are {', '.join(_AIR_WORDS)} and nothing")
            if own not in _YES_NO:
                raise Unfit(f"own_time {own[:60]!r}; allowed are yes and no")
            number = self.reason_numbers.setdefault(reason, len(self.reason_numbers) + 1) if reason else 0
            found = int(quality_from(quality)) | (OWN_TIME if _YES_NO[own] else 0)
            found |= (_AIR_WORDS[air] if air else 0) << 4 | number << 6
            self._marks[key] = found
        return found


class Column(NamedTuple):
    name: str
    number: bool = False  # bare in JSON


@light
class Table:
    """``cells`` and ``row`` are each other's inverse; ``row`` raises Unfit."""

    stem: str
    columns: tuple[Column, ...]
    select: str  # {where} is filled in
    time: str  # the column that says when; "at" is a time with more behind it
    insert: str
    cells: Callable[[Row, Names], Cells]
    row: Callable[[Sequence[str], Names], Row]
    monthly: bool = False
    whole_only: bool = False  # has no meaning in a part


def _opt(number: int | None) -> str:
    return "" if number is None else str(number)


def _opt_from(text: str) -> int | None:
    return whole_from(text) if text else None


def _reading_cells(row: Row, names: Names) -> Cells:
    at, milli, mark, late, seq = row
    quality, air, own, reason = names.told(mark)
    return [
        instant(time_of(at)),
        names.probes[series_of(at)],
        thousandths(milli),
        quality,
        air,
        own,
        "" if late is None else str(late),
        "" if seq is None else str(seq),
        str(number_of(at)),
        reason,
    ]


def _reading_row(cells: Sequence[str], names: Names) -> Row:
    time, probe, value, quality, air, own, late, seq, n, reason = cells
    nth = whole_from(n)
    if not 0 <= nth < MOST_AT_ONCE:
        raise Unfit(f"n {n}; allowed is 0 to {MOST_AT_ONCE - 1}")
    when = instant_from(time)
    if not -LAST_TIME <= when < LAST_TIME:
        raise Unfit(f"time {time[:40]!r}; allowed is until the year 2109")
    return (
        at_of(when, names.number(probe), nth),
        thousandths_from(value),
        names.mark(quality, air, own, reason),
        _opt_from(late),
        _opt_from(seq),
    )


def _rollup_cells(row: Row, names: Names) -> Cells:
    series, slot, count, total, low, high, *counts = row
    ends = ["" if end is None else thousandths(end) for end in (low, high)]
    return [names.probes[series], instant(slot), str(count), thousandths(total), *ends, *map(str, counts)]


def _rollup_row(cells: Sequence[str], names: Names) -> Row:
    probe, time, count, total, low, high, *counts = cells
    ends = [thousandths_from(end) if end else None for end in (low, high)]
    sums = (whole_from(count), thousandths_from(total))
    return (names.number(probe), instant_from(time), *sums, *ends, *map(whole_from, counts))


def _slot_cells(row: Row, names: Names) -> Cells:
    slot, series, count, total = row
    return [instant(slot), names.probes[series], str(count), thousandths(total)]


def _slot_row(cells: Sequence[str], names: Names) -> Row:
    time, probe, count, total = cells
    return instant_from(time), names.number(probe), whole_from(count), thousandths_from(total)


def _stale_cells(row: Row, names: Names) -> Cells:
    return [instant(row[0]), names.probes[row[1]]]


def _stale_row(cells: Sequence[str], names: Names) -> Row:
    return instant_from(cells[0]), names.number(cells[1])


READINGS: Final = Table(
    stem="readings",
    columns=(
        Column("time"),
        Column("probe"),
        Column("value", number=True),
        Column("quality"),
        Column("air"),
        Column("own_time"),
        Column("late_s", number=True),
        Column("seq", number=True),
        Column("n", number=True),
        Column("reason"),
    ),
    select="SELECT at, milli, mark, late, seq FROM reading {where} ORDER BY at",
    time="at",
    insert="INSERT INTO reading (at, milli, mark, late, seq) VALUES (?, ?, ?, ?, ?)",
    cells=_reading_cells,
    row=_reading_row,
    monthly=True,
)

_ROLLUP_COLUMNS: Final = (
    Column("probe"),
    Column("time"),
    *(Column(name, number=True) for name in ("count", "sum", "low", "high", "suspect", "stopped", "weak")),
)


def _rollup(step: str) -> Table:
    names = "series, slot, count, total, low, high, suspect, stopped, weak"
    return Table(
        stem=f"rollups/{step}",
        columns=_ROLLUP_COLUMNS,
        select=f"SELECT {names} FROM rollup_{step} {{where}} ORDER BY series, slot",
        time="slot",
        insert=f"INSERT INTO rollup_{step} ({names}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        cells=_rollup_cells,
        row=_rollup_row,
    )


SLOTS: Final = Table(
    stem="slots",
    columns=(Column("time"), Column("probe"), Column("count", number=True), Column("sum", number=True)),
    select="SELECT slot, series, count, total FROM slot {where} ORDER BY slot, series",
    time="slot",
    insert="INSERT INTO slot (slot, series, count, total) VALUES (?, ?, ?, ?)",
    cells=_slot_cells,
    row=_slot_row,
)

STALE: Final = Table(
    stem="rollups/due",
    columns=(Column("time"), Column("probe")),
    select="SELECT slot, series FROM stale {where} ORDER BY slot, series",
    time="slot",
    insert="INSERT INTO stale (slot, series) VALUES (?, ?)",
    cells=_stale_cells,
    row=_stale_row,
    whole_only=True,
)

TABLES: Final = (READINGS, _rollup("minute"), _rollup("quarter"), _rollup("day"), SLOTS, STALE)
MOST_PROBES: Final = MOST_SERIES
