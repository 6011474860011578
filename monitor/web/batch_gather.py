"""Reads out of the record what it knows of a batch. It blocks, so it wants a thread of its own. Raises StoreError.

Nothing here looks at the clock: the story of a batch, open or ended, is a function of the record alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.chronicle import Known, told_at_start
from monitor.core.light import light
from monitor.core.lives import LONGEST_LIFE, lives
from monitor.core.log import Chill, Settle, Start, Work
from monitor.core.lots import Taught
from monitor.core.model import HOUR, MINUTE
from monitor.core.tale_courses import AirLevel, Level
from monitor.core.undo import undone_of, without_undone
from monitor.settings import strains
from monitor.web.told_ready import ready_told

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from monitor.core.lives import Life, ReadyTold
    from monitor.core.log import Deed, LogEntry, Undo
    from monitor.core.model import Ms
    from monitor.store.record import Record

POINTS: Final = LONGEST_LIFE // MINUTE + 60
"""A minute each, for as long as minutes are kept; then quarter-hours."""
AFTERWARDS: Final[Ms] = 6 * HOUR
"""For so long after its end it is still looked for how its alarms ended."""
_MOST_MOVES: Final = 4_000
_FIRST_TOLD: Final = 24
"""Estimates that are read to find the first in which ready was in sight."""


@light
class Beside:
    """A batch in a list: what was told of it at its start."""

    life: Life
    first: ReadyTold | None


def known_of(record: Record, bench: Mapping[str, Any], name: str) -> Known | None:
    """None where the record has no such batch."""
    entries = [noted.entry for noted in record.entries()]
    standing = without_undone(entries)
    life = next((life for life in lives(standing) if life.id == name), None)
    if life is None:
        return None
    start, vessel = life.start, life.start.vessel
    until = start.time + LONGEST_LIFE if life.end is None else life.until(life.end.time)
    probes = [one for one in bench.get("probes") or [] if one.get("vessel") == vessel]
    air = [one["id"] for one in probes if one["measures"] == "air"]
    return Known(
        life=life,
        timezone=bench["timezone"],
        strain=strain_of(bench, start.lot),
        deeds=tuple(_deeds(standing, life)),
        undone=tuple(_undone(undone_of(entries), life)),
        told=tuple(told_of(record, name)),
        water=_water(record, [one["id"] for one in probes if one["measures"] == "water"], start.time, until),
        air=_air(record, air, start.time, until),
        alarms=tuple(past.transition for past in record.transitions(start.time, until + AFTERWARDS, limit=_MOST_MOVES)),
        about=frozenset({name, vessel, *(one["id"] for one in probes)}),
        taught=_taught(record, life),
    )


def strain_of(bench: Mapping[str, Any], lot: str) -> str:
    """What kind a tin is, by its full name where the table of strains has it; "" when nobody told."""
    told = next((one.get("strain") or "" for one in bench.get("lots") or [] if one["id"] == lot), "")
    known = strains.find(told)
    return told if known is None else known.name


def told_of(record: Record, name: str, limit: int | None = None) -> list[ReadyTold]:
    return ready_told((one.time, one.document) for one in record.told(name, limit=limit))


def beside(record: Record, some: Sequence[Life], timezone: str) -> list[Beside]:
    """Batches of a list, each with what was told of it at its start."""
    found = []
    for life in some:
        told = tuple(told_of(record, life.id, _FIRST_TOLD))
        found.append(Beside(life, told_at_start(Known(life, timezone, told=told))))
    return found


def all_lives(record: Record) -> list[Life]:
    """Every batch that was not undone, in order of start."""
    return lives(without_undone(noted.entry for noted in record.entries()))


def _deeds(standing: Iterable[Deed], life: Life) -> list[Deed]:
    return [one for one in standing if _about(one, life) and isinstance(one, Settle | Work | Chill)]


def _about(entry: LogEntry, life: Life) -> bool:
    if isinstance(entry, Settle | Work):
        end = life.end.time if life.end is not None else None
        return entry.vessel == life.start.vessel and life.start.time <= entry.time and (end is None or entry.time < end)
    return getattr(entry, "batch", "") == life.id


def _undone(pairs: Iterable[tuple[Deed, Undo]], life: Life) -> list[tuple[Deed, Undo]]:
    """A start that was undone was no start of this one, even if it had its name."""
    return [(entry, undo) for entry, undo in pairs if _about(entry, life) and not isinstance(entry, Start)]


def _water(record: Record, probes: Sequence[str], since: Ms, until: Ms) -> tuple[Level, ...]:
    """By the probe that told most."""
    most: list[Level] = []
    for probe in probes:
        levels = [
            Level(point.time, point.low, point.mean, point.high)
            for point in record.trend(probe, since, until, POINTS).points
            if point.low is not None and point.mean is not None and point.high is not None
        ]
        most = levels if len(levels) > len(most) else most
    return tuple(most)


def _air(record: Record, probes: Sequence[str], since: Ms, until: Ms) -> tuple[AirLevel, ...] | None:
    if not probes:
        return None
    found = [record.trend(probe, since, until, POINTS).points for probe in probes]
    points = max(found, key=len)
    return tuple(AirLevel(point.time, point.count, point.stopped, point.weak) for point in points if point.count)


def _taught(record: Record, life: Life) -> Taught | None:
    key = f"lot/{life.start.lot}"
    document = record.kept(key).get(key) or {}
    found = [Taught(*one) for one in document.get("taught", [])]
    return next((one for one in reversed(found) if one.batch == life.id), None)
