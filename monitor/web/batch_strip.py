"""The picture of a batch's life: when it was to be ready, as told at the start, over when it was. Pure.

Places are per cent of the width, so that the drawing fits any width while its letters keep their size.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.log import Discard, Harvest
from monitor.core.model import HOUR, SECOND, Ms
from monitor.web import words

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from monitor.core.lives import Life, ReadyTold

_LEFT: Final = 2.0
_RIGHT: Final = 98.0
_ROOM_FOR_DAY: Final = 16.0
_LEAST: Final = 1.2
"""Per cent: what is narrower could not be seen."""
_LONGEST: Final[Ms] = 14 * 24 * HOUR


@light
class Range:
    x: float
    width: float
    mid: float | None


@light
class Spot:
    x: float
    shape: str  # "start", "first", "harvest", "discard", "lapse", "now"
    text: str


@light
class Night:
    x: float
    label: str  # "" where there is no room


@light
class Strip:
    told: Range | None  # as told at the start
    below: Range | None  # what came, or what was told last while it is open
    below_name: str
    spots: tuple[Spot, ...]
    nights: tuple[Night, ...]
    description: str


def make_strip(life: Life, first: ReadyTold | None, last: ReadyTold | None, now: Ms, zone: ZoneInfo) -> Strip:
    """``last`` is what was told last; it is drawn while nobody has seen most of them swim and the batch is open."""
    after, by = life.came()
    open_still = life.end is None
    ends = [instant for one in (first, last if open_still else None) if one for instant in (one.mid, one.hi) if instant]
    end = now if life.end is None else life.end.time
    begin = life.start.time
    reach = min(max([end, begin + HOUR, *([by] if by else []), *ends]), max(end, begin + _LONGEST))

    def place(instant: Ms) -> float:
        share = min(1.0, max(0.0, (instant - begin) / (reach - begin)))
        return round(_LEFT + share * (_RIGHT - _LEFT), 1)

    def over(low: Ms | None, mid: Ms | None, high: Ms | None) -> Range | None:
        if low is None or mid is None:
            return None
        x = place(low)
        return Range(x, round(max(_LEAST, (100.0 if high is None else place(high)) - x), 1), place(mid))

    told = None if first is None else over(first.lo, first.mid, first.hi)
    if by is not None:
        x = place(by if after is None else after)
        below: Range | None = Range(x, round(max(_LEAST, place(by) - x), 1), None)
        name = "It was ready"
    else:
        below = over(last.lo, last.mid, last.hi) if open_still and last is not None else None
        name = "Ready, as told last" if below is not None else ""
    spots = _spots(life, now, place, zone)
    return Strip(
        told,
        below,
        name,
        spots,
        _nights(begin, reach, place, zone),
        _described(life, first, last if below is not None and by is None else None, spots, zone),
    )


def _spots(life: Life, now: Ms, place: object, zone: ZoneInfo) -> tuple[Spot, ...]:
    assert callable(place)  # noqa: S101
    begin = life.start.time

    def spot(instant: Ms, shape: str, text: str) -> Spot:
        return Spot(place(instant), shape, f"{text} {words.moment(instant, begin, zone).removeprefix('today ')}")

    found = [Spot(place(begin), "start", f"Started {words.clock(begin, zone)}")]
    seen = life.first_seen()
    if seen is not None:
        found.append(spot(seen, "first", "First seen swimming"))
    match life.end:
        case None:
            found.append(spot(now, "now", "Now"))
        case Harvest(time=time):
            found.append(spot(time, "harvest", "Harvested"))
        case Discard(time=time):
            found.append(spot(time, "discard", "Thrown away"))
        case end:
            found.append(spot(end.time, "lapse", "Closed by the monitor"))
    return tuple(found)


def _nights(begin: Ms, end: Ms, place: object, zone: ZoneInfo) -> tuple[Night, ...]:
    assert callable(place)  # noqa: S101
    found: list[Night] = []
    day = words.local(begin, zone).date()
    free = _ROOM_FOR_DAY
    while True:
        day += timedelta(days=1)
        instant = round(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp()) * SECOND
        if instant >= end:
            return tuple(found)
        x = place(instant)
        fits = free <= x <= 100 - _ROOM_FOR_DAY
        if fits:
            free = x + _ROOM_FOR_DAY
        found.append(Night(x, f"{day:%a} {day.day}" if fits else ""))


def _described(
    life: Life, first: ReadyTold | None, last: ReadyTold | None, spots: tuple[Spot, ...], zone: ZoneInfo
) -> str:
    begin = life.start.time
    after, by = life.came()
    parts = [f"{spot.text}." for spot in spots]
    for name, one in (("Told first", first), ("Told last", last)):
        if one is not None and one.mid is not None:
            low, high = (None if end is None else words.about(end, way) for end, way in ((one.lo, -1), (one.hi, 1)))
            parts.append(f"{name}: ready {words.between(low, high, begin, zone)}.")
    if by is not None:
        parts.append(
            f"It was ready {words.between(after, by, begin, zone) if after else words.moment(by, begin, zone)}."
        )
    return " ".join(parts).replace("today ", "")
