"""The running numbers of readings. They go on over restarts, and spare the card."""

from __future__ import annotations

import os
import threading
from typing import TYPE_CHECKING, Final

from monitor.loglines import log

if TYPE_CHECKING:
    from pathlib import Path

BLOCK: Final = 10_000
"""Numbers are set aside in the file so many at a time. A restart leaves out what is left of them: no number comes twice."""


class Count:
    """A count for each sensor, so that a gap in one tells of a loss. Any thread.

    Where the file cannot be used it counts all the same, from nought: readings matter more than their numbers.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._first = self._limit = self._read()
        self._next: dict[str, int] = {}
        self._lock = threading.Lock()

    def take(self, sensor: str) -> int:
        """The sensor's next number."""
        with self._lock:
            n = self._next.get(sensor, self._first)
            if n >= self._limit:
                self._limit += BLOCK
                self._write(self._limit)
            self._next[sensor] = n + 1
            return n

    def _read(self) -> int:
        try:
            return max(int(self._path.read_text(encoding="ascii")), 0)
        except FileNotFoundError:
            return 0
        except (OSError, ValueError) as error:
            log.warning("count.unreadable", file=str(self._path), reason=str(error))
            return 0

    def _write(self, limit: int) -> None:
        new = self._path.with_name(self._path.name + ".new")
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            with new.open("w", encoding="ascii") as file:
                file.write(f"{limit}\n")
                file.flush()
                os.fsync(file.fileno())
            new.replace(self._path)
        except OSError as error:
            log.warning("count.unsaved", file=str(self._path), reason=str(error))
