"""The folder of backups: each is one SQLite file, with a note of what it holds and a copy of the configuration beside it.

``shed-20260301T023000Z.sqlite3`` (UTC) has got its name only after it was verified; ``.json`` is the note, ``.toml`` the copy.
"""

from __future__ import annotations

import fcntl
import json
import os
import re
from contextlib import contextmanager, suppress
from dataclasses import asdict
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final, Self

from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from monitor.core.model import Ms

ENDING: Final = ".sqlite3"
NOTE: Final = ".json"
CONFIG: Final = ".toml"
PART: Final = ".part"
_STAMP: Final = "%Y%m%dT%H%M%SZ"


class BackupProblem(Exception):  # noqa: N818  (it speaks of the keeper's files)
    """What stands against a backup or against taking it back; the message says what was found and what to do."""


@light
class Note:
    """What was verified when a backup was made. ``begun``: when its store was, by which one history is told from another.

    ``counts``: rows by table; ``mark``: see ``monitor.store.content``.
    """

    schema: int
    begun: Ms
    bytes: int
    sha256: str
    counts: dict[str, int]
    mark: str
    why: str

    def text(self) -> str:
        return json.dumps(asdict(self), indent=1) + "\n"

    @classmethod
    def read(cls, path: Path) -> Self | None:
        """None where there is none, or none that can be understood: a backup is good without it."""
        with suppress(OSError, ValueError, TypeError, KeyError):
            told: dict[str, Any] = json.loads(path.read_text("utf-8"))
            counts = {str(table): int(number) for table, number in told["counts"].items()}
            sums = str(told["sha256"]), counts, str(told["mark"]), str(told["why"])
            return cls(int(told["schema"]), int(told["begun"]), int(told["bytes"]), *sums)
        return None


@light
class Backup:
    """One that was verified when it was made. ``time`` is when that was, to the second."""

    path: Path
    time: Ms
    note: Note | None

    @property
    def kin(self) -> tuple[int, Ms]:
        """Its schema and the beginning of its store."""
        return (0, 0) if self.note is None else (self.note.schema, self.note.begun)

    @property
    def config(self) -> Path:
        return self.path.with_suffix(CONFIG)

    @property
    def bytes(self) -> int:
        return self.path.stat().st_size


@light
class BackupFolder:
    """The backups of one store in a folder; ``stem`` begins their names, so that several stores may share one."""

    path: Path
    stem: str

    @classmethod
    def of(cls, store: Path, folder: Path | None = None) -> Self:
        """Beside the store, unless another is given."""
        return cls(store.with_name("backups") if folder is None else folder, store.stem)

    def place(self, time: Ms) -> Path:
        stamp = datetime.fromtimestamp(time // 1000, UTC).strftime(_STAMP)
        return self.path / f"{self.stem}-{stamp}{ENDING}"

    def all(self) -> list[Backup]:
        """Oldest first. A folder that is not there has none. Raises BackupProblem when it cannot be read."""
        try:
            found = [entry for entry in self.path.iterdir() if entry.is_file() and not entry.is_symlink()]
        except FileNotFoundError:
            return []
        except OSError as error:
            raise BackupProblem(f"{self.path} cannot be read: {error.strerror}.") from error
        backups = [backup for entry in found if (backup := read_backup(entry, self.stem)) is not None]
        return sorted(backups, key=lambda backup: backup.time)

    def newest(self, until: Ms | None = None) -> Backup | None:
        """The newest that is not younger than ``until``. Raises BackupProblem when the folder cannot be read."""
        old_enough = (backup for backup in self.all() if until is None or backup.time <= until)
        return max(old_enough, key=lambda backup: backup.time, default=None)

    @contextmanager
    def held(self) -> Iterator[None]:
        """Make the folder (0700) and keep others from writing backups of this store to it. Raises BackupProblem.

        Its own parent must be there: a stick that is not plugged in is no reason to fill the card below its name.
        """
        try:
            with suppress(FileExistsError):
                self.path.mkdir(mode=0o700)
            lock = os.open(self.path / f".{self.stem}.lock", os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise BackupProblem(
                f"{self.path} cannot be written: {error.strerror}. Is its disk there, and may this user write to it?"
            ) from error
        try:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise BackupProblem(f"{self.path}: another backup is being made; wait for its end.") from None
            self._sweep()
            yield
        finally:
            os.close(lock)

    def _sweep(self) -> None:
        """What a killed try has left: files half written, and notes without a backup."""
        name = re.compile(rf"{re.escape(self.stem)}-\d{{8}}T\d{{6}}Z(\..+)", re.ASCII)
        for left in self.path.iterdir():
            ours = name.fullmatch(left.name)
            if ours is None:
                continue
            alone = ours[1] in (NOTE, CONFIG) and not left.with_suffix(ENDING).exists()
            if alone or PART in ours[1]:
                left.unlink(missing_ok=True)


def read_backup(path: Path, stem: str | None = None) -> Backup | None:
    """The backup in a file, going by its name; None when it has none of ours, or begins otherwise than with ``stem``."""
    if path.suffix != ENDING:
        return None
    time = _time_in(path.stem, stem)
    return None if time is None else Backup(path, time, Note.read(path.with_suffix(NOTE)))


def _time_in(name: str, stem: str | None) -> Ms | None:
    front, _, stamp = name.rpartition("-")
    if not front or (stem is not None and front != stem) or re.fullmatch(r"\d{8}T\d{6}Z", stamp, re.ASCII) is None:
        return None
    try:
        return int(datetime.strptime(stamp, _STAMP).replace(tzinfo=UTC).timestamp()) * 1000
    except ValueError:
        return None


def drop(backup: Backup) -> None:
    """Delete a backup and what belongs to it, the backup itself first: what is left alone is swept away later."""
    for path in (backup.path, backup.path.with_suffix(NOTE), backup.config):
        path.unlink(missing_ok=True)
