"""Back into an empty store. Everything is checked first and built beside the store; a rename at the end makes it the store."""

from __future__ import annotations

import os
import re
import shutil
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING, Final

from monitor.archive.building import Building, Planned, names_in, rows_of
from monitor.archive.documents import DOCUMENTS, KEYS_LEFT_OUT
from monitor.archive.files import ArchiveProblem, Progress, hash_of, inside, is_ours, quiet
from monitor.archive.manifest import MANIFEST, NotAManifest, read_manifest
from monitor.archive.source import FIRST_SCHEMA
from monitor.archive.tables import MOST_PROBES, TABLES
from monitor.core.light import light
from monitor.store.errors import StoreError, in_our_words
from monitor.store.files import hold
from monitor.store.past import open_to_read
from monitor.store.schema import APPLICATION_ID, MIGRATIONS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from monitor.archive.documents import Lines
    from monitor.archive.manifest import Manifest
    from monitor.archive.tables import Table

HISTORY: Final = (
    "reading",
    "rollup_minute",
    "rollup_quarter",
    "rollup_day",
    "slot",
    "event",
    "told_estimate",
    "alarm",
    "transition",
    "outbox",
)
"""Tables in which an empty store has nothing."""
_MONTH: Final = re.compile(r"\d{4}-\d\d", re.ASCII)


@light
class Brought:
    """What was taken back. ``phones``: whether phones that were subscribed in the empty store are still so."""

    manifest: Manifest
    rows: int
    phones: bool


def bring_back(folder: Path, path: Path, progress: Progress = quiet) -> Brought:
    """Make the archive in ``folder`` the store at ``path``, which must be empty and its daemon stopped.

    Raises ArchiveProblem, StoreError; the store is then as it was.
    """
    manifest = _manifest(folder)
    plan = _plan(folder, manifest)
    lock = hold(path)
    try:
        stays = _what_stays(path)
        total = 2 * sum(note.bytes for note in manifest.files)
        _check_files(folder, manifest, plan, progress, total)
        with _beside(path) as new:
            rows = Building(folder, manifest, stays, progress, total).build(new, plan)
            _take_over(new, path)
    finally:
        os.close(lock)
    return Brought(manifest, rows, any(key.startswith("phones/") for key, _ in stays))


# -- what is asked before anything is written


def _manifest(folder: Path) -> Manifest:
    path = folder / MANIFEST
    try:
        manifest = read_manifest(path)
    except FileNotFoundError:
        raise ArchiveProblem(
            f"{folder} has no {MANIFEST}: it is no archive, or its export was not finished. Give a folder that "
            '"swimup export" has made.'
        ) from None
    except OSError as error:
        raise ArchiveProblem(f"{path} cannot be read: {error}.") from error
    except NotAManifest as wrong:
        raise ArchiveProblem(f"{path}: {wrong}") from None
    if not FIRST_SCHEMA <= manifest.store_schema <= MIGRATIONS[-1].number:
        raise ArchiveProblem(
            f"{path}: the store it came from has schema {manifest.store_schema}; this program knows {FIRST_SCHEMA} to "
            f"{MIGRATIONS[-1].number}. Install the version that wrote it, or a newer one."
        )
    if not manifest.complete:
        raise ArchiveProblem(
            f"{path}: this is a part of a history, or a form without doubts and arrivals. Only an archive of "
            "everything can be taken back: swimup export FOLDER, as CSV or JSON lines."
        )
    return manifest


def _plan(folder: Path, manifest: Manifest) -> list[Planned]:
    """Which file belongs to which table, all of them once."""
    kinds: dict[str, Table | Lines] = {f"{lines.stem}.jsonl": lines for lines in DOCUMENTS}
    kinds |= {f"{table.stem}.{manifest.form}": table for table in TABLES if not table.monthly}
    months = {table.stem: table for table in TABLES if table.monthly}
    plan: list[Planned] = []
    found: set[str] = set()
    for note in manifest.files:
        inside(folder, note.name)
        stem, _, name = note.name.partition("/")
        kind = kinds.get(note.name)
        if kind is None and name.endswith(f".{manifest.form}") and _MONTH.fullmatch(name.rsplit(".", 1)[0]):
            kind = months.get(stem)
        if kind is None or note.name in found:
            raise ArchiveProblem(
                f"{folder / MANIFEST}: found the file {note.name!r}, which no archive has, or has once."
            )
        if not is_ours(folder, note.name):
            raise ArchiveProblem(f"{folder / note.name} is missing. Copy the whole folder again.")
        found.add(note.name)
        plan.append(Planned(note, kind))
    missing = sorted(set(kinds) - found)
    if missing:
        raise ArchiveProblem(
            f"{folder / MANIFEST}: {missing[0]} is not listed. Take the archive from its source again."
        )
    if len(set(manifest.probes)) != len(manifest.probes) or len(manifest.probes) > MOST_PROBES:
        raise ArchiveProblem(f"{folder / MANIFEST}: probes are listed twice, or more than {MOST_PROBES}.")
    return plan


def _what_stays(path: Path) -> list[tuple[str, str]]:
    """What is no history in the store that is there: phones and marks, which stay. Raises ArchiveProblem if it is not empty."""
    if not path.exists() or not path.stat().st_size:
        return []
    with in_our_words(path), closing(open_to_read(path)) as connection:
        (mark,) = connection.execute("PRAGMA application_id").fetchone()
        tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
        if mark != APPLICATION_ID and tables:
            raise StoreError(f"{path}: the file is a database of another program. Give another path in [store].")
        for table in sorted(tables.intersection(HISTORY)):
            if connection.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone():  # noqa: S608  (ours)
                raise ArchiveProblem(
                    f"{path}: the store is not empty: it has rows in {table}. An archive can only be taken into an empty "
                    "store; move this one aside together with its -wal and -shm files, or give another path in [store]. "
                    "Nothing was changed."
                )
        if "kept" not in tables:
            return []
        rows = connection.execute("SELECT key, value FROM kept ORDER BY key").fetchall()
    return [(key, value) for key, value in rows if key in KEYS_LEFT_OUT]


def _check_files(folder: Path, manifest: Manifest, plan: list[Planned], progress: Progress, total: int) -> None:
    done = 0
    for note, kind in plan:
        path = folder / note.name
        try:
            found, done = hash_of(path, progress, done, total)
        except OSError as error:
            raise ArchiveProblem(f"{path} cannot be read: {error}.") from error
        if found == note.sha256:
            continue
        for _ in rows_of(path, kind, names_in(manifest)):
            pass  # a line that cannot be read says more than the sum
        raise ArchiveProblem(
            f"{path} is not as it was written: its SHA-256 is {found}, {note.sha256} is in {MANIFEST}. Take the archive from "
            "its source again. Nothing was changed."
        )


@contextmanager
def _beside(path: Path) -> Iterator[Path]:
    """A place for a new store, in a folder of its own beside the old one; what an earlier try left there goes."""
    folder = path.with_name(f"{path.name}.import")
    try:
        if folder.is_symlink():
            folder.unlink()
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(mode=0o700)
        yield folder / path.name
    except OSError as error:
        raise ArchiveProblem(
            f"{folder} cannot be written: {error}. Make room, or give another path in [store]."
        ) from error
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _take_over(new: Path, path: Path) -> None:
    for end in ("-wal", "-shm"):
        path.with_name(path.name + end).unlink(missing_ok=True)
    new.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
