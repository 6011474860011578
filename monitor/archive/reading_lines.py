"""The lines of an archive's files on the way back in, each with its number, and what is wrong with it."""

from __future__ import annotations

import csv
import json
from typing import TYPE_CHECKING, Final

from monitor.archive.files import ArchiveProblem
from monitor.archive.forms import Unfit

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from monitor.archive.documents import Lines
    from monitor.archive.tables import Names, Row, Table

DEEP: Final = "JSON that is nested too deep"


def table_rows(path: Path, table: Table, names: Names) -> Iterator[Row]:
    """The rows of a file of a table, as the store holds them. Raises ArchiveProblem at the first bad line."""
    line = 0
    try:
        for line, cells in _csv_cells(path, table) if path.suffix == ".csv" else _json_cells(path, table):  # noqa: B007
            yield table.row(cells, names)
    except Unfit as wrong:
        raise ArchiveProblem(f"{path}, line {line}: found {wrong}.") from None
    except UnicodeDecodeError:
        raise ArchiveProblem(f"{path}, after line {line}: found bytes that are no text.") from None


def document_rows(path: Path, lines: Lines, names: Names) -> Iterator[Row]:
    """The rows of a file of documents. Raises ArchiveProblem at the first bad line."""
    number = 0
    try:
        with path.open(encoding="utf-8", newline="\n") as file:
            for number, text in enumerate(file, 1):
                document = json.loads(text)
                if not isinstance(document, dict):
                    raise Unfit("no JSON object")
                yield lines.row(document, names, number)
    except UnicodeDecodeError:
        raise ArchiveProblem(f"{path}, after line {number}: found bytes that are no text.") from None
    except KeyError as missing:
        raise ArchiveProblem(f"{path}, line {number}: found no {missing}.") from None
    except RecursionError:
        raise ArchiveProblem(f"{path}, line {number}: found {DEEP}.") from None
    except (ValueError, TypeError, AttributeError, OverflowError) as wrong:
        raise ArchiveProblem(f"{path}, line {number}: found {wrong}.") from None


def _csv_cells(path: Path, table: Table) -> Iterator[tuple[int, list[str]]]:
    header = [column.name for column in table.columns]
    with path.open(encoding="utf-8", newline="") as file:
        rows = csv.reader(file, strict=True)
        try:
            for cells in rows:
                if rows.line_num == 1 or len(cells) != len(header):
                    if rows.line_num == 1 and cells == header:
                        continue
                    raise ArchiveProblem(
                        f"{path}, line {rows.line_num}: found {','.join(cells)[:80]!r}; the columns are {','.join(header)}."
                    )
                yield rows.line_num, cells
        except csv.Error as error:
            raise ArchiveProblem(f"{path}, line {rows.line_num}: found a line that is no CSV ({error}).") from None


def _json_cells(path: Path, table: Table) -> Iterator[tuple[int, list[str]]]:
    names = [column.name for column in table.columns]
    known = set(names)
    with path.open(encoding="utf-8", newline="\n") as file:
        for number, text in enumerate(file, 1):
            try:
                found = json.loads(text, parse_float=str, parse_int=str)
            except RecursionError:
                raise ArchiveProblem(f"{path}, line {number}: found {DEEP}.") from None
            except ValueError as error:
                raise ArchiveProblem(f"{path}, line {number}: found no JSON ({error}).") from None
            if (
                not isinstance(found, dict)
                or not known.issuperset(found)
                or not all(isinstance(cell, str) for cell in found.values())
            ):
                raise ArchiveProblem(f"{path}, line {number}: found {text[:80]!r}; the fields are {', '.join(names)}.")
            yield number, [found.get(name, "") for name in names]
