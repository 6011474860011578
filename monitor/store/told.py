"""Estimates as they were told: what a forecast was worth can only be seen afterwards."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.store.records import told_to_record
from monitor.store.shelf import next_id

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Mapping

    from monitor.core.model import Ms


class ToldShelf:
    def __init__(self, connection: sqlite3.Connection) -> None:
        self._next = next_id(connection, "told_estimate")
        self._new: list[tuple[int, str, Ms, str]] = []

    @property
    def waiting(self) -> int:
        return len(self._new)

    def tell(self, batch: str, time: Ms, document: Mapping[str, Any]) -> int:
        number = self._next
        self._next += 1
        self._new.append((number, batch, time, told_to_record(document)))
        return number

    def write(self, connection: sqlite3.Connection) -> None:
        connection.executemany("INSERT INTO told_estimate (id, batch, time, fields) VALUES (?, ?, ?, ?)", self._new)

    def saved(self) -> None:
        self._new.clear()
