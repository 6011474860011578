"""Which deliveries of the broker were taken in: the identity of readings that bring neither time nor number.

The packet id of a QoS 1 delivery is free for another message as soon as the broker has our acknowledgement. So an id
alone proves nothing; id and payload together, asked only when the broker marks the delivery as repeated, do. A broker
that hands out the same few ids again and again can still make a new message look like an old one, but only when both
say the same word.
"""

from __future__ import annotations

import struct
from collections import OrderedDict, deque
from hashlib import blake2b
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import sqlite3

REMEMBERED = 2_000
"""Deliveries that can be unacknowledged at once: our MQTT 5 Receive Maximum."""

_ENTRY = struct.Struct(">H4s")


def _digest(payload: bytes) -> bytes:
    return blake2b(payload, digest_size=4).digest()


class DeliveryShelf:
    """One row per commit with all its deliveries; as many rows as cover the newest REMEMBERED of them."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._known: OrderedDict[int, bytes] = OrderedDict()
        self._new: OrderedDict[int, bytes] = OrderedDict()
        self._rows: deque[tuple[int, int]] = deque()
        self._written: tuple[int, int] | None = None
        self._forget_written = False
        self._session: int | str | None = None
        self._next = 1
        for number, entries in connection.execute("SELECT id, entries FROM delivery ORDER BY id").fetchall():
            found = list(_ENTRY.iter_unpack(entries))
            self._rows.append((number, len(found)))
            self._next = number + 1
            for mid, digest in found:
                self._know(mid, digest)

    @property
    def waiting(self) -> int:
        return len(self._new) + self._forget_written

    def remember(self, session: int | str, mid: int, payload: bytes) -> None:
        if self._session is not None and session != self._session:
            self.new_session()
        self._session = session
        digest = _digest(payload)
        self._know(mid, digest)
        if mid in self._new:
            self._new.move_to_end(mid)
        self._new[mid] = digest
        if len(self._new) > 2 * REMEMBERED:
            self._new.popitem(last=False)

    def before(self, mid: int, payload: bytes) -> bool:
        return self._known.get(mid) == _digest(payload)

    def new_session(self) -> None:
        """The broker has forgotten us: it repeats nothing, and its packet ids start anew."""
        self._forget_written = bool(self._rows)
        self._known.clear()
        self._new.clear()
        self._session = None

    def write(self, connection: sqlite3.Connection) -> None:
        if self._forget_written:
            connection.execute("DELETE FROM delivery")
        self._written = None
        if self._new:
            entries = b"".join(_ENTRY.pack(mid, digest) for mid, digest in self._new.items())
            self._written = (self._next, len(self._new))
            connection.execute("INSERT INTO delivery VALUES (?, ?)", (self._next, entries))
        if not self._forget_written:
            unneeded = self._unneeded()
            if unneeded:
                connection.execute("DELETE FROM delivery WHERE id <= ?", (self._rows[unneeded - 1][0],))

    def saved(self) -> None:
        unneeded = len(self._rows) if self._forget_written else self._unneeded()
        for _ in range(unneeded):
            self._rows.popleft()
        if self._written is not None:
            self._rows.append(self._written)
            self._next = self._written[0] + 1
        self._written = None
        self._forget_written = False
        self._new.clear()

    def _unneeded(self) -> int:
        """How many of the oldest rows the newer ones make superfluous."""
        total = len(self._new) + sum(count for _, count in self._rows)
        for index, (_, count) in enumerate(self._rows):
            if total - count < REMEMBERED:
                return index
            total -= count
        return len(self._rows)

    def _know(self, mid: int, digest: bytes) -> None:
        if mid in self._known:
            self._known.move_to_end(mid)
        self._known[mid] = digest
        if len(self._known) > 2 * REMEMBERED:
            self._known.popitem(last=False)
