"""A file that only holds space: given up when the disk is full, so that alarms can still be written."""

from __future__ import annotations

import os
from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

RESERVE_BYTES = 1 << 20
"""Room for about thirty urgent commits; one writes five to eight pages."""


class Reserve:
    """``held`` tells whether the space is set aside."""

    def __init__(self, path: Path, size: int = RESERVE_BYTES) -> None:
        self.path = path
        self._size = size
        self.held = path.exists() and path.stat().st_size >= size

    def free(self) -> int:
        """Bytes the disk still offers to this user."""
        offered = os.statvfs(self.path.parent)
        return offered.f_bavail * offered.f_frsize

    def roomy(self) -> bool:
        """Whether there is room for ordinary rows without eating what the reserve gave back."""
        return self.held or self.free() >= 2 * self._size

    def make(self) -> None:
        """Set the space aside if there is plenty; a disk without it is no reason to fail."""
        if self.held or self.free() < 2 * self._size:
            return
        try:
            handle = os.open(self.path, os.O_CREAT | os.O_WRONLY | os.O_CLOEXEC, 0o600)
            try:
                os.posix_fallocate(handle, 0, self._size)
            finally:
                os.close(handle)
            self.held = True
        except OSError:
            self.release()

    def release(self) -> None:
        self.held = False
        with suppress(OSError):
            self.path.unlink()
