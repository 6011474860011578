"""What can be measured of the machine: room on the disk, and whether anything keeps its clock."""

from __future__ import annotations

import ctypes
import os
import shutil
from pathlib import Path
from typing import Final

SYNC_SERVICE: Final = Path("/run/systemd/timesync")
"""There while that time service runs; its file ``synchronized`` is made once it has set the clock since the machine began."""
FILTERED: Final = Path("/proc/self/status")

_UNSYNCHRONISED: Final = 0x40  # STA_UNSYNC, adjtimex(2)


class _Timex(ctypes.Structure):
    """The beginning of struct timex, adjtimex(2), and more room than the rest of it takes."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_long * 32),
    )


def room(folder: Path) -> tuple[int, int] | None:
    """Bytes that this user can still write, and bytes altogether; ``None`` where that can't be told."""
    try:
        usage = shutil.disk_usage(folder)
    except OSError:
        return None
    return usage.free, usage.total


def clock_synced(service: Path = SYNC_SERVICE, status: Path = FILTERED) -> bool | None:
    """Whether the network or another reference keeps the system clock; ``None`` where that can't be told.

    The time service's own word comes first; else the kernel is asked, whom every other such service tells.
    """
    if service.is_dir():
        return (service / "synchronized").exists()
    return None if _system_calls_filtered(status) else _kernel_says()


def _system_calls_filtered(status: Path) -> bool:
    """A filter may end the process for asking; then it is better not to know."""
    try:
        lines = status.read_text().splitlines()
    except OSError:
        return True
    return "Seccomp:\t0" not in lines


def _kernel_says() -> bool | None:
    try:
        adjtimex = ctypes.CDLL(None, use_errno=True).adjtimex
    except (OSError, AttributeError):  # not Linux
        return None
    found = _Timex()  # modes 0: asks, sets nothing
    if adjtimex(ctypes.byref(found)) < 0:
        return None
    return not found.status & _UNSYNCHRONISED


def folder_of(store_path: str) -> Path:
    """Where the store lies."""
    return Path(os.path.abspath(store_path)).parent  # noqa: PTH100  (Path's resolves links too)
