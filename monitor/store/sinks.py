"""How far each time-series server has got with the record, and what it must be sent once more.

Readings come in no order. So whoever copies them says, before each look, up to where it will read: its ceiling. A commit that
writes a reading below the ceiling notes the minute in table ``resend``, in the same transaction. The lock is held from before the
commit looks at the ceilings until it is done: what the copier then does not see lies above its ceiling, or is noted.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from dataclasses import field
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.model import MINUTE
from monitor.store.records import series_of, time_of

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable, Collection, Iterable, Iterator, Mapping

NOTHING: Final = -(2**63)
"""Before the first reading there can be."""


@light
class Reached:
    """All up to here, these included, has been sent. ``reading`` is its number ``at``, the others are ids."""

    reading: int = NOTHING
    told: int = 0
    transition: int = 0


@light
class Late:
    """A minute of a probe that got readings when it had been sent already. ``mark`` tells it from a later one."""

    slot: int
    series: int
    mark: int


@light
class Forwarded:
    """What a server has got for certain; ``done`` need not be sent again."""

    sink: str
    reached: Reached
    done: tuple[Late, ...] = ()


class Ceilings:
    """Shared by the store's owner and the threads that copy; every method is safe from any."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._of: dict[str, int] = {}

    def publish(self, sink: str, at: int) -> None:
        """From now on whatever is written at or below ``at`` is noted for ``sink``. Waits for a commit that is under way."""
        with self._lock:
            self._of[sink] = at

    @contextmanager
    def held(self) -> Iterator[Mapping[str, int]]:
        """The ceilings, which stay as they are meanwhile."""
        with self._lock:
            yield self._of


@light(frozen=False)
class _Moved:
    reached: Reached
    done: list[Late] = field(default_factory=list)


class SinkShelf:
    """``written`` gives the numbers of the readings that go with the next commit. Write it while ``ceilings`` are held."""

    def __init__(self, connection: sqlite3.Connection, written: Callable[[], Iterable[int]]) -> None:
        self.ceilings = Ceilings()
        self._connection = connection
        self._written = written
        self._moved: dict[str, _Moved] = {}
        self._of: Mapping[str, int] = {}
        (newest,) = connection.execute("SELECT coalesce(max(mark), 0) FROM resend").fetchone()
        self._mark = int(newest)

    @property
    def waiting(self) -> int:
        return len(self._moved)

    def use(self, sinks: Collection[str]) -> dict[str, Reached]:
        """These are the sinks there are; how far each has got. What is known of others is forgotten: they must begin anew."""
        known = {row[0]: Reached(*row[1:]) for row in self._connection.execute("SELECT * FROM sink").fetchall()}
        for gone in known.keys() - set(sinks):
            self._connection.execute("DELETE FROM sink WHERE id = ?", (gone,))
            self._connection.execute("DELETE FROM resend WHERE sink = ?", (gone,))
        found = {sink: known.get(sink, Reached()) for sink in sinks}
        for sink, reached in found.items():
            self.ceilings.publish(sink, reached.reading)
        return found

    def forwarded(self, item: Forwarded) -> None:
        moved = self._moved.setdefault(item.sink, _Moved(item.reached))
        moved.reached = item.reached
        moved.done += item.done

    def under(self, ceilings: Mapping[str, int]) -> None:
        """The ceilings that hold while ``write`` runs."""
        self._of = ceilings

    def write(self, connection: sqlite3.Connection) -> None:
        for sink, moved in self._moved.items():
            reached = moved.reached
            values = (sink, reached.reading, reached.told, reached.transition)
            connection.execute("INSERT OR REPLACE INTO sink VALUES (?, ?, ?, ?)", values)
            connection.executemany(
                "DELETE FROM resend WHERE sink = ? AND slot = ? AND series = ? AND mark = ?",
                [(sink, late.slot, late.series, late.mark) for late in moved.done],
            )
        self._note_late(connection)

    def _note_late(self, connection: sqlite3.Connection) -> None:
        if not self._of:
            return
        self._mark += 1
        highest = max(self._of.values())
        late = [at for at in self._written() if at <= highest]
        for sink, ceiling in self._of.items():
            places = sorted({(_minute(at), series_of(at)) for at in late if at <= ceiling})
            connection.executemany(
                "INSERT INTO resend VALUES (?, ?, ?, ?) "
                "ON CONFLICT (sink, slot, series) DO UPDATE SET mark = excluded.mark",
                [(sink, slot, series, self._mark) for slot, series in places],
            )

    def saved(self) -> None:
        self._moved.clear()


def _minute(at: int) -> int:
    time = time_of(at)
    return time - time % MINUTE
