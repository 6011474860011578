"""Archives on their way back in: a damaged file whose sums were made anew, alone and in a whole folder."""

from __future__ import annotations

import atexit
import json
import shutil
import sqlite3
import tempfile
from contextlib import closing
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor.archive import MANIFEST, ArchiveProblem, Choice, bring_back, write_out
from monitor.archive.building import Building, Planned, rows_of
from monitor.archive.documents import DOCUMENTS, Lines
from monitor.archive.files import quiet
from monitor.archive.manifest import FileNote, Manifest, NotAManifest, read_manifest
from monitor.archive.tables import TABLES, Names, Table
from monitor.core.model import Reading
from monitor.store import Store
from tests.adapters.archive.filled import T0, fill
from tests.fuzz.target import Target

if TYPE_CHECKING:
    from collections.abc import Iterator

PLACE: Final = Path("/dev/shm") if Path("/dev/shm").is_dir() else None  # noqa: S108  (each folder is made anew, for us alone)
FOLDER: Final = Path(tempfile.mkdtemp(prefix="fuzz-", dir=PLACE))
atexit.register(shutil.rmtree, FOLDER, ignore_errors=True)
KINDS: Final[tuple[tuple[str, Table | Lines], ...]] = (
    *((f"{table.stem}{'/2026-02' if table.monthly else ''}.csv", table) for table in TABLES),
    *((f"{table.stem}{'/2026-02' if table.monthly else ''}.jsonl", table) for table in TABLES),
    *((f"{lines.stem}.jsonl", lines) for lines in DOCUMENTS),
)
IMPORT_MS: Final = 2000.0
FEW: Final = 12


@cache
def originals() -> Path:
    """A small store with everything, and its archives by the name of their form."""
    with Store.open(FOLDER / "first.sqlite3", now=T0) as store:
        fill(store, [Reading("ash-water", T0 + n, 24_000 + n, seq=n, arrived=T0 + n) for n in range(3)])
    for form in ("csv", "jsonl"):
        write_out(FOLDER / "first.sqlite3", FOLDER / form, Choice(form=form))
    return FOLDER


@cache
def manifest(form: str) -> Manifest:
    return read_manifest(originals() / form / MANIFEST)


@cache
def memory() -> sqlite3.Connection:
    """An empty store in memory, in a transaction."""
    Store.open(FOLDER / "empty.sqlite3", now=T0).close()
    connection = sqlite3.connect(":memory:", isolation_level=None)
    with closing(sqlite3.connect(FOLDER / "empty.sqlite3")) as empty:
        empty.backup(connection)
    connection.execute("BEGIN")
    return connection


def archive(data: bytes) -> bool:
    """The first byte says which file; what is taken of it is what the store gives back when it is written out again."""
    head = (data[0] if data else 0) % (len(KINDS) + 1)
    if head == len(KINDS):
        return _manifest(data[1:])
    name, kind = KINDS[head]
    path = FOLDER / f"one{Path(name).suffix}"
    path.write_bytes(data[1:])
    note = FileNote(name=path.name, rows=0, bytes=len(data), sha256="0" * 64)
    connection = memory()
    connection.execute("SAVEPOINT before")
    try:
        building = Building(FOLDER, manifest("csv"), (), quiet, 1)
        rows = list(rows_of(path, kind, building._names))
        counted = note.model_copy(update={"rows": len(rows)})
        assert building._file(connection, Planned(counted, kind)) == len(rows)
        _comes_back(connection, kind, building._names)
    except ArchiveProblem as problem:
        assert str(problem).startswith(str(path))
        return False
    finally:
        connection.execute("ROLLBACK TO before")
    return bool(rows)


def _comes_back(connection: sqlite3.Connection, kind: Table | Lines, names: Names) -> None:
    """Each row of the store, written and read, is the same row."""
    names.reasons = {number: text for text, number in names.reason_numbers.items()}
    for number, row in enumerate(connection.execute(kind.select.format(where="")).fetchall(), 1):
        if isinstance(kind, Table):
            assert kind.row(kind.cells(row, names), names) == row
        else:
            told = json.dumps(kind.document(row, names))
            kind.row(json.loads(told), names, number)


def _manifest(data: bytes) -> bool:
    path = FOLDER / MANIFEST
    path.write_bytes(data)
    try:
        made = read_manifest(path)
    except NotAManifest as why:
        assert str(why)
        return False
    path.write_text(made.text(), encoding="utf-8", errors="surrogatepass")
    assert read_manifest(path) == made
    return True


def whole(data: bytes) -> bool:
    """The first byte says which file of an archive is this one instead; the archive is taken whole or refused whole."""
    head = data[0] if data else 0
    form = "jsonl" if head & 1 else "csv"
    listed = [note.name for note in manifest(form).files]
    name = [*listed, MANIFEST][(head >> 1) % (len(listed) + 1)]
    folder, place = FOLDER / "damaged", FOLDER / "new"
    for old in (folder, place):
        shutil.rmtree(old, ignore_errors=True)
    shutil.copytree(originals() / form, folder)
    (folder / name).write_bytes(data[1:])
    if name != MANIFEST:
        _sign(folder, name, data[1:])
    try:
        bring_back(folder, place / "second.sqlite3")
    except ArchiveProblem as problem:
        assert str(problem)
        assert not (place / "second.sqlite3").exists()
        return False
    with Store.open(place / "second.sqlite3", now=T0):
        pass
    return True


def _sign(folder: Path, name: str, data: bytes) -> None:
    told: dict[str, Any] = json.loads((folder / MANIFEST).read_text())
    for note in told["files"]:
        if note["name"] == name:
            note |= {"sha256": sha256(data).hexdigest(), "bytes": len(data), "rows": _rows(name, data)}
    (folder / MANIFEST).write_text(json.dumps(told))


def _rows(name: str, data: bytes) -> int:
    """As many as whoever damaged it would count."""
    return max(data.count(b"\n") - name.endswith(".csv"), 0)


def _alone() -> Iterator[bytes]:
    for number, (name, _) in enumerate(KINDS):
        path = originals() / ("jsonl" if number >= len(TABLES) else "csv") / name
        lines = path.read_bytes().splitlines(keepends=True)
        yield bytes([number]) + b"".join(lines[:3])
        if number >= 2 * len(TABLES):
            yield from (bytes([number]) + line for line in lines[:FEW] if len(line) < 800)
    yield bytes([len(KINDS)]) + manifest("csv").model_copy(update={"files": manifest("csv").files[:2]}).text().encode()


def _in_a_folder() -> Iterator[bytes]:
    for form in ("csv", "jsonl"):
        for number, note in enumerate(manifest(form).files):
            lines = (originals() / form / note.name).read_bytes().splitlines(keepends=True)
            yield bytes([number << 1 | (form == "jsonl")]) + b"".join(lines[:3])
    yield bytes([len(manifest("csv").files) << 1]) + manifest("csv").text().encode()


WORDS: Final = (
    b'"values":',
    b'"time":',
    b'"logged":',
    b'"event":',
    b"2026-02-02T02:40:00Z",
    b"9223372036854775807",
    b"-999999999999999.999",
    b"\\ud800",
    b"NaN",
    b"null",
    b"{}",
    b"[]",
    b"\n",
    b"ash-water",
    b"ok",
    b"yes",
)
TARGETS: Final = (
    Target("archive", archive, _alone, WORDS, 2048),
    Target("import", whole, _in_a_folder, WORDS, 2048, IMPORT_MS, share=0.01),
)
