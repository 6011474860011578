"""Faults planted on purpose: a fuzzer that finds none of them finds nothing elsewhere either."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Final

from tests.fuzz.target import Target

if TYPE_CHECKING:
    from collections.abc import Iterator

SLOW_MS: Final = 80.0
OFTEN: Final = 5
"""Times in one process, so that a run over it ends."""
_dawdled: Final[list[float]] = []


def one(data: bytes) -> bool:
    """Refuses all but what begins with the word ``air``: then it raises, or with ``aim`` it dawdles."""
    if data[:1] == b"a" and data[1:2] == b"i":
        if data[2:3] == b"r":
            raise ZeroDivisionError("a planted fault")
        if data[2:3] == b"m":
            _dawdle()
    return False


def _dawdle() -> None:
    ends = time.process_time() + SLOW_MS / 1000
    if len(_dawdled) < OFTEN:
        _dawdled.append(ends)
        while time.process_time() < ends:
            pass


def seeds() -> Iterator[bytes]:
    yield b"no"


TARGETS: Final = (Target("planted", one, seeds, longest=8),)
