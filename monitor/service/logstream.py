"""Where the program's log goes: a full disk, a card that fails or a reader that has gone must not stop what it tells of."""

from __future__ import annotations

import io
import os
from contextlib import suppress


class UnfailingLog(io.TextIOBase):
    """Each text goes to a file descriptor at once and as a whole; what cannot be written there is dropped.

    Nothing is buffered: what a full disk refused would be tried again at the end of the process, and spoil its exit code.
    """

    def __init__(self, descriptor: int = 2) -> None:
        self._descriptor = descriptor

    def write(self, text: str) -> int:
        with suppress(OSError):
            os.write(self._descriptor, text.encode(errors="backslashreplace"))
        return len(text)

    def flush(self) -> None:
        """Nothing waits."""
