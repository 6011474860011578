"""Memory that only the start needed goes back to the system."""

from __future__ import annotations

import ctypes
import gc
from contextlib import suppress


def settle() -> None:
    """Once, when the state is back: what is left stays for as long as the service runs, so no later collection looks at it."""
    gc.collect()
    gc.freeze()
    with suppress(OSError, AttributeError):  # only the GNU library keeps freed memory until it is asked
        ctypes.CDLL(None).malloc_trim(0)
