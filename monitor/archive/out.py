"""Out of the store: all of it or a part, as one folder."""

from __future__ import annotations

import csv
import json
from dataclasses import field
from typing import TYPE_CHECKING, Any, Final

from monitor.archive import senml
from monitor.archive.documents import DOCUMENTS
from monitor.archive.files import ArchiveProblem, Progress, Sink, new_folder, quiet
from monitor.archive.forms import instant, month
from monitor.archive.manifest import LEFT_OUT, MANIFEST, Chosen, FileNote, Form, Manifest
from monitor.archive.source import Source
from monitor.archive.tables import READINGS, TABLES
from monitor.core.light import light
from monitor.core.model import DAY
from monitor.store.records import time_of

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable, Iterable, Iterator, Mapping
    from pathlib import Path

    from monitor.archive.documents import Document, Lines
    from monitor.archive.tables import Cells, Column, Row, Table
    from monitor.core.model import Measures, Ms

_TELL_EACH: Final = 2_000


@light
class Choice:
    """``since`` included, ``until`` not. ``measures`` is for SenML alone, which tells air by words."""

    since: Ms | None = None
    until: Ms | None = None
    probes: tuple[str, ...] = ()
    form: Form = "csv"
    measures: Mapping[str, Measures] = field(default_factory=dict)

    @property
    def whole(self) -> bool:
        return self.since is None and self.until is None and not self.probes

    def chosen(self) -> Chosen | None:
        if self.whole:
            return None
        since, until = (None if time is None else instant(time) for time in (self.since, self.until))
        return Chosen(since=since, until=until, probes=sorted(self.probes) or None)


def write_out(path: Path, folder: Path, choice: Choice, progress: Progress = quiet) -> Manifest:
    """Write the store at ``path`` into a new folder; beside a running daemon, as of its last commit.

    Raises StoreError, ArchiveProblem.
    """
    with Source(path) as source:
        unknown = [probe for probe in choice.probes if probe not in source.names.numbers]
        if unknown:
            known = ", ".join(sorted(source.names.numbers)) or "none"
            raise ArchiveProblem(f"there is no probe {unknown[0][:60]!r} in the store; known are {known}.")
        with new_folder(folder) as part:
            manifest = _Writing(source, choice, part, progress).all()
            write_manifest(part, manifest)
        return manifest


def write_manifest(folder: Path, manifest: Manifest) -> None:
    with Sink(folder, MANIFEST) as sink:
        sink.write(manifest.text())


def json_line(document: Document) -> str:
    """One line; a text that no file can hold (half a character that a probe sent) is written with escapes."""
    line = json.dumps(document, ensure_ascii=False)
    try:
        line.encode()
    except UnicodeEncodeError:
        line = json.dumps(document)
    return line + "\n"


class _Writing:
    def __init__(self, source: Source, choice: Choice, folder: Path, progress: Progress) -> None:
        self._source = source
        self._choice = choice
        self._folder = folder
        self._progress = progress
        self._done = 0
        self._total = 0
        self._notes: list[FileNote] = []

    def all(self) -> Manifest:
        choice, source = self._choice, self._source
        tables = [table for table in TABLES if self._wanted(table)]
        documents = [lines for lines in DOCUMENTS if choice.whole or not lines.whole_only]
        self._total = sum(map(self._count, tables)) + sum(map(self._count, documents))
        for table in tables:
            if table is READINGS and choice.form == "senml":
                self._senml(table)
            else:
                self._table(table)
        for lines in documents:
            self._lines(lines)
        self._progress(self._total, self._total)
        (begun,) = source.connection.execute("SELECT min(applied) FROM migration").fetchone()
        horizons = source.connection.execute("SELECT kind, time FROM horizon ORDER BY kind").fetchall()
        return Manifest(
            store_schema=source.schema,
            complete=choice.whole and choice.form != "senml",
            form=choice.form,
            begun=instant(begun),
            probes=[probe for probe in source.names.probes.values() if not choice.probes or probe in choice.probes],
            cleared_before={kind: instant(time) for kind, time in horizons},
            part_of=choice.chosen(),
            left_out=LEFT_OUT,
            files=sorted(self._notes, key=lambda note: note.name),
        )

    def _wanted(self, table: Table) -> bool:
        if self._choice.form == "senml":
            return table is READINGS
        return self._choice.whole or not table.whole_only

    def _where(self, kind: Table | Lines) -> str:
        choice = self._choice
        series = self._source.series(choice.probes) if kind in TABLES else ()
        return self._source.where(kind.time, choice.since, choice.until, series)

    def _count(self, kind: Table | Lines) -> int:
        query = f"SELECT count(*) FROM ({kind.select.format(where=self._where(kind))})"
        (count,) = self._source.connection.execute(query).fetchone()
        return int(count)

    def _rows(self, kind: Table | Lines) -> Iterator[Row]:
        rows: sqlite3.Cursor = self._source.connection.execute(kind.select.format(where=self._where(kind)))
        for row in rows:
            yield row
            self._done += 1
            if self._done % _TELL_EACH == 0:
                self._progress(self._done, self._total)

    def _table(self, table: Table) -> None:
        if not table.monthly:
            self._file(table, table.stem, self._rows(table))
            return
        for name, rows in by_month(self._rows(table)):
            self._file(table, f"{table.stem}/{name}", rows)

    def _file(self, table: Table, stem: str, rows: Iterable[Row]) -> None:
        form = self._choice.form
        with Sink(self._folder, f"{stem}.{form}") as sink:
            put = _csv_rows(sink, table.columns) if form == "csv" else _json_rows(sink, table.columns)
            for row in rows:
                put(table.cells(row, self._source.names))
                sink.rows += 1
        self._notes.append(sink.note)

    def _lines(self, lines: Lines) -> None:
        with Sink(self._folder, f"{lines.stem}.jsonl") as sink:
            for row in self._rows(lines):
                sink.write(json_line(lines.document(row, self._source.names)))
                sink.rows += 1
        self._notes.append(sink.note)

    def _senml(self, table: Table) -> None:
        with senml.Packs(self._folder, self._source.names, self._choice.measures) as packs:
            for row in self._rows(table):
                packs.add(row)
        self._notes += packs.notes


def by_month(rows: Iterable[Row]) -> Iterator[tuple[str, Iterator[Row]]]:
    """Rows of readings, in their order, in groups of a month; each group is to be read before the next."""
    incoming = iter(rows)
    ahead = next(incoming, None)

    def group(name: str, first: Row) -> Iterator[Row]:
        nonlocal ahead
        day, row = time_of(first[0]) // DAY, first
        while True:
            yield row
            ahead = next(incoming, None)
            if ahead is None:
                return
            row = ahead
            time = time_of(row[0])
            if time // DAY != day:
                day = time // DAY
                if month(time) != name:
                    return

    while ahead is not None:
        name = month(time_of(ahead[0]))
        yield name, group(name, ahead)


class _ShortEnds:
    """Rows end with a line feed. The writer is told otherwise, since it quotes a cell only for what ends its rows."""

    def __init__(self, sink: Sink) -> None:
        self._sink = sink

    def write(self, row: str) -> None:
        self._sink.write(row[:-2] + "\n")


def csv_writer(sink: Sink) -> Any:
    """A writer of the csv module whose rows end with a line feed, and whose cells may hold anything."""
    return csv.writer(_ShortEnds(sink), lineterminator="\r\n")


def _csv_rows(sink: Sink, columns: tuple[Column, ...]) -> Callable[[Cells], object]:
    writer = csv_writer(sink)
    writer.writerow([column.name for column in columns])
    put: Callable[[Cells], object] = writer.writerow
    return put


def _json_rows(sink: Sink, columns: tuple[Column, ...]) -> Callable[[Cells], object]:
    heads = [(f'"{column.name}": ', column.number) for column in columns]

    def put(cells: Cells) -> None:
        parts = [
            head + (cell if number else json.dumps(cell, ensure_ascii=False))
            for (head, number), cell in zip(heads, cells, strict=True)
            if cell
        ]
        sink.write("{" + ", ".join(parts) + "}\n")

    return put
