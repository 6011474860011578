"""Geometry of the time band: from now to ``ready`` with its range, and the feeding times on it. Pure.

Places are per cent of the width, so that the drawing fits any width while its letters keep their size.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.model import HOUR, MINUTE, SECOND, Ms
from monitor.web import words

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

_LEFT: Final = 1.5
_RIGHT: Final = 98.5
_ROOM_FOR_CLOCK: Final = 17.0  # per cent: "06:40" in 13 px letters on the narrowest phone
_ROOM_FOR_DAY: Final = 13.0
_ROOM_FOR_NOW: Final = 12.0
_LENGTHS: Final = (6, 9, 12, 18, 24, 36, 48, 72, 96)


@light
class Mark:
    x: float
    label: str  # "" where there is no room for letters
    full: str
    anchor: str = "middle"


@light
class Band:
    x: float
    width: float
    open_left: bool  # the range began before now
    open_right: bool  # the range does not end within sight
    mid: Mark | None
    meals: tuple[Mark, ...]
    days: tuple[Mark, ...]
    hours: int
    description: str


def _anchor(x: float) -> str:
    if x < 12:
        return "start"
    return "end" if x > 88 else "middle"


def _midnights(now: Ms, end: Ms, zone: ZoneInfo) -> list[Ms]:
    found: list[Ms] = []
    day = words.local(now, zone).date()
    while True:
        day += timedelta(days=1)
        instant = round(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp()) * SECOND
        if instant >= end:
            return found
        found.append(instant)


def make_band(
    low: Ms | None, mid: Ms | None, high: Ms | None, meals: Sequence[Ms], now: Ms, zone: ZoneInfo
) -> Band | None:
    """The band for a range of instants; None when nothing of it lies ahead or nothing is known.

    ``low`` and ``high`` None: that end is not known.
    """
    known = [instant for instant in (low, mid, high) if instant is not None]
    if not known or (high is not None and high <= now):
        return None
    start = now // MINUTE * MINUTE
    furthest = max(known) if high is not None else max(known) + 6 * HOUR
    hours = next((hours for hours in _LENGTHS if hours * HOUR >= (furthest - start) * 1.08), _LENGTHS[-1])
    end = start + hours * HOUR

    def place(instant: Ms) -> float:
        share = min(1.0, max(0.0, (instant - start) / (end - start)))
        return round(_LEFT + share * (_RIGHT - _LEFT), 1)

    from_x = place(low) if low is not None else _LEFT
    to_x = place(high) if high is not None else 100.0
    ahead = [meal for meal in meals if start <= meal < end]
    mid_mark = None
    if mid is not None and start <= mid <= end:
        x, text = place(mid), words.moment(words.about(mid), now, zone)
        mid_mark = Mark(x, words.clock(words.about(mid), zone), text, _anchor(x))
    return Band(
        x=from_x,
        width=round(max(1.2, to_x - from_x), 1),
        open_left=low is None or low < start,
        open_right=high is None or high > end,
        mid=mid_mark,
        meals=_with_room([(place(meal), words.clock(meal, zone), words.moment(meal, now, zone)) for meal in ahead]),
        days=_days([(place(night), night) for night in _midnights(now, end, zone)], zone),
        hours=hours,
        description=_describe(low, mid, high, ahead, now, zone),
    )


def _with_room(places: list[tuple[float, str, str]]) -> tuple[Mark, ...]:
    marks, free_from = [], 0.0
    for x, label, full in places:
        anchor = _anchor(x)
        left = {"start": x, "middle": x - _ROOM_FOR_CLOCK / 2, "end": x - _ROOM_FOR_CLOCK}[anchor]
        fits = left >= free_from
        if fits:
            free_from = left + _ROOM_FOR_CLOCK
        marks.append(Mark(x, label if fits else "", full, anchor))
    return tuple(marks)


def _days(places: list[tuple[float, Ms]], zone: ZoneInfo) -> tuple[Mark, ...]:
    marks = []
    for x, night in places:
        name = f"{words.local(night, zone):%a}"
        fits = _ROOM_FOR_NOW <= x <= 100 - _ROOM_FOR_DAY
        marks.append(Mark(x, name if fits else "", f"{name} begins", "start"))
    return tuple(marks)


def _describe(low: Ms | None, mid: Ms | None, high: Ms | None, meals: list[Ms], now: Ms, zone: ZoneInfo) -> str:
    early = words.about(low, -1) if low is not None else None
    late = words.about(high, 1) if high is not None else None
    ready = f"Ready {words.between(early, late, now, zone)}"
    if mid is not None:
        ready += f", most likely about {words.moment(words.about(mid), now, zone)}"
    if not meals:
        return f"{ready}. No feeding time in this span."
    times = ", ".join(words.moment(meal, now, zone) for meal in meals)
    return f"{ready}. Feeding times: {times}."
