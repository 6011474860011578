"""A small file whose content counts as soon as it is written: a password that is changed, a token that is revoked."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Final, Generic, TypeVar

from monitor.loglines import log
from monitor.web.options import WebProblem

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

Content = TypeVar("Content")
_NEVER: Final = (-1, -1, -1)


class Kept(Generic[Content]):
    """Reads ``path`` anew when it has changed. Safe from any thread.

    ``read`` raises WebProblem for what it can't use; ``without`` counts instead then, and should let nobody in.
    """

    def __init__(self, path: Path, read: Callable[[Path], Content], without: Content) -> None:
        self._path, self._read, self._without = path, read, without
        self._one_at_a_time = threading.Lock()
        self._seen: tuple[int, int, int] | None = _NEVER
        self._content = without

    def first(self) -> None:
        """Read it once, so that what can't be used is told at the start. Raises WebProblem."""
        self._seen, self._content = self._mark(), self._read(self._path)

    def now(self) -> Content:
        """What it says by now; a file that can't be used is told in the log, once."""
        mark = self._mark()
        with self._one_at_a_time:
            if mark != self._seen:
                self._seen = mark
                try:
                    self._content = self._read(self._path)
                except WebProblem as problem:
                    self._content = self._without
                    log.warning("web.secret-unusable", problem=str(problem))
            return self._content

    def _mark(self) -> tuple[int, int, int] | None:
        """Every way to write a file changes one of these."""
        try:
            found = self._path.stat()
        except OSError:
            return None
        return found.st_ino, found.st_size, found.st_mtime_ns
