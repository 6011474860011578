"""Readings on their way to the broker: the last hours in memory, oldest out first, none given up before it is taken."""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING, Final

from monitor.probe.clock import rfc3339

if TYPE_CHECKING:
    from monitor.core.model import Ms

MOST: Final = 100_000
"""Readings; about 30 MB. A board has memory for so many, whatever ``keep`` says."""


@dataclass(slots=True)
class Held:
    """A reading. ``n`` is the sensor's count, ``key`` the ring's own; ``measured`` is by the steady clock; ``time`` UTC,
    None while nobody knew it.
    """

    n: int
    topic: str
    value: float | str
    measured: Ms
    every: Ms
    time: Ms | None = None
    payload: bytes = b""
    key: int = 0

    def encode(self) -> bytes:
        """The message. It stays the same however often it is sent, so that a repeat is known as one."""
        if not self.payload:
            time = None if self.time is None else rfc3339(self.time)
            told = {"value": self.value, "time": time, "n": self.n}
            self.payload = json.dumps(told, separators=(",", ":")).encode()
        return self.payload


class Ring:
    """Any thread. ``keep`` in milliseconds."""

    def __init__(self, keep: Ms, most: int = MOST) -> None:
        self._keep = keep
        self._most = most
        self._held: OrderedDict[int, Held] = OrderedDict()
        self._waiting: OrderedDict[int, Held] = OrderedDict()  # those of them that are not under way
        self._keys = count(1)
        self._lock = threading.Lock()
        self.lost = 0
        """Readings that grew too old, or that the broker refused."""

    def __len__(self) -> int:
        return len(self._held)

    def add(self, held: Held) -> None:
        with self._lock:
            held.key = next(self._keys)
            self._held[held.key] = self._waiting[held.key] = held
            while len(self._held) > self._most or self._oldest().measured < held.measured - self._keep:
                self._drop(self._oldest().key)

    def next(self, steady: Ms, wall: Ms | None) -> Held | None:
        """The reading to send now, marked as under way.

        While the time is unknown only fresh ones go: the receiver would take an old one for new. The old ones wait until
        the clock is set, which tells when they were measured.
        """
        with self._lock:
            for held in self._waiting.values():
                if held.time is None and wall is not None and not held.payload:
                    held.time = wall - (steady - held.measured)
                if held.time is not None or held.payload or steady - held.measured <= held.every:
                    del self._waiting[held.key]
                    return held
        return None

    def taken(self, key: int) -> None:
        """The broker has it."""
        with self._lock:
            self._held.pop(key, None)
            self._waiting.pop(key, None)

    def refused(self, key: int) -> None:
        """The broker will never have it."""
        with self._lock:
            if key in self._held:
                self._drop(key)

    def landed(self) -> None:
        """The connection is gone: what was under way waits again, in its old place."""
        with self._lock:
            self._waiting = OrderedDict(self._held)

    def _oldest(self) -> Held:
        return next(iter(self._held.values()))

    def _drop(self, key: int) -> None:
        del self._held[key]
        self._waiting.pop(key, None)
        self.lost += 1
