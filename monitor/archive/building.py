"""A new store out of an archive's files, in one transaction, in a file that nobody else knows yet."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from itertools import islice
from typing import TYPE_CHECKING, Final, NamedTuple

from monitor.archive.documents import Lines
from monitor.archive.files import ArchiveProblem, Progress
from monitor.archive.forms import Unfit, instant_from
from monitor.archive.manifest import MANIFEST, FileNote, Manifest
from monitor.archive.reading_lines import document_rows, table_rows
from monitor.archive.tables import Names, Table
from monitor.store import Store
from monitor.store.errors import in_our_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from monitor.archive.tables import Row
    from monitor.core.model import Ms

HORIZONS: Final = ("minute", "raw")
NO_ROW: Final = (sqlite3.IntegrityError, sqlite3.InterfaceError, sqlite3.ProgrammingError, OverflowError)
_AT_ONCE: Final = 5_000


class Planned(NamedTuple):
    """A file and what it holds."""

    note: FileNote
    kind: Table | Lines


def names_in(manifest: Manifest) -> Names:
    """Probes get their numbers in the order of the manifest, so that the store is in the same order again."""
    probes = dict(enumerate(manifest.probes, 1))
    return Names(probes=probes, numbers={probe: number for number, probe in probes.items()})


def rows_of(path: Path, kind: Table | Lines, names: Names) -> Iterator[Row]:
    """Raises ArchiveProblem at the first bad line."""
    return document_rows(path, kind, names) if isinstance(kind, Lines) else table_rows(path, kind, names)


class Building:
    """``stays``: keys and values that are kept beside those of the archive."""

    def __init__(
        self, folder: Path, manifest: Manifest, stays: Iterable[tuple[str, str]], progress: Progress, total: int
    ) -> None:
        self._folder = folder
        self._manifest = manifest
        self._stays = stays
        self._progress = progress
        self._total = total
        self._done = total // 2  # every byte was read once before
        self._names = names_in(manifest)

    def build(self, new: Path, plan: Iterable[Planned]) -> int:
        """Make the store; give back how many rows it was given. Raises ArchiveProblem, StoreError."""
        begun, horizons = self._times()
        Store.open(new, now=begun).close()
        with in_our_words(new), closing(sqlite3.connect(new, isolation_level=None)) as connection:
            # Nobody else has the file, and whatever goes wrong it is thrown away.
            for pragma in ("journal_mode = DELETE", "journal_mode = OFF", "synchronous = OFF", "cache_size = -16000"):
                connection.execute(f"PRAGMA {pragma}").fetchall()
            connection.execute("BEGIN")
            self._named(connection, "series (id, probe)", self._names.probes.items())
            connection.executemany("INSERT INTO horizon (kind, time) VALUES (?, ?)", horizons.items())
            rows = sum(self._file(connection, planned) for planned in plan)
            reasons = [(number, text) for text, number in self._names.reason_numbers.items()]
            self._named(connection, "reason (id, text)", reasons)
            connection.executemany("INSERT INTO kept (key, value) VALUES (?, ?)", self._stays)
            connection.execute("COMMIT")
        _to_disk(new)
        return rows

    def _named(self, connection: sqlite3.Connection, where: str, names: Iterable[tuple[int, str]]) -> None:
        """Probes or reasons by number. JSON can smuggle in half a letter, which no store can hold."""
        try:
            connection.executemany(f"INSERT INTO {where} VALUES (?, ?)", names)
        except UnicodeEncodeError as error:
            raise ArchiveProblem(f"{self._folder}: found {error.object[:60]!r}, which is no text.") from None

    def _times(self) -> tuple[Ms, dict[str, Ms]]:
        manifest = self._manifest
        unknown = sorted(set(manifest.cleared_before) - set(HORIZONS))
        if unknown:
            raise ArchiveProblem(
                f"{self._folder / MANIFEST}: cleared_before has {unknown[0][:60]!r}; known are raw, minute."
            )
        try:
            horizons = {kind: instant_from(time) for kind, time in manifest.cleared_before.items()}
            return instant_from(manifest.begun), horizons
        except Unfit as wrong:
            raise ArchiveProblem(f"{self._folder / MANIFEST}: found {wrong}.") from None

    def _file(self, connection: sqlite3.Connection, planned: Planned) -> int:
        note, kind = planned
        path = self._folder / note.name
        incoming = rows_of(path, kind, self._names)
        count = 0
        while rows := list(islice(incoming, _AT_ONCE)):
            try:
                connection.executemany(kind.insert, rows)
            except (*NO_ROW, UnicodeEncodeError) as error:
                raise ArchiveProblem(
                    f"{path}: one of the rows {count + 1} to {count + len(rows)} is there twice, or is none: {error}."
                ) from None
            count += len(rows)
            self._progress(self._done + note.bytes * count // max(note.rows, count), self._total)
        if count != note.rows:
            raise ArchiveProblem(
                f"{path} has {count} rows, {note.rows} are in {MANIFEST}. Copy the whole folder again."
            )
        self._done += note.bytes
        return count


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
