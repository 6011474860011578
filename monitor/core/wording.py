"""Instants, spans and times of day as a keeper says them, in the site's own time zone."""

from __future__ import annotations

from bisect import bisect_left
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from monitor.core.model import HOUR, MINUTE, Ms, Span


@lru_cache(maxsize=8)
def zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def rfc3339(time: Ms) -> str:
    """RFC 3339 in UTC with Z, whole seconds."""
    return datetime.fromtimestamp(time // 1000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def rfc3339_ms(time: Ms) -> str:
    """RFC 3339 in UTC with Z and milliseconds: what names an entry of the log must be exact."""
    return f"{rfc3339(time)[:-1]}.{time % 1000:03d}Z"


def clock(time: Ms, timezone: str, now: Ms) -> str:
    """Local time of day; with the weekday when that is not today."""
    there = datetime.fromtimestamp(time / 1000, zone(timezone))
    today = datetime.fromtimestamp(now / 1000, zone(timezone)).date()
    text = there.strftime("%H:%M")
    if there.date() == today:
        return text
    days = (there.date() - today).days
    return f"{there.strftime('%a')} {text}" if abs(days) < 7 else there.strftime("%d %b %H:%M")


def local_date(time: Ms, timezone: str) -> str:
    """ISO date of an instant where the site is."""
    return datetime.fromtimestamp(time / 1000, zone(timezone)).date().isoformat()


def clock_range(span: Span, timezone: str, now: Ms) -> str:
    """``06:40 (05:10-09:30)``; says when an end is open."""
    if span.mid is None:
        return "not in sight"
    low = "?" if span.lo is None else clock(int(span.lo), timezone, now)
    high = "not in sight" if span.hi is None else clock(int(span.hi), timezone, now)
    return f"{clock(int(span.mid), timezone, now)} ({low} to {high})"


def duration(length: Ms) -> str:
    """``6 min``, ``3 h``, ``2 days``: one unit, rounded down below an hour and to the nearest half above."""
    if length < 2 * MINUTE:
        return f"{max(length, 0) // 1000} s"
    if length < 2 * HOUR:
        return f"{length // MINUTE} min"
    if length < 48 * HOUR:
        halves = round(length / HOUR * 2) / 2
        return f"{halves:g} h"
    return f"{round(length / HOUR / 24)} days"


def minutes_range(left: Span) -> str:
    """``6-20 min``, ``1.5-4 h``, ``more than 12 h``: how long there is."""
    if left.lo is None:
        return "a day or more"
    if left.lo >= 720:
        return "more than 12 h"
    if left.hi is None or left.hi >= 1440:
        return f"at least {duration(int(left.lo) * MINUTE)}"
    if left.hi < 120:
        return f"{int(left.lo)}-{int(left.hi)} min"
    return f"{duration(int(left.lo) * MINUTE)} to {duration(int(left.hi) * MINUTE)}"


def meals(timezone: str, times: tuple[int, ...], begin: Ms, end: Ms) -> list[Ms]:
    """Feeding instants in ``[begin, end)``. A time of day that a clock change skips is fed when the old clock would show it.

    One that comes twice is fed the first time; two that the change makes one instant are one meal.
    """
    found: set[Ms] = set()
    there = zone(timezone)
    day = datetime.fromtimestamp(begin / 1000, there).date() - timedelta(days=1)
    last = datetime.fromtimestamp(end / 1000, there).date()
    while day <= last:
        for minute in times:
            local = datetime(day.year, day.month, day.day, minute // 60, minute % 60, tzinfo=there)
            instant = int(local.timestamp() * 1000)
            if begin <= instant < end:
                found.add(instant)
        day += timedelta(days=1)
    return sorted(found)


def next_meal(feeds: list[Ms], time: Ms) -> Ms | None:
    """The first feeding at or after ``time`` in a sorted list."""
    k = bisect_left(feeds, time)
    return feeds[k] if k < len(feeds) else None
