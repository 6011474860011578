"""Whether the store holds what was sent, no more and no less, when all is over."""

from __future__ import annotations

import sqlite3
from array import array
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from monitor.store import Store
from monitor.store.rollups import QUARTER, horizon

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from monitor.core.model import Ms


class Sent:
    """How many readings were sent, by quarter-hours from ``begin`` on; its size is fixed, so that it is no growth itself."""

    def __init__(self, begin: Ms, length: Ms) -> None:
        self._first = begin // QUARTER
        self._counts = array("q", bytes(8 * (length // QUARTER + 2)))
        self.total = 0

    def count(self, time: Ms) -> None:
        self._counts[time // QUARTER - self._first] += 1
        self.total += 1

    def since(self, time: Ms) -> int:
        """Those of the quarter-hour of ``time`` and later."""
        return sum(self._counts[max(time // QUARTER - self._first, 0) :])


@dataclass(frozen=True, slots=True)
class Found:
    """``due`` readings should be in the store, ``kept`` are; ``rolled`` are in its quarter-hours, of ``sent`` in all."""

    sent: int
    due: int
    kept: int
    rolled: int
    integrity: str

    def faults(self) -> list[str]:
        found = [] if self.integrity == "ok" else [f"the store is damaged: {self.integrity}"]
        if self.kept != self.due:
            found.append(f"{self.kept} readings are stored, {self.due} were sent and not cleared away")
        if self.rolled != self.sent:
            found.append(f"{self.rolled} readings are in the roll-ups, {self.sent} were sent")
        return found


def examine(path: Path, now: Ms, sent: Sent) -> Found:
    """Roll up what is left and count. The service must have ended; ``now`` is later than all readings by half an hour."""
    return _examined(path, now, sent.total, sent.since)


def count(path: Path, now: Ms, sent: int) -> Found:
    """The same where nothing is old enough to be cleared away."""
    return _examined(path, now, sent, lambda _: sent)


def _examined(path: Path, now: Ms, sent: int, since: Callable[[Ms], int]) -> Found:
    with Store.open(path, now=now) as store:
        while store.roll_up(now):
            pass
    with closing(sqlite3.connect(path)) as connection:
        raw = horizon(connection, "raw")
        return Found(
            sent=sent,
            due=since(raw),
            kept=_one(connection, "SELECT count(*) FROM reading"),
            rolled=_one(connection, "SELECT sum(count + suspect) FROM rollup_quarter"),
            integrity=str(_one(connection, "PRAGMA integrity_check")),
        )


def _one(connection: sqlite3.Connection, query: str) -> Any:
    return connection.execute(query).fetchone()[0]
