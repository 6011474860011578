"""A disk of a few megabytes of its own for a store, which can be filled to the last block and freed again."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from contextlib import suppress
from functools import wraps
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.system.daemon import Daemon
    from tests.system.fire.fault import Ground

NEW_ROOT: Final = ("unshare", "--map-root-user", "--mount")
"""A name space in which whoever is not root may mount."""
NOT_TRIED: Final = (
    "a full disk could not be tried: neither mount nor a user name space is allowed here; run it as root, "
    "or in a container that may mount"
)
PATIENCE_S: Final = 300.0
CHUNK: Final = 1 << 16
BLOCK: Final = 4096


def may_mount(*way: str) -> bool:
    """Whether a small disk can be made, by ``way`` before the command."""
    if shutil.which((*way, "mount")[0]) is None:
        return False
    where = ["-t", "tmpfs", "-o", "size=64k", "none", "/mnt"]
    mounted = subprocess.run([*way, "mount", *where], check=False, capture_output=True).returncode == 0
    if mounted and not way:
        subprocess.run(["umount", "/mnt"], check=True)
    return mounted


def can_be_tried() -> bool:
    return may_mount() or may_mount(*NEW_ROOT)


def on_a_disk(name: str) -> Callable[[Callable[[Ground], None]], Callable[[Ground], None]]:
    """For a fault of this name that mounts: where that is not allowed it is tried in a name space where it is."""

    def wrap(trial: Callable[[Ground], None]) -> Callable[[Ground], None]:
        @wraps(trial)
        def attempt(ground: Ground) -> None:
            if may_mount():
                trial(ground)
                return
            assert may_mount(*NEW_ROOT), NOT_TRIED
            command = [*NEW_ROOT, sys.executable, "-m", "tests.system.fire", "--only", name, "--times", "1"]
            done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=PATIENCE_S)
            assert done.returncode == 0, done.stdout + done.stderr

        return attempt

    return wrap


class SmallDisk:
    """Made for a daemon that was not started yet: its store lies there, its log does not."""

    def __init__(self, ground: Ground, daemon: Daemon, megabytes: int) -> None:
        self.folder = daemon.store.parent
        self.folder.mkdir(parents=True)
        size = f"size={megabytes}m,mode=700"
        subprocess.run(["mount", "-t", "tmpfs", "-o", size, "swimup-fire", str(self.folder)], check=True)
        ground.when_done(self._unmount)

    def _unmount(self) -> None:
        # Lazily: a test that failed may have left a process that holds it.
        subprocess.run(["umount", "-l", str(self.folder)], check=True)

    @property
    def _filler(self) -> Path:
        return self.folder / "photographs"

    def free(self) -> int:
        """Bytes."""
        offered = os.statvfs(self.folder)
        return offered.f_bavail * offered.f_frsize

    def fill(self, leave: int = 0) -> None:
        """Other people's files take all but ``leave`` bytes."""
        with self._filler.open("ab", buffering=0) as file, suppress(OSError):
            while (room := self.free() - leave) > 0 or not leave:
                file.write(b"x" * (min(CHUNK, max(room, BLOCK)) if leave else BLOCK))

    def clear(self) -> None:
        """They are moved elsewhere."""
        self._filler.unlink()

    def writable(self, *, writable: bool) -> None:
        """As a card that has failed is mounted from then on."""
        way = "rw" if writable else "ro"
        subprocess.run(["mount", "-o", f"remount,{way}", str(self.folder)], check=True)
