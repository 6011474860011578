"""Reads out of the record what a view of it needs. It blocks, so it wants a thread of its own. Raises StoreError and Trouble."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.core.light import light
from monitor.core.lives import Life, alive, lives
from monitor.core.model import DAY, HOUR, MINUTE, Ms
from monitor.core.undo import without_undone
from monitor.core.wording import meals
from monitor.web import words
from monitor.web.problems import Trouble
from monitor.web.trend_asked import USUAL, Asked, read_asked
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from monitor.core.log import Deed, LogEntry
    from monitor.core.model import Transition
    from monitor.store.record import Record, Trend

MOST_BATCHES: Final = 12
"""Batches of which a view shows how they hatched; in more nobody can tell one from another."""
ALARMS_WITHIN: Final[Ms] = 93 * DAY
"""The longest span in which alarms are marked."""
MEALS_WITHIN: Final[Ms] = 10 * DAY
MOST_ALARMS: Final = 2000
_EITHER_SIDE: Final[Ms] = HOUR
_LOOK_AHEAD: Final[Ms] = 24 * HOUR
_COMPARED_POINTS: Final = 400


@light
class Shown:
    """A probe of the bench with its trend."""

    id: str
    measures: str
    vessel: str
    unit: str  # "" for air
    trend: Trend


@light
class Told:
    """All that was told of a batch: the documents of its estimates, in order of time."""

    life: Life
    documents: tuple[tuple[Ms, dict[str, Any]], ...]
    water: tuple[Trend, ...] = ()  # of its vessel while it lived; only of batches held against each other


@light
class Gathered:
    asked: Asked
    now: Ms
    timezone: str
    bench: Mapping[str, Any]
    probes: tuple[Shown, ...]
    lives: tuple[Life, ...]  # every batch on record
    here: tuple[Told, ...]  # those of the span
    crowded: int  # how many batches the span has when they are too many, otherwise 0
    batch: Told | None
    against: Told | None
    entries: tuple[LogEntry, ...]
    alarms: tuple[Transition, ...] | None  # None where the span is too long
    meals: tuple[Ms, ...] | None

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.timezone)


def gather(record: Record, bench: Mapping[str, Any], given: Mapping[str, str], points: int) -> Gathered:
    """What ``given``, the query of a link, asks for. Raises Trouble for what there is not."""
    now: Ms = bench["now_ms"]
    entries = standing(record)
    known = lives(entries)
    asked = read_asked(given, now, _usual(given.get("batch", "").strip(), known, bench, now))
    batch, against = (_find(name, known) if name else None for name in (asked.batch, asked.against))
    ends = min(asked.until, now + MINUTE)
    here = alive(known, asked.since, asked.until, now)
    crowded = len(here) if len(here) > MOST_BATCHES else 0
    return Gathered(
        asked=asked,
        now=now,
        timezone=bench["timezone"],
        bench=bench,
        probes=tuple(
            Shown(
                one["id"],
                one["measures"],
                one.get("vessel") or "",
                one.get("unit") or "",
                record.trend(one["id"], asked.since, max(ends, asked.since + 1), points),
            )
            for one in bench.get("probes", [])
            if one["measures"] in asked.show
        ),
        lives=tuple(known),
        here=() if crowded else tuple(Told(life, _documents(record, life)) for life in here),
        crowded=crowded,
        batch=None if batch is None else _told(record, batch, bench, now),
        against=None if against is None else _told(record, against, bench, now),
        entries=tuple(entry for entry in entries if asked.since <= entry.time < asked.until),
        alarms=_alarms(record, asked),
        meals=_meals(bench, asked),
    )


def standing(record: Record) -> list[Deed]:
    """The keeper's log without what was undone."""
    return without_undone(noted.entry for noted in record.entries())


def _usual(name: str, known: Sequence[Life], bench: Mapping[str, Any], now: Ms) -> tuple[Ms, Ms]:
    """The span that is shown when none is named: the batch's life, or the last day with what is forecast."""
    life = next((life for life in known if life.id == name), None)
    if life is not None:
        return life.start.time - _EITHER_SIDE, max(life.until(now), _ahead(bench, life.id, now)) + _EITHER_SIDE
    return now - USUAL, max(now, _ahead(bench, "", now)) + (_EITHER_SIDE if _ahead(bench, "", now) > now else 0)


def _ahead(bench: Mapping[str, Any], name: str, now: Ms) -> Ms:
    """Until when a forecast of the bench reaches, at most a day; of one batch, or of all with an empty ``name``."""
    ends = [
        rfc3339(text)
        for vessel in bench["vessels"]
        if (batch := vessel.get("batch")) and name in ("", batch["id"])
        if (text := batch["ready"]["hi"] or batch["ready"]["mid"])
    ]
    return min(max([now, *ends]), now + _LOOK_AHEAD)


def _find(name: str, known: Sequence[Life]) -> Life:
    found = next((life for life in known if life.id == name), None)
    if found is None:
        newest = ", ".join(life.id for life in reversed(known[-5:]))
        told = f"The newest are {newest}." if newest else "No batch has been started yet."
        raise Trouble(404, f'There is no batch "{name[:60]}" on record. {told}')
    return found


def _documents(record: Record, life: Life) -> tuple[tuple[Ms, dict[str, Any]], ...]:
    return tuple((one.time, one.document) for one in record.told(life.id))


def _told(record: Record, life: Life, bench: Mapping[str, Any], now: Ms) -> Told:
    probes = [
        one["id"]
        for one in bench.get("probes", [])
        if one["measures"] == "water" and one.get("vessel") == life.start.vessel
    ]
    until = max(life.until(now), life.start.time + MINUTE)
    water = tuple(record.trend(name, life.start.time, until, _COMPARED_POINTS) for name in probes)
    return Told(life, _documents(record, life), water)


def _alarms(record: Record, asked: Asked) -> tuple[Transition, ...] | None:
    if asked.span > ALARMS_WITHIN:
        return None
    return tuple(past.transition for past in record.transitions(asked.since, asked.until, limit=MOST_ALARMS))


def _meals(bench: Mapping[str, Any], asked: Asked) -> tuple[Ms, ...] | None:
    """Feeding times are told by the bench for the days around now; here they are those times of day on every day."""
    if asked.span > MEALS_WITHIN:
        return None
    zone = ZoneInfo(bench["timezone"])
    there = [words.local(rfc3339(text), zone) for text in bench.get("meals", [])]
    times = tuple(sorted({one.hour * 60 + one.minute for one in there}))
    return tuple(meals(bench["timezone"], times, asked.since, asked.until)) if times else ()
