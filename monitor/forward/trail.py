"""What is to be sent next, read from the store beside its owner, in pieces that are small enough to be made in between."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.log import Start
from monitor.core.model import MINUTE
from monitor.store.errors import in_our_words
from monitor.store.past import open_to_read
from monitor.store.record import Record
from monitor.store.records import LAST_TIME, time_of
from monitor.store.sinks import NOTHING, Late, Reached

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.core.model import Ms
    from monitor.forward.lines import Lines

EVER: Final = 2**62
LATE_AT_ONCE: Final = 2_000
MOST_IN_A_MINUTE: Final = 100_000


@light
class Piece:
    """Some lines, and how far the server has got when it has them."""

    lines: list[str]
    reached: Reached


class Trail:
    """For one thread. Every method raises StoreError when the store can't be read just now."""

    def __init__(self, path: Path | str, lines: Lines) -> None:
        self._record = Record(path)
        self._lines = lines
        self._starts: dict[str, Start] = {}

    def newest(self) -> int:
        """The number of the newest reading that is committed."""
        with in_our_words(self._record.path), closing(open_to_read(self._record.path)) as connection:
            (at,) = connection.execute("SELECT max(at) FROM reading").fetchone()
        return NOTHING if at is None else int(at)

    def piece(self, begin: Reached, end: Reached, limit: int) -> Piece | None:
        """What comes after ``begin``, up to ``end``; what is scarce and matters most comes first. None when there is nothing."""
        changes = self._record.transitions(since=-EVER, until=EVER, after=begin.transition, limit=limit)
        changes = [change for change in changes if change.id <= end.transition]
        if changes:
            lines = [self._lines.transition(change.transition) for change in changes]
            return Piece(lines, replace(begin, transition=changes[-1].id))
        told = [one for one in self._record.told(after=begin.told, limit=limit) if one.id <= end.told]
        if told:
            lines = [self._lines.estimate(one.document, one.time, self._start(one.batch)) for one in told]
            return Piece(lines, replace(begin, told=told[-1].id))
        if begin.reading >= end.reading:
            return None
        page = self._record.readings(-LAST_TIME, time_of(end.reading) + 1, after=begin.reading, limit=limit)
        lines = [self._lines.reading(reading) for at, reading in page if at <= end.reading]
        last = page[-1][0] if len(page) == limit else end.reading
        return Piece(lines, replace(begin, reading=min(last, end.reading)))

    def late(self, sink: str) -> list[Late]:
        """Minutes that got readings after they had been sent, oldest first."""
        with in_our_words(self._record.path), closing(open_to_read(self._record.path)) as connection:
            rows = connection.execute(
                "SELECT slot, series, mark FROM resend WHERE sink = ? ORDER BY slot, series LIMIT ?",
                (sink, LATE_AT_ONCE),
            ).fetchall()
        return [Late(*row) for row in rows]

    def minute(self, late: Late) -> list[str]:
        """All readings of such a minute."""
        with in_our_words(self._record.path), closing(open_to_read(self._record.path)) as connection:
            found = connection.execute("SELECT probe FROM series WHERE id = ?", (late.series,)).fetchone()
        if found is None:
            return []
        page = self._record.readings(late.slot, late.slot + MINUTE, probe=found[0], limit=MOST_IN_A_MINUTE)
        return [self._lines.reading(reading) for _, reading in page]

    def oldest_unsent(self, begin: Reached) -> Ms | None:
        """The time of the first reading after ``begin``."""
        page = self._record.readings(-LAST_TIME, LAST_TIME, after=begin.reading, limit=1)
        return page[0][1].time if page else None

    def _start(self, batch: str) -> Start | None:
        if batch not in self._starts:
            entries = [noted.entry for noted in self._record.entries()]
            self._starts = {entry.batch: entry for entry in entries if isinstance(entry, Start)}
        return self._starts.get(batch)
