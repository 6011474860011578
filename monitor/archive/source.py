"""A store that is read beside its owner, as of one instant.

All is read in one transaction. While it lasts, the daemon's write-ahead log cannot be begun anew and grows by what is written
meanwhile: some hundred bytes a reading, less than a megabyte in the minutes that a long history takes.
"""

from __future__ import annotations

from contextlib import ExitStack, closing
from typing import TYPE_CHECKING, Final, Self

from monitor.archive.tables import READINGS, Names
from monitor.store.errors import StoreError, in_our_words
from monitor.store.past import open_to_read
from monitor.store.records import begin_of
from monitor.store.schema import APPLICATION_ID, MIGRATIONS

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable
    from pathlib import Path
    from types import TracebackType

    from monitor.core.model import Ms

FIRST_SCHEMA: Final = 3
"""The oldest that has all the tables of an archive."""


class Source:
    """Use as a context. Raises StoreError when the store cannot be read."""

    connection: sqlite3.Connection
    names: Names
    schema: int

    def __init__(self, path: Path) -> None:
        self.path = path
        self._end = ExitStack()

    def __enter__(self) -> Self:
        with ExitStack() as opening:
            opening.enter_context(in_our_words(self.path))
            if not self.path.is_file():
                raise StoreError(
                    f"{self.path}: there is no store. Name the configuration of the daemon that writes it with -c."
                )
            self.connection = opening.enter_context(closing(open_to_read(self.path)))
            self.connection.execute("BEGIN")
            self.schema = self._known_schema()
            self.names = Names(
                probes=dict(self.connection.execute("SELECT id, probe FROM series ORDER BY id").fetchall()),
                reasons=dict(self.connection.execute("SELECT id, text FROM reason").fetchall()),
            )
            self.names.numbers = {probe: number for number, probe in self.names.probes.items()}
            self._end = opening.pop_all()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> bool | None:
        return self._end.__exit__(kind, problem, trace)

    def series(self, probes: Iterable[str]) -> list[int]:
        return sorted(self.names.numbers[probe] for probe in probes)

    def where(self, column: str, since: Ms | None, until: Ms | None, series: Iterable[int] = ()) -> str:
        """A condition on when, and of which probes; of whole numbers only, so that it can stand in a query."""
        edge = begin_of if column == READINGS.time else int
        parts = []
        if column and since is not None:
            parts.append(f"{column} >= {edge(since):d}")
        if column and until is not None:
            parts.append(f"{column} < {edge(until):d}")
        numbers = ", ".join(f"{number:d}" for number in series)
        if numbers:
            parts.append(f"series IN ({numbers})")
        return f"WHERE {' AND '.join(parts)}" if parts else ""

    def _known_schema(self) -> int:
        (mark,) = self.connection.execute("PRAGMA application_id").fetchone()
        (schema,) = self.connection.execute("PRAGMA user_version").fetchone()
        if mark != APPLICATION_ID:
            raise StoreError(f"{self.path}: this is no store of swimup. See [store] of the configuration.")
        if schema < FIRST_SCHEMA:
            raise StoreError(
                f"{self.path}: the store has schema {schema}; schema {FIRST_SCHEMA} and later can be exported. Run the "
                "daemon once: it brings the store up to date."
            )
        if schema > MIGRATIONS[-1].number:
            raise StoreError(
                f"{self.path}: the store has schema {schema}, this version knows schemas up to {MIGRATIONS[-1].number}. "
                "Export with the version that wrote it."
            )
        return int(schema)
