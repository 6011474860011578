"""What a keeper wrote down about a batch, as sentences. Pure."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.log import Chill, Discard, Harvest, Lapse, Seen, Settle, Sight, Start, Work, kind_of
from monitor.core.model import MINUTE, Ms
from monitor.core.undo import words_of
from monitor.core.wording import clock, duration, length, number, whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.log import Deed, Undo

SAW: Final = {
    Sight.NONE: "nothing swam yet",
    Sight.FIRST: "the first few swam",
    Sight.SOME: "some swam",
    Sight.MOST: "most swam",
}
NOTED_LATE: Final[Ms] = 15 * MINUTE
"""When an entry was written down is told from so much later on."""
ONE_BY_ONE: Final = 3
"""Of more settlings, times of work, or entries that were taken back, only the number is told."""


@light(frozen=False)
class Line:
    """A sentence to be: ``tail`` ends it after a semicolon, ``more`` are sentences after it."""

    time: Ms
    kind: str
    text: str
    until: Ms = 0  # what it is about lasted so long
    tail: list[str] = field(default_factory=list)
    more: list[str] = field(default_factory=list)

    @property
    def whole(self) -> str:
        return " ".join([f"{'; '.join([self.text, *(one for one in self.tail if one)])}.", *self.more])


def started(start: Start, strain: str, water_c: float | None, timezone: str) -> Line:
    kind = f" ({strain})" if strain else ""
    water = "" if water_c is None else f", water at {number(water_c)} °C"
    text = (
        f"Started in {start.vessel}: {number(start.cysts_g, 2)} g of {start.lot}{kind} in {number(start.litres, 2)} L "
        f"at {number(start.salinity_g_l, 2)} g/L salt{water}"
    )
    return Line(start.time, "start", text + _late(start, timezone))


def looks(of: Sequence[Seen], timezone: str) -> list[Line]:
    """In order of time; looks in a row that saw the same are one."""
    rows: list[list[Seen]] = []
    for look in sorted(of, key=lambda look: (look.time, look.logged)):
        last = rows[-1] if rows else None
        if last is not None and last[-1].what is look.what and look.fraction is None and last[-1].fraction is None:
            last.append(look)
        else:
            rows.append([look])
    return [_row(row, timezone) for row in rows]


def _row(row: Sequence[Seen], timezone: str) -> Line:
    first, last = row[0], row[-1]
    counted = "" if first.fraction is None else f", counted {round(100 * first.fraction)} % of the cysts"
    said = f"{SAW[first.what]}{counted}"
    until = max(look.logged for look in row)
    if len(row) == 1:
        return Line(first.time, "seen", f"You looked: {said}{_late(first, timezone)}", until)
    upto = clock(last.time, timezone, first.time)
    return Line(first.time, "seen", f"You looked {len(row)} times up to {upto}: {said}", until)


def ended(end: Harvest | Discard | Lapse, start: Ms, timezone: str) -> Line:
    after = duration(end.time - start)
    if isinstance(end, Lapse):
        return Line(
            end.time, "lapse", f"Nobody had written down how it ended, so the monitor closed it after {after}", end.time
        )
    if isinstance(end, Discard):
        why = f": {end.reason.rstrip('.')}" if end.reason else "; no reason was noted"
        return Line(end.time, "discard", f"Thrown away after {after}{why}{_late(end, timezone)}", end.time)
    return Line(end.time, "harvest", f"Harvested after {after}{harvest_count(end)}{_late(end, timezone)}", end.time)


def harvest_count(end: Harvest) -> str:
    """`` with about 180 000 young brine shrimp; 72 % of the cysts hatched``; empty when nobody counted."""
    some = "" if end.nauplii is None else f" with about {whole(end.nauplii)} young brine shrimp"
    share = "" if end.hatched_fraction is None else f"; {round(100 * end.hatched_fraction)} % of the cysts hatched"
    return some + share


def doings(deeds: Sequence[Deed], timezone: str) -> list[Line]:
    """Air off on purpose, hands in the vessel, and what went into the cold."""
    settled = [(one.time, one.until) for one in deeds if isinstance(one, Settle)]
    lines = _spans(settled, "settle", "Air off on purpose", timezone)
    lines += _spans(work_times(deeds), "work", "You worked on the vessel", timezone)
    lines += [
        Line(one.time, "chill", f"{whole(one.nauplii)} of them went into {one.store}, to be kept cold")
        for one in deeds
        if isinstance(one, Chill)
    ]
    return lines


def work_times(deeds: Sequence[Deed]) -> list[tuple[Ms, Ms]]:
    """Begin and end of each time of work: one entry more makes it longer, or says that it is done."""
    found: list[tuple[Ms, Ms]] = []
    for one in deeds:
        if not isinstance(one, Work):
            continue
        if found and one.time <= found[-1][1]:
            found[-1] = (found[-1][0], max(one.until, one.time) if one.until > one.time else one.time)
        elif one.until > one.time:
            found.append((one.time, one.until))
    return found


def _spans(spans: Sequence[tuple[Ms, Ms]], kind: str, what: str, timezone: str) -> list[Line]:
    if len(spans) > ONE_BY_ONE:
        first, last = spans[0][0], spans[-1][1]
        return [Line(first, kind, f"{what} {len(spans)} times up to {clock(last, timezone, first)}", last)]
    return [Line(begin, kind, f"{what} until {clock(end, timezone, begin)}", end) for begin, end in spans]


def taken_back(undone: Sequence[tuple[Deed, Undo]], timezone: str) -> list[Line]:
    """What was noted and undone: it counts for nothing, and is told so that nobody wonders."""
    if len(undone) > ONE_BY_ONE:
        first, last = undone[0][1].logged, undone[-1][1].logged
        return [
            Line(first, "undone", f"You took back {len(undone)} entries up to {clock(last, timezone, first)}", last)
        ]
    return [
        Line(
            entry.logged,
            "undone",
            f"Noted and taken back {length(undo.logged - entry.logged)} later: the "
            f"{words_of(kind_of(entry), _subject(entry))}; it counts for nothing",
            undo.logged,
        )
        for entry, undo in undone
    ]


def _subject(entry: Deed) -> str:
    names = (getattr(entry, name, "") for name in ("store", "batch", "vessel"))
    return str(next((name for name in names if name), ""))


def _late(entry: Deed, timezone: str) -> str:
    """``, noted at 07:10``, when that was clearly later."""
    if entry.logged - entry.time < NOTED_LATE:
        return ""
    return f" (noted {clock(entry.logged, timezone, entry.time)})"
