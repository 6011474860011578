"""Geometry of the picture of food: what is in hand at each feeding time, as a column, against the mark of what is needed. Pure.

Places across are per cent of the width, so that the drawing fits any width while its letters keep their size; heights are
pixels. The next days have a picture of their own, and so a scale of their own: what larvae need grows tenfold in a fortnight.
"""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.core.model import HOUR, SECOND, Ms
from monitor.web import words
from monitor.web.food_view_words import chance, is_short, listed, some
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from zoneinfo import ZoneInfo

NEAR_DAYS: Final = 3
"""Days in the first picture beside what is left of today: what a start now can still do something about."""
HEIGHT: Final = 120.0
_TOP: Final = 52.0
"""Px above the columns, for the days' names and the marks of short meals."""
_LEFT: Final = 1.0
_RIGHT: Final = 99.0
_WIDEST: Final = 5.0
_NIGHT: Final = (22, 7)
"""Local hours between which it is drawn darker: as ``Costs`` has the keeper's hours when nothing else is said."""
_CROWDED: Final = 4.0
"""More in hand than so many times the largest need is cut off, so that the marks of need can still be told apart."""
_ROOM_FOR_WORD: Final = 13.0
_ROOM_FOR_SIGN: Final = 5.0
_ROOM_FOR_DAY: Final = 12.5


@light
class Serving:
    """One feeding time: who needs how many, what is in hand before it, and how surely that is enough."""

    time: Ms
    meals: tuple[Mapping[str, Any], ...]
    need: float
    fresh: tuple[float, float, float]  # 10, 50, 90 of 100
    chilled: tuple[float, float, float]
    short: float  # the highest chance of a short meal among its eaters
    troubled: bool  # that is more than the keeper wants

    @property
    def mid(self) -> float:
        return self.fresh[1] + self.chilled[1]

    @property
    def low(self) -> float:
        return max(0.0, self.mid - math.hypot(self.fresh[1] - self.fresh[0], self.chilled[1] - self.chilled[0]))

    @property
    def high(self) -> float:
        """Of both together, as if each knew nothing of the other: ranges are not added, or they would be too wide."""
        return self.mid + math.hypot(self.fresh[2] - self.fresh[1], self.chilled[2] - self.chilled[1])

    @property
    def eaters(self) -> str:
        return listed([meal["eater"] for meal in self.meals])

    @property
    def short_for(self) -> str:
        return listed([meal["eater"] for meal in self.meals if meal["short"] >= self.short])


@light
class Column:
    x: float
    width: float
    chilled_y: float
    chilled_height: float
    fresh_y: float
    fresh_height: float
    cut: bool  # there is more than is drawn
    middle: float
    low_y: float
    high_y: float
    need_y: float
    mark_x: float
    mark_width: float
    short: bool
    sign: bool  # there is room for its triangle
    word: str  # "short", where there is room for it
    full: str


@light
class Level:
    y: float
    label: str


@light
class Stretch:
    x: float
    width: float


@light
class Day:
    x: float
    label: str


@light
class Deed:
    x: float
    kind: str  # "start" or "harvest"
    full: str


@light
class Picture:
    key: str
    title: str
    columns: tuple[Column, ...]
    levels: tuple[Level, ...]
    nights: tuple[Stretch, ...]
    days: tuple[Day, ...]
    deeds: tuple[Deed, ...]
    now_x: float | None
    description: str
    top: float = _TOP
    base: float = _TOP + HEIGHT
    whole: float = _TOP + HEIGHT + 24  # px, with the marks of starts and harvests under the columns


def servings(food: Mapping[str, Any], now: Ms) -> tuple[Serving, ...]:
    """The feeding times ahead at which anybody eats."""
    held = {rfc3339(item["time"]): item for item in food["in_hand"]}
    by_time: dict[Ms, list[Mapping[str, Any]]] = {}
    for meal in food["meals"]:
        time = rfc3339(meal["time"])
        if time >= now:
            by_time.setdefault(time, []).append(meal)
    found = []
    for time, meals in sorted(by_time.items()):
        item = held.get(time)
        found.append(
            Serving(
                time=time,
                meals=tuple(meals),
                need=sum(_number(meal["need"]["mid"]) for meal in meals),
                fresh=_ends(item["fresh"]) if item else (0.0, 0.0, 0.0),
                chilled=_ends(item["chilled"]) if item else (0.0, 0.0, 0.0),
                short=max(float(meal["short"]) for meal in meals),
                troubled=any(is_short(meal, food["chance"]) for meal in meals),
            )
        )
    return tuple(found)


def _number(value: float | None) -> float:
    return 0.0 if value is None else float(value)


def _ends(span: Mapping[str, float | None]) -> tuple[float, float, float]:
    return _number(span["lo"]), _number(span["mid"]), _number(span["hi"])


def midnights(begin: Ms, end: Ms, zone: ZoneInfo) -> list[Ms]:
    """After ``begin`` and before ``end``."""
    found: list[Ms] = []
    day = words.local(begin, zone).date()
    while True:
        day += timedelta(days=1)
        night = _at(day.year, day.month, day.day, 0, zone)
        if night >= end:
            return found
        found.append(night)


def _at(year: int, month: int, day: int, hour: int, zone: ZoneInfo) -> Ms:
    return round(datetime(year, month, day, hour, tzinfo=zone).timestamp()) * SECOND


def pictures(
    served: Sequence[Serving], starts: Sequence[Mapping[str, Any]], now: Ms, zone: ZoneInfo
) -> tuple[Picture, ...]:
    """The next days, and those after them; fewer where nobody eats."""
    if not served:
        return ()
    after = midnights(now, now + (NEAR_DAYS + 3) * 24 * HOUR, zone)[NEAR_DAYS]
    end = max(served[-1].time + 3 * HOUR, after)
    found = []
    for key, title, begin, until in (("near", "The next days", now, after), ("far", "Later", after, end)):
        there = [one for one in served if begin <= one.time < until]
        if there:
            found.append(_picture(key, title, there, starts, (begin, until), now, zone))
    return tuple(found)


def _picture(
    key: str,
    title: str,
    served: Sequence[Serving],
    starts: Sequence[Mapping[str, Any]],
    window: tuple[Ms, Ms],
    now: Ms,
    zone: ZoneInfo,
) -> Picture:
    begin, until = window

    def place(instant: Ms) -> float:
        share = min(1.0, max(0.0, (instant - begin) / (until - begin)))
        return round(_LEFT + share * (_RIGHT - _LEFT), 2)

    largest = max(one.need for one in served) or 1.0
    scale = min(max(largest * 1.25, *(one.high for one in served), 1.0), largest * _CROWDED)
    gaps = [later.time - one.time for one, later in pairwise(served)]
    pitch = (_RIGHT - _LEFT) * min(gaps, default=12 * HOUR) / (until - begin)
    width = round(min(_WIDEST, pitch * 0.62), 2)
    return Picture(
        key=key,
        title=title,
        columns=_columns(served, place, scale, width, now, zone),
        levels=tuple(Level(_y(level, scale), some(level)) for level in _levels(scale)),
        nights=_nights(begin, until, place, zone),
        days=_days(begin, until, place, zone),
        deeds=_deeds(starts, window, place, now, zone),
        now_x=place(now) if begin <= now < until else None,
        description=_described(served, scale, now, zone),
    )


def _y(amount: float, scale: float) -> float:
    return round(_TOP + HEIGHT * (1 - min(1.0, amount / scale)), 1)


def _columns(
    served: Sequence[Serving], place: Callable[[Ms], float], scale: float, width: float, now: Ms, zone: ZoneInfo
) -> tuple[Column, ...]:
    base, found, free, signs = _TOP + HEIGHT, [], 0.0, 0.0
    for one in served:
        middle = place(one.time)
        chilled_y, fresh_y = _y(one.chilled[1], scale), _y(one.mid, scale)
        left = min(max(middle, _ROOM_FOR_WORD / 2), 100 - _ROOM_FOR_WORD / 2) - _ROOM_FOR_WORD / 2
        word = one.troubled and left >= free
        sign = one.troubled and middle >= signs
        if sign:
            signs = middle + _ROOM_FOR_SIGN
        if word:
            free = left + _ROOM_FOR_WORD
        found.append(
            Column(
                x=round(middle - width / 2, 2),
                width=width,
                chilled_y=chilled_y,
                chilled_height=round(base - chilled_y, 1),
                fresh_y=fresh_y,
                fresh_height=round(chilled_y - fresh_y, 1),
                cut=one.mid > scale,
                middle=middle,
                low_y=_y(one.low, scale),
                high_y=_y(one.high, scale),
                need_y=_y(one.need, scale),
                mark_x=round(middle - width * 0.75, 2),
                mark_width=round(width * 1.5, 2),
                short=one.troubled,
                sign=sign,
                word="short" if word else "",
                full=told(one, now, zone),
            )
        )
    return tuple(found)


def told(one: Serving, now: Ms, zone: ZoneInfo) -> str:
    """All of one column in words."""
    text = f"{words.moment(one.time, now, zone)}: {some(one.need)} needed, {some(one.mid)} in hand"
    return f"{text}, may be short ({chance(one.short)})" if one.troubled else text


def _levels(scale: float) -> list[float]:
    """Two or three round numbers up the side."""
    power = 10.0 ** math.floor(math.log10(scale))
    step = next(step * power for step in (0.2, 0.5, 1.0, 2.0, 5.0) if scale / (step * power) < 4)
    return [step * n for n in range(1, 4) if step * n < scale * 0.97]


def _nights(begin: Ms, until: Ms, place: Callable[[Ms], float], zone: ZoneInfo) -> tuple[Stretch, ...]:
    dusk, dawn = _NIGHT
    found: list[Stretch] = []
    day = words.local(begin, zone).date() - timedelta(days=1)
    while True:
        morning = day + timedelta(days=1)
        falls = _at(day.year, day.month, day.day, dusk, zone)
        ends = _at(morning.year, morning.month, morning.day, dawn, zone)
        if falls >= until:
            return tuple(found)
        if ends > begin:
            x = place(max(falls, begin))
            found.append(Stretch(x, round(place(min(ends, until)) - x, 2)))
        day = morning


def _days(begin: Ms, until: Ms, place: Callable[[Ms], float], zone: ZoneInfo) -> tuple[Day, ...]:
    found, free = [], 13.0 if not _is_midnight(begin, zone) else 0.0
    starts = [begin] if _is_midnight(begin, zone) else []
    for night in [*starts, *midnights(begin, until, zone)]:
        x = place(night)
        fits = free <= x <= 100 - _ROOM_FOR_DAY
        if fits:
            free = x + _ROOM_FOR_DAY
        found.append(Day(x, f"{words.local(night, zone):%a}" if fits else ""))
    return tuple(found)


def _is_midnight(instant: Ms, zone: ZoneInfo) -> bool:
    there = words.local(instant, zone)
    return (there.hour, there.minute) == (0, 0)


def _deeds(
    starts: Sequence[Mapping[str, Any]], window: tuple[Ms, Ms], place: Callable[[Ms], float], now: Ms, zone: ZoneInfo
) -> tuple[Deed, ...]:
    begin, until = window
    found = []
    for start in starts:
        sows = max(rfc3339(start["start"]), now)
        if begin <= sows < until:
            found.append(Deed(place(sows), "start", f"Start {start['vessel']} {words.moment(sows, now, zone)}"))
        mid = start["harvest"]["mid"]
        if mid is not None and begin <= rfc3339(mid) < until:
            reaped = words.about(rfc3339(mid))
            full = f"Harvest {start['vessel']} about {words.moment(reaped, now, zone)}"
            found.append(Deed(place(reaped), "harvest", full))
    return tuple(sorted(found, key=lambda one: one.x))


def _described(served: Sequence[Serving], scale: float, now: Ms, zone: ZoneInfo) -> str:
    troubled = [one for one in served if one.troubled]
    first, last = words.moment(served[0].time, now, zone), words.moment(served[-1].time, now, zone)
    meals = f"{len(served)} feeding times from {first} to {last}. "
    if troubled:
        times = ", ".join(f"{words.moment(one.time, now, zone)} ({chance(one.short)})" for one in troubled)
        meals += f"May be short: {times}."
    else:
        meals += "There is enough for each of them."
    more = [one for one in served if one.mid > scale]
    cut = f" Columns end at {some(scale)}, though there is more." if more else ""
    return f"{meals}{cut} The numbers stand in the table below."
