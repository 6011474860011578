"""Instants, spans and times of day as a keeper says them, in the site's own time zone."""

from __future__ import annotations

from bisect import bisect_left
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from monitor.core.model import HOUR, MINUTE, SECOND, Ms, Span


@lru_cache(maxsize=8)
def zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def rfc3339(time: Ms) -> str:
    """RFC 3339 in UTC with Z, whole seconds."""
    return f"{datetime.fromtimestamp(time // 1000, UTC).isoformat()[:19]}Z"


def rfc3339_ms(time: Ms) -> str:
    """RFC 3339 in UTC with Z and milliseconds: what names an entry of the log must be exact."""
    return f"{rfc3339(time)[:-1]}.{time % 1000:03d}Z"


def time_of_day(there: datetime) -> str:
    """``06:40``; with the zone's letters in the hour that comes twice in autumn."""
    twin = there.replace(fold=1 - there.fold)
    twice = twin.utcoffset() != there.utcoffset() and _survives(there) and _survives(twin)
    return f"{there:%H:%M} {there.tzname()}" if twice else f"{there:%H:%M}"


def _survives(there: datetime) -> bool:
    return there.astimezone(UTC).astimezone(there.tzinfo).replace(tzinfo=None) == there.replace(tzinfo=None)


def clock(time: Ms, timezone: str, now: Ms) -> str:
    """Local time of day; with the weekday when that is not today."""
    there = datetime.fromtimestamp(time / 1000, zone(timezone))
    today = datetime.fromtimestamp(now / 1000, zone(timezone)).date()
    text = time_of_day(there)
    if there.date() == today:
        return text
    days = (there.date() - today).days
    return f"{there:%a} {text}" if abs(days) < 7 else f"{there:%d %b} {text}"


def day_of(time: Ms, timezone: str) -> str:
    """``Thu 26 Feb``, where the site is."""
    there = datetime.fromtimestamp(time / 1000, zone(timezone))
    return f"{there:%a} {there.day} {there:%b}"


def day_and_clock(time: Ms, timezone: str) -> str:
    """``Thu 26 Feb 21:10``: what can be read years later."""
    return f"{day_of(time, timezone)} {clock(time, timezone, time)}"


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


def length(span: Ms) -> str:
    """``12 s``, ``3 min``, ``2 h 10 min``, ``3 days``: minutes are told up to ten hours."""
    seconds = max(0, span) // SECOND
    if seconds < 60:
        return f"{seconds} s"
    minutes = seconds // 60
    if minutes < 60:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes:02d} min" if minutes and hours < 10 else f"{span // HOUR} h"
    return f"{hours // 24} days"


def about(instant: Ms, how: int = 0) -> Ms:
    """Rounded to five minutes: nearest (0), earlier (-1) or later (1). More would pretend to be exact."""
    step = 5 * MINUTE
    if how < 0:
        return instant // step * step
    if how > 0:
        return -(-instant // step) * step
    return (instant + step // 2) // step * step


def number(value: float, digits: int = 1) -> str:
    """Without a minus in front of nothing, and without needless decimals."""
    text = f"{value:.{digits}f}"
    if "." in text and digits > 1:
        text = text.rstrip("0").rstrip(".")
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "\N{MINUS SIGN}")


def whole(value: float) -> str:
    """``200 000``, its thousands apart."""
    return f"{value:,.0f}".replace(",", " ")  # a plain blank: a terminal is told nothing else


def how_often(count: int) -> str:
    """``never``, ``once``, ``twice``, ``3 times``."""
    return {0: "never", 1: "once", 2: "twice"}.get(count, f"{count} times")


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
