"""Memory that nobody needs any more goes back to the system: large pieces at once, the rest after the start and once a day."""

from __future__ import annotations

import ctypes
import gc
from contextlib import suppress
from typing import Final

_TRIM_THRESHOLD, _MMAP_THRESHOLD, _ARENA_MAX = -1, -3, -8  # as the GNU library's <malloc.h> names them
LARGE: Final = 128 * 1024
"""Bytes: the GNU library's own beginning."""
POOLS: Final = 2


def begin() -> None:
    """At the start nearly everything that is made stays: looking for what does not, again and again, takes a tenth of it."""
    gc.disable()
    keep_little()


def keep_little() -> None:
    """Large pieces go back as soon as they are free, and threads share two pools. Only the GNU library has to be told.

    Left to itself it takes the first large message as a sign that such pieces are common, and keeps up to 64 MB of what was
    freed for the next, in each thread's own pool.
    """
    with suppress(OSError, AttributeError):
        tell = ctypes.CDLL(None).mallopt
        tell(_ARENA_MAX, POOLS)
        tell(_MMAP_THRESHOLD, LARGE)
        tell(_TRIM_THRESHOLD, LARGE)


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
