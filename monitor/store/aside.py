"""Moving a store out of the way, whole and never deleted, and the word that one was found damaged while it was in use."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing, suppress
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from monitor.store.backup import to_disk
from monitor.store.errors import StoreError
from monitor.store.schema import APPLICATION_ID

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.core.model import Ms

SIDES: Final = ("-wal", "-shm")
ASIDE: Final = ".put-aside"
MAGIC: Final = b"SQLite format 3\0"


def move_aside(path: Path, now: Ms) -> Path:
    """Give the store a name with the time, together with what SQLite keeps beside it; give back that name.

    Word of that name is left until ``unmark``, as what was begun may be cut short. The caller holds the store
    (``monitor.store.files.hold``). Raises StoreError; nothing has changed then.
    """
    aside = _free_name(path, now)
    try:
        _leave_word(path, aside)
        for side in SIDES:  # what they hold belongs to this file only; a new one must not find them
            with suppress(FileNotFoundError):
                _beside(path, side).rename(_beside(aside, side))
        path.rename(aside)
        to_disk(path.parent)
    except OSError as error:
        raise StoreError(f"{path} cannot be moved aside: {error}. Its folder must belong to this user.") from error
    return aside


def _leave_word(path: Path, aside: Path) -> None:
    """On a full disk it goes without: whoever watches over living animals must start."""
    with suppress(OSError):
        part = _beside(path, f"{ASIDE}.part")
        part.write_text(aside.name, encoding="utf-8")
        to_disk(part)
        part.replace(_beside(path, ASIDE))


def replace_store(path: Path, new: Path, now: Ms) -> Path | None:
    """Make ``new`` the store at ``path``; the one that was there keeps another name, which is given back.

    The caller holds the store. A sound store is never missing in between, whenever this is killed. Raises StoreError.
    """
    try:
        aside = None
        if path.exists():
            _settle(path)
            aside = _linked(path, now)
            for side in SIDES:
                with suppress(FileNotFoundError):
                    _beside(path, side).rename(_beside(aside, side))
        else:
            for side in SIDES:
                _beside(path, side).unlink(missing_ok=True)
        new.replace(path)
        to_disk(path.parent)
    except OSError as error:
        raise StoreError(f"{path} cannot be written: {error}. Its folder must belong to this user.") from error
    return aside


def was_a_store(path: Path) -> bool:
    """Whether a file that cannot be read may well have been our store: a wrong path moves nobody's letters."""
    if _beside(path, ".reserve").exists():
        return True
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except OSError:
        return False
    ours = int.from_bytes(head[68:72]) == APPLICATION_ID
    return not any(head) or (head.startswith(MAGIC) and ours)


def mark_damaged(path: Path) -> None:
    """Leave word for the next start, which may not happen upon what this run did. Whatever fails is let go."""
    with suppress(OSError):
        _beside(path, ".damaged").touch(mode=0o600)


def marked_damaged(path: Path) -> bool:
    return _beside(path, ".damaged").exists()


def unfinished(path: Path) -> Path | None:
    """The damaged store in whose place a new one was begun, when nobody knows that it was done."""
    with suppress(OSError, UnicodeDecodeError):
        aside = path.with_name(_beside(path, ASIDE).read_text(encoding="utf-8"))
        return aside if aside.is_file() else None
    return None


def unmark(path: Path) -> None:
    """Forget that word, and that a new store was begun."""
    for ending in (".damaged", ASIDE):
        with suppress(OSError):
            _beside(path, ending).unlink()


def _settle(path: Path) -> None:
    """Take what waits in the write-ahead log into the file; a damaged one stays as it is."""
    with suppress(sqlite3.Error), closing(sqlite3.connect(path, timeout=2.0)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()


def _linked(path: Path, now: Ms) -> Path:
    """A second name for the file, or its only one where a disk knows no second names."""
    aside = _free_name(path, now)
    try:
        os.link(path, aside)
    except OSError:
        path.rename(aside)
    return aside


def _free_name(path: Path, now: Ms) -> Path:
    stamp = datetime.fromtimestamp(now // 1000, UTC).strftime("%Y%m%dT%H%M%SZ")
    first = _beside(path, f".aside-{stamp}")
    names = (first, *(_beside(path, f".aside-{stamp}-{n}") for n in range(2, 1000)))
    return next(name for name in names if not name.exists())


def _beside(path: Path, ending: str) -> Path:
    return path.with_name(path.name + ending)
