"""Recorded nights: readings as CSV and the keeper's log as JSON lines, for replay.

``R.csv`` has the columns ``time,probe,value``: RFC 3339 with Z or an offset, the probe's id, the value in its configured
unit or an air word; an empty value is a missing one. ``L.jsonl`` has one event a line: ``start``, ``seen``, ``harvest``,
``discard``, ``settle``, ``work``, ``chill``, ``emptied``, ``lapse``, ``undo``, ``correct``, and of food ``tin``, ``weighed``,
``fed``, ``drawn``, ``brood``, ``counted``, ``broodended``, ``eater``, each with ``time`` and optionally ``logged``.
"""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING, Annotated, Final, Literal

from pydantic import Field, TypeAdapter, ValidationError, field_validator

from monitor.core.log import (
    Chill,
    Discard,
    Emptied,
    Gas,
    Harvest,
    Lapse,
    LogEntry,
    Seen,
    Settle,
    Sight,
    Start,
    Undo,
    Work,
)
from monitor.core.model import Measures, Ms, Sample
from monitor.core.replay import Measured
from monitor.core.undo import UNDOABLE
from monitor.intake.instants import YEAR_2100, instant, ms
from monitor.intake.recorded_food import FOOD_LINES, FoodLine
from monitor.intake.recorded_line import Amount, Instant, Line, Share
from monitor.intake.unreadable import Unreadable
from monitor.intake.values import air, internal, number_from_text

if TYPE_CHECKING:
    from _csv import Reader as Rows
    from collections.abc import Iterable, Iterator
    from pathlib import Path
    from typing import TextIO

    from monitor.intake.binding import Binding

COLUMNS = ["time", "probe", "value"]
NO_TEXT: Final = "bytes that are not UTF-8, there or a little further on"  # it is read in pieces
TEXT: Final = "a text file in UTF-8"


class RecordProblem(Exception):  # noqa: N818  (it speaks of the keeper's file)
    """A line of a recording cannot be used; the message has file, line, what was found and what is allowed."""

    def __init__(self, path: Path, line: int, found: str, allowed: str) -> None:
        super().__init__(f"{path}, line {line}: found {found}; allowed is {allowed}")


def readings(path: Path, bindings: Iterable[Binding]) -> Iterator[Measured]:
    """The rows of ``R.csv``. Raises RecordProblem at the first bad one."""
    by_probe = {binding.probe: binding for binding in bindings}
    with path.open(newline="", encoding="utf-8-sig") as lines:
        rows = csv.reader(lines)
        header = _next(path, rows) or []
        if [name.strip() for name in header] != COLUMNS:
            raise RecordProblem(path, 1, f"the columns {','.join(header)[:80]!r}", ",".join(COLUMNS))
        while (row := _next(path, rows)) is not None:
            if not row:
                continue
            if len(row) != len(COLUMNS):
                raise RecordProblem(path, rows.line_num, f"{len(row)} columns", ",".join(COLUMNS))
            measured = _measured(path, rows.line_num, row, by_probe)
            if measured is not None:
                yield measured


def _next(path: Path, rows: Rows) -> list[str] | None:
    """The next row; None after the last. Raises RecordProblem where the file is no table."""
    try:
        return next(rows, None)
    except UnicodeDecodeError:
        raise RecordProblem(path, rows.line_num + 1, NO_TEXT, TEXT) from None
    except csv.Error as error:
        raise RecordProblem(path, rows.line_num, f"a row that is no CSV ({error})", ",".join(COLUMNS)) from None


def _measured(path: Path, line: int, row: list[str], by_probe: dict[str, Binding]) -> Measured | None:
    when, probe, text = (cell.strip() for cell in row)
    binding = by_probe.get(probe)
    if binding is None:
        raise RecordProblem(path, line, f"probe {probe!r}", "one of " + ", ".join(sorted(by_probe)))
    try:
        time = instant(when)
    except ValueError:
        time = YEAR_2100
    if not 0 <= time < YEAR_2100:
        raise RecordProblem(path, line, f"time {when!r}", "RFC 3339 with Z, as 2026-03-01T06:40:00Z, from 1970 to 2099")
    if not text:
        return None
    try:
        return Measured(time, probe, _sample(text, binding, time))
    except Unreadable as why:
        raise RecordProblem(path, line, f"{text!r} ({why})", "a number in the probe's unit, or an air word") from None


def _sample(text: str, binding: Binding, time: Ms) -> Sample:
    if binding.measures is Measures.AIR and (binding.is_word or not _numeric(text)):
        return Sample.of_air(air(text, binding), time)
    return Sample(value=internal(number_from_text(text), binding), time=time)


def _numeric(text: str) -> bool:
    try:
        number_from_text(text)
    except Unreadable:
        return False
    return True


class _Start(Line):
    event: Literal["start"]
    batch: str
    vessel: str
    lot: str
    cysts_g: Amount
    litres: Amount
    salinity_g_l: Annotated[float, Field(ge=0, allow_inf_nan=False)]

    def entry(self) -> LogEntry:
        return Start(
            self.when, self.known, self.batch, self.vessel, self.lot, self.cysts_g, self.litres, self.salinity_g_l
        )


class _Seen(Line):
    event: Literal["seen"]
    batch: str
    what: Sight
    fraction: Share | None = None

    def entry(self) -> LogEntry:
        return Seen(self.when, self.known, self.batch, self.what, self.fraction)


class _Harvest(Line):
    event: Literal["harvest"]
    batch: str
    hatched_fraction: Share | None = None
    nauplii: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None = None

    def entry(self) -> LogEntry:
        return Harvest(self.when, self.known, self.batch, self.hatched_fraction, self.nauplii)


class _Discard(Line):
    event: Literal["discard"]
    batch: str
    reason: str = ""

    def entry(self) -> LogEntry:
        return Discard(self.when, self.known, self.batch, self.reason)


class _Settle(Line):
    event: Literal["settle"]
    vessel: str
    until: Instant

    def entry(self) -> LogEntry:
        return Settle(self.when, self.known, self.vessel, ms(self.until))


class _Work(Line):
    event: Literal["work"]
    vessel: str
    until: Instant

    def entry(self) -> LogEntry:
        return Work(self.when, self.known, self.vessel, ms(self.until))


class _Chill(Line):
    event: Literal["chill"]
    store: str
    nauplii: Amount
    litres: Amount
    gas: Gas = "open"
    gas_l: Annotated[float, Field(ge=0, allow_inf_nan=False)] = 0.0
    aerated: bool = False
    batch: str = ""

    def entry(self) -> LogEntry:
        return Chill(
            self.when,
            self.known,
            self.store,
            self.nauplii,
            self.litres,
            self.gas,
            self.gas_l,
            self.aerated,
            self.batch,
        )


class _Emptied(Line):
    event: Literal["emptied"]
    store: str

    def entry(self) -> LogEntry:
        return Emptied(self.when, self.known, self.store)


class _Lapse(Line):
    """Written by the monitor itself; in an exported log."""

    event: Literal["lapse"]
    batch: str

    def entry(self) -> LogEntry:
        return Lapse(self.when, self.known, self.batch)


class _Undo(Line):
    event: Literal["undo"]
    kind: str
    subject: str
    at: Instant  # when what is undone was logged

    @field_validator("kind")
    @classmethod
    def _can_be_undone(cls, kind: str) -> str:
        if kind not in UNDOABLE:
            raise ValueError(f"only these are undone: {', '.join(UNDOABLE)}")
        return kind

    def entry(self) -> LogEntry:
        return Undo(self.when, self.known, self.kind, self.subject, ms(self.at))


_Deeds = _Start | _Seen | _Harvest | _Discard | _Settle | _Work | _Chill | _Emptied | _Lapse | _Undo
_Kinds = _Deeds | FoodLine
_Event = Annotated[_Kinds, Field(discriminator="event")]
_EVENT: TypeAdapter[_Kinds] = TypeAdapter(_Event)


def entries(path: Path) -> Iterator[LogEntry]:
    """The events of ``L.jsonl``. Raises RecordProblem at the first bad one."""
    number = 0
    with path.open(encoding="utf-8-sig") as lines:
        while line := _line(path, lines, number + 1):
            number += 1
            if not line.strip():
                continue
            try:
                yield _EVENT.validate_json(line).entry()
            except ValidationError as error:
                first = error.errors(include_url=False)[0]
                where = "/".join(str(step) for step in first["loc"])
                raise RecordProblem(path, number, f"{where or 'the line'}: {first['msg']}", _allowed(where)) from None


def _line(path: Path, lines: TextIO, number: int) -> str:
    """The next line; empty after the last. Raises RecordProblem where it is no text."""
    try:
        return lines.readline()
    except UnicodeDecodeError:
        raise RecordProblem(path, number, NO_TEXT, TEXT) from None


def _allowed(where: str) -> str:
    kinds: dict[str, type[Line]] = {
        "start": _Start,
        "seen": _Seen,
        "harvest": _Harvest,
        "discard": _Discard,
        "settle": _Settle,
        "work": _Work,
        "chill": _Chill,
        "emptied": _Emptied,
        "lapse": _Lapse,
        "undo": _Undo,
        **FOOD_LINES,
    }
    kind = kinds.get(where.split("/", maxsplit=1)[0])
    if kind is None:
        return "a JSON object with time and event, one of " + ", ".join(kinds)
    return f"for {where.split('/', maxsplit=1)[0]}: " + ", ".join(kind.model_fields)
