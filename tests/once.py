"""What is dear to make is made once for all processes of the suite: tests of one file may run in several of them."""

from __future__ import annotations

import fcntl
import os
import shutil
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import pytest


def once(places: pytest.TempPathFactory, name: str, make: Callable[[Path], None]) -> Path:
    """A folder of this name that ``make`` has filled, in this process or in another of the same run; who comes later waits.

    Nobody may change what is in it. What a failed ``make`` left is cleared away by the next.
    """
    base = places.getbasetemp()
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    whole, part = shared / name, shared / f"{name}.part"
    with (shared / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not whole.exists():
            shutil.rmtree(part, ignore_errors=True)
            part.mkdir()
            make(part)
            part.rename(whole)
    return whole
