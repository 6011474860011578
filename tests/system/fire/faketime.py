"""A system clock of a process's own, which a test sets while it runs; what counts seconds since the start goes on rightly.

libfaketime (GPL-2.0, a test's tool only; Debian's package ``faketime``) is put before the C library of that one process.
"""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from tests.system.daemon import Daemon

NOT_TRIED: Final = "no clock could be set: libfaketime is not installed (Debian's package faketime)"


def library() -> Path | None:
    """Where Debian puts the one for programs with threads."""
    return next(iter(sorted(Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1"))), None)


class SystemTime:
    """The system clock as one daemon sees it, from its next start on; right until it is set."""

    def __init__(self, daemon: Daemon) -> None:
        found = library()
        assert found is not None, NOT_TRIED
        self._file = daemon.config.with_name("clock")
        self._ahead = 0.0
        self.put(0.0)
        daemon.environment |= {
            "LD_PRELOAD": str(found),
            "FAKETIME_TIMESTAMP_FILE": str(self._file),
            "FAKETIME_NO_CACHE": "1",
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
            "DONT_FAKE_MONOTONIC": "1",  # what it was called before 0.9.10
            "NO_FAKE_STAT": "1",
            "TZ": "UTC",
        }

    def put(self, ahead: float) -> None:
        """It is so many seconds ahead of the right time."""
        draft = self._file.with_suffix(".new")
        draft.write_text(f"{ahead:+.3f}\n")
        draft.replace(self._file)
        self._ahead = ahead

    def jump(self, by: float) -> None:
        """Somebody sets it, ahead or back by so many seconds."""
        self.put(self._ahead + by)

    def put_at(self, moment: datetime) -> None:
        """It says so now."""
        self.put(moment.timestamp() - time.time())

    def now_ms(self) -> int:
        """What it says, ms since 1970."""
        return round((time.time() + self._ahead) * 1000)

    def now(self) -> datetime:
        return datetime.fromtimestamp(self.now_ms() / 1000, UTC)
