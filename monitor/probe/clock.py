"""What time it is, as far as the board knows. A small board without a clock chip wakes up in a wrong year."""

from __future__ import annotations

import ctypes
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.model import Ms

NEVER_SET: Final = 1_704_067_200_000  # 2024-01-01: no board that runs this was set to an earlier time
_TIME_ERROR: Final = 5  # adjtimex(2): the clock is not synchronised
_ROOM: Final = 512  # bytes; struct timex has 208 on 64 bits
_STAMP: Final = Path("/run/systemd/timesync/synchronized")  # systemd-timesyncd.service(8)
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


class Clock:
    """``trusted``: the clock is right although nothing sets it. The steady clock never jumps.

    Once it was set it counts as known until the end, however long the time server is away afterwards: a board loses
    seconds in a day, and readings without a time would be the greater evil.
    """

    def __init__(self, *, trusted: bool = False, asked: Callable[[], bool] | None = None) -> None:
        self._known = trusted
        self._asked = asked or synchronised

    def steady(self) -> Ms:
        return time.monotonic_ns() // 1_000_000

    def wall(self) -> Ms | None:
        """UTC, or None as long as nobody has set the clock."""
        now = time.time_ns() // 1_000_000
        if now < NEVER_SET:
            return None
        self._known = self._known or self._asked()
        return now if self._known else None


def synchronised() -> bool:
    """Whether the clock follows a time server, or has done so since the board was started."""
    if _STAMP.exists():
        return True
    try:
        libc = ctypes.CDLL(None, use_errno=True)
        state = int(libc.adjtimex(ctypes.create_string_buffer(_ROOM)))  # all noughts: only asks
    except (OSError, AttributeError, MemoryError):  # the last where nothing may be both written and run
        return False
    return 0 <= state < _TIME_ERROR


def rfc3339(time_ms: Ms) -> str:
    return (_EPOCH + timedelta(milliseconds=time_ms)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
