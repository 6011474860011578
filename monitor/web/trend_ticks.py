"""Where an axis has its ticks, and what they say. Instants are told in the site's zone, across its clock changes. Pure."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Final

from monitor.core.model import DAY, MINUTE, SECOND, Ms
from monitor.web import words

if TYPE_CHECKING:
    from collections.abc import Iterator
    from zoneinfo import ZoneInfo

Tick = tuple[float, str]
_MINUTES: Final = (1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720)
_DAYS: Final = (1, 2, 7, 14)
_MONTHS: Final = (1, 2, 3, 6)
_YEARS: Final = (1, 2, 5, 10, 20)
_MONTH_LENGTH: Final = 30.4 * DAY


def time_ticks(since: Ms, until: Ms, zone: ZoneInfo, most: int = 6) -> list[Tick]:
    """At most ``most`` + 1 instants of the span with their labels, on whole local minutes, days, months or years."""
    span = until - since
    for minutes in _MINUTES:
        if span / (minutes * MINUTE) <= most:
            return _within(_clock_times(since, until, zone, minutes), since, until)
    first, last = words.local(since, zone).date(), words.local(until, zone).date()
    for days in _DAYS:
        if span / (days * DAY) <= most:
            return _within(
                ((_begin(day, zone), f"{day.day} {day:%b}") for day in _days(first, last, days)), since, until
            )
    for months in _MONTHS:
        if span / (months * _MONTH_LENGTH) <= most:
            return _within(((_begin(day, zone), f"{day:%b %Y}") for day in _months(first, last, months)), since, until)
    step = next((years for years in _YEARS if span / (years * 365 * DAY) <= most), _YEARS[-1])
    return _within(((_begin(day, zone), f"{day:%Y}") for day in _months(first, last, 12 * step)), since, until)


def _within(found: Iterator[tuple[Ms, str]], since: Ms, until: Ms) -> list[Tick]:
    return [(instant, label) for instant, label in found if since <= instant <= until]


def _begin(day: date, zone: ZoneInfo) -> Ms:
    return round(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp()) * SECOND


def _clock_times(since: Ms, until: Ms, zone: ZoneInfo, minutes: int) -> Iterator[tuple[Ms, str]]:
    day, last = words.local(since, zone).date(), words.local(until, zone).date()
    while day <= last:
        for minute in range(0, 24 * 60, minutes):
            there = datetime(day.year, day.month, day.day, minute // 60, minute % 60, tzinfo=zone)
            if there.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == there.replace(tzinfo=None):
                label = f"{day:%a} {day.day}" if minute == 0 else f"{there:%H:%M}"
                yield round(there.timestamp()) * SECOND, label
        day += timedelta(days=1)


def _days(first: date, last: date, step: int) -> Iterator[date]:
    day = date.fromordinal(first.toordinal() // step * step)
    while day <= last:
        yield day
        day += timedelta(days=step)


def _months(first: date, last: date, step: int) -> Iterator[date]:
    count = (first.year * 12 + first.month - 1) // step * step
    while (day := date(count // 12, count % 12 + 1, 1)) <= last:
        yield day
        count += step


def hour_ticks(first: float, last: float, most: int = 7) -> list[Tick]:
    """Hours since a begin: ``0 h``, ``6 h``."""
    step = next((hours for hours in (1, 2, 3, 6, 12, 24, 48) if (last - first) / hours <= most), 96)
    return [(float(hour), f"{hour} h") for hour in range(math.ceil(first / step) * step, math.floor(last) + 1, step)]


def number_ticks(low: float, high: float, most: int = 5) -> list[Tick]:
    """Round numbers within a range."""
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough)
    digits = max(0, -math.floor(math.log10(step)))
    count = math.ceil(low / step - 1e-9)
    found = []
    while count * step <= high + 1e-9:
        found.append((count * step, words.number(count * step, digits)))
        count += 1
    return found


def number_range(low: float, high: float, least: float) -> tuple[float, float]:
    """A little more than low to high, and not narrower than ``least``, so that noise does not fill a chart."""
    room = max((least - (high - low)) / 2, (high - low) * 0.06)
    return low - room, high + room
