"""What time it is, as far as the board knows. A small board without a clock chip wakes up in a wrong year."""

from __future__ import annotations

import ctypes
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from monitor.core.model import Ms

NEVER_SET: Final = 1_704_067_200_000  # 2024-01-01: no board that runs this was set to an earlier time
_TIME_ERROR: Final = 5  # adjtimex(2): the clock is not synchronised
_ROOM: Final = 512  # bytes; struct timex has 208 on 64 bits
_STAMP: Final = Path("/run/systemd/timesync/synchronized")
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


class Clock:
    """``trusted``: the clock is right although nothing sets it. The steady clock never jumps."""

    def __init__(self, *, trusted: bool = False) -> None:
        self._trusted = trusted

    def steady(self) -> Ms:
        return time.monotonic_ns() // 1_000_000

    def wall(self) -> Ms | None:
        """UTC, or None as long as nobody has set the clock."""
        now = time.time_ns() // 1_000_000
        return now if now >= NEVER_SET and (self._trusted or synchronised()) else None


def synchronised() -> bool:
    """Whether the kernel was told that its clock follows a time server."""
    try:
        libc = ctypes.CDLL(None, use_errno=True)
        state = libc.adjtimex(ctypes.create_string_buffer(_ROOM))  # all noughts: only asks
    except (OSError, AttributeError):
        state = -1
    return _STAMP.exists() if state < 0 else state != _TIME_ERROR


def rfc3339(time_ms: Ms) -> str:
    return (_EPOCH + timedelta(milliseconds=time_ms)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
