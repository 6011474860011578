"""Memory that nobody needs any more goes back to the system: after the start, and once a day."""

from __future__ import annotations

import ctypes
import gc
from contextlib import suppress


def begin() -> None:
    """At the start nearly everything that is made stays: looking for what does not, again and again, takes a tenth of it."""
    gc.disable()


def settle() -> None:
    """When the state is back, and again when the page is: what is left stays as long as the service, so nobody looks at it."""
    gc.enable()
    gc.collect()
    gc.freeze()
    trim()


def trim() -> None:
    """What was freed between what stays: only the GNU library keeps it until it is asked. A few ms."""
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)
