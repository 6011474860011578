"""What the store keeps beside the readings: slots of history, the quarantine, and the engine's own notes."""

from __future__ import annotations

from collections import deque
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from monitor.core.model import SLOT, SlotClosed
from monitor.store.records import Quarantined, plain

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator

    import numpy as np
    from numpy.typing import NDArray

    from monitor.core.model import Ms
    from monitor.store.shelf import Names

QUARANTINED = 20
"""Messages kept for each probe."""

QUARANTINED_BYTES = 512


class Columns(NamedTuple):
    """Series, number, count and total of slots, a text each, None where there is no slot; numbers are counted from ``first``."""

    first: int
    series: str | None
    slots: str | None
    counts: str | None
    totals: str | None


def slot_columns(connection: sqlite3.Connection, since: Ms) -> Columns:
    """Those that begin at ``since`` or later.

    A long history takes a start's time and memory: a column comes as one text, which takes a third as long as rows, and a slot
    by a small number, which is half as long to write and to read as its time.
    """
    first = since // SLOT
    found = connection.execute(
        "SELECT group_concat(series), group_concat(slot / ? - ?), group_concat(count), group_concat(total) FROM slot "
        "WHERE slot >= ?",
        (SLOT, first, since),
    ).fetchone()
    return Columns(first, *found)


class SlotShelf:
    def __init__(self, connection: sqlite3.Connection, series: Names) -> None:
        self._connection = connection
        self._series = series
        self._new: dict[tuple[Ms, int], tuple[int, int]] = {}

    @property
    def waiting(self) -> int:
        return len(self._new)

    def put(self, closed: SlotClosed) -> None:
        """A slot that is put again grows: what comes now are readings that were late."""
        key = closed.slot, self._series.id_of(closed.probe)
        count, total = self._new.get(key, (0, 0))
        self._new[key] = (count + closed.count, total + closed.total)

    def since(self, since: Ms) -> list[SlotClosed]:
        rows = self._connection.execute("SELECT slot, series, count, total FROM slot WHERE slot >= ?", (since,))
        found = {(slot, series): (count, total) for slot, series, count, total in rows}
        for key, (count, total) in self._new.items():
            if key[0] >= since:
                before = found.get(key, (0, 0))
                found[key] = (before[0] + count, before[1] + total)
        return [
            SlotClosed(self._series.text_of(series), slot, count, total)
            for (slot, series), (count, total) in sorted(found.items())
        ]

    def by_probe(self, since: Ms, columns: Columns | None = None) -> Iterator[tuple[str, NDArray[np.int64]]]:
        """What was written of each probe, shape (k, 3): slot, count, total of those that begin at ``since`` or later.

        ``columns`` are theirs, where they have been read already.
        """
        import numpy as np  # noqa: PLC0415  (commands that only ask a service open its store, too)

        first, *read = slot_columns(self._connection, since) if columns is None else columns
        series, slots, *values = (np.fromstring(column or "", dtype=np.int64, sep=",") for column in read)
        if not len(series):
            return
        # A column of small numbers is ordered in a tenth of the time; in which order they come SQLite leaves open.
        slim = series.astype(np.min_scalar_type(series.max()))
        as_it_was = bool((slots[1:] >= slots[:-1]).all())
        order = np.argsort(slim, kind="stable") if as_it_was else np.lexsort((slots, series))
        told = np.stack([(slots + first) * SLOT, *values], axis=1)[order]
        ends = [0, *(np.flatnonzero(np.diff(series[order])) + 1).tolist(), len(told)]
        for begin, end in pairwise(ends):
            yield self._series.text_of(int(series[order[begin]])), told[begin:end]

    def write(self, connection: sqlite3.Connection) -> None:
        connection.executemany(
            "INSERT INTO slot VALUES (?, ?, ?, ?) ON CONFLICT (slot, series) DO UPDATE "
            "SET count = count + excluded.count, total = total + excluded.total",
            [(*key, *values) for key, values in sorted(self._new.items())],
        )

    def saved(self) -> None:
        self._new.clear()


class QuarantineShelf:
    """The newest unreadable messages of each probe; each takes the place of the one 20 before it."""

    def __init__(self, connection: sqlite3.Connection, series: Names) -> None:
        self._series = series
        self._kept: dict[str, deque[Quarantined]] = {}
        self._count: dict[str, int] = {}
        self._new: dict[tuple[int, int], tuple[int, Quarantined]] = {}
        rows = connection.execute("SELECT series, nth, time, reason, payload FROM quarantine ORDER BY series, nth")
        for number, nth, time, reason, payload in rows.fetchall():
            probe = series.text_of(number)
            self._shelf(probe).append(Quarantined(probe, time, reason, payload))
            self._count[probe] = nth + 1

    @property
    def waiting(self) -> int:
        return len(self._new)

    def put(self, probe: str, time: Ms, reason: str, payload: bytes) -> None:
        kept = Quarantined(probe, time, plain(reason), bytes(payload[:QUARANTINED_BYTES]))
        self._shelf(probe).append(kept)
        nth = self._count.get(probe, 0)
        self._count[probe] = nth + 1
        self._new[self._series.id_of(probe), nth % QUARANTINED] = (nth, kept)

    def of(self, probe: str) -> list[Quarantined]:
        return list(self._kept.get(probe, ()))

    def write(self, connection: sqlite3.Connection) -> None:
        connection.executemany(
            "INSERT OR REPLACE INTO quarantine VALUES (?, ?, ?, ?, ?, ?)",
            [(*key, nth, kept.time, kept.reason, kept.payload) for key, (nth, kept) in self._new.items()],
        )

    def saved(self) -> None:
        self._new.clear()

    def _shelf(self, probe: str) -> deque[Quarantined]:
        return self._kept.setdefault(probe, deque(maxlen=QUARANTINED))


class KeptShelf:
    """Texts under a key, for whoever must find their state again after a restart."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._new: dict[str, str] = {}

    @property
    def waiting(self) -> int:
        return len(self._new)

    def keep(self, key: str, value: str) -> None:
        self._new[key] = plain(value)

    def kept(self, key: str) -> str | None:
        if key in self._new:
            return self._new[key]
        found = self._connection.execute("SELECT value FROM kept WHERE key = ?", (key,)).fetchone()
        return None if found is None else str(found[0])

    def write(self, connection: sqlite3.Connection) -> None:
        connection.executemany("INSERT OR REPLACE INTO kept VALUES (?, ?)", list(self._new.items()))

    def saved(self) -> None:
        self._new.clear()
