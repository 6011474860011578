"""The files of an archive: written for their owner only, hashed on the way, and never outside of their folder."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final, Protocol, Self

from monitor.archive.manifest import FileNote

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_BUFFER: Final = 1 << 18
_NAME: Final = re.compile(r"(?:[a-z0-9-]{1,80}/)?[a-z0-9-]{1,80}\.(?:csv|jsonl|json|toml)", re.ASCII)


class ArchiveProblem(Exception):  # noqa: N818  (it speaks of the keeper's files)
    """What stands against writing an archive or taking it back; the message says what was found and what to do."""


class Progress(Protocol):
    def __call__(self, done: int, total: int) -> None:
        """So much of the work is done."""


def quiet(done: int, total: int) -> None:
    """Progress that nobody looks at."""


class Sink:
    """One file on its way out. Use as a context; ``note`` says afterwards what was written."""

    def __init__(self, folder: Path, name: str) -> None:
        self._name = name
        self._path = inside(folder, name)
        self._path.parent.mkdir(mode=0o700, exist_ok=True)
        self._handle = os.open(self._path, os.O_CREAT | os.O_EXCL | os.O_WRONLY | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
        self._waiting: list[str] = []
        self._size = 0
        self._bytes = 0
        self._hash = hashlib.sha256()
        self.rows = 0

    def write(self, text: str) -> None:
        """Take a piece of text; whoever writes rows counts them in ``rows``."""
        self._waiting.append(text)
        self._size += len(text)
        if self._size >= _BUFFER:
            self._flush()

    @property
    def note(self) -> FileNote:
        return FileNote(name=self._name, rows=self.rows, bytes=self._bytes, sha256=self._hash.hexdigest())

    def _flush(self) -> None:
        left = memoryview("".join(self._waiting).encode())
        self._waiting.clear()
        self._size = 0
        self._hash.update(left)
        self._bytes += len(left)
        while left:
            left = left[os.write(self._handle, left) :]

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        try:
            if kind is None:
                self._flush()
                os.fsync(self._handle)
        finally:
            os.close(self._handle)


def inside(folder: Path, name: str) -> Path:
    """The file of this name in an archive. Raises ArchiveProblem for a name that no archive has."""
    if _NAME.fullmatch(name) is None:
        raise ArchiveProblem(f"{folder}: {name[:80]!r} is no name of a file in an archive.")
    return folder / name


def is_ours(folder: Path, name: str) -> bool:
    """Whether a plain file of this name lies in the folder itself, reached by no link."""
    path = inside(folder, name)
    return path.is_file() and not path.is_symlink() and not path.parent.is_symlink()


@contextmanager
def new_folder(folder: Path) -> Iterator[Path]:
    """A folder to fill that takes its name when all is in it; nothing is left of it when something fails.

    What a killed try left beside it goes first.

    Raises ArchiveProblem when there is something of that name already.
    """
    folder = folder.absolute()
    if folder.is_symlink() or (folder.exists() and not (folder.is_dir() and not any(folder.iterdir()))):
        raise ArchiveProblem(f"{folder} is there already. Give the name of a new folder, or of an empty one.")
    part = folder.with_name(f".{folder.name}.part")
    try:
        folder.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(mode=0o700)
        yield part
        part.rename(folder)
    except OSError as error:
        raise ArchiveProblem(f"{folder} cannot be written: {error}. Give another folder, or make room.") from error
    finally:
        shutil.rmtree(part, ignore_errors=True)


def hash_of(path: Path, progress: Progress, done: int, total: int) -> tuple[str, int]:
    """SHA-256 of a file, and how many bytes were read in all."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(_BUFFER):
            digest.update(piece)
            done += len(piece)
            progress(done, total)
    return digest.hexdigest(), done
