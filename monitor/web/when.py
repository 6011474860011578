"""Instants as a keeper says them and as programs say them. Pure: "now" and the time zone are given."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Ms
from monitor.settings.units import dotted

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

_RFC3339: Final = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d):(\d\d)(?:\.(\d{1,9}))?(?:([Zz])|([+-])(\d\d):(\d\d))?"
)
_CLOCK: Final = re.compile(r"(?:(today|yesterday)\s+)?([01]?\d|2[0-3]):([0-5]\d)", re.IGNORECASE)
_PAST: Final = re.compile(r"(\d+(?:\.\d+)?)\s*(s|sec|seconds?|min|minutes?|h|hours?|d|days?)\s+ago", re.IGNORECASE)
_SIZE: Final = {"s": SECOND, "m": MINUTE, "h": HOUR, "d": DAY}
FORMS: Final = '"06:40", "yesterday 23:10", "20 min ago", "2 h ago" or "2026-03-02T06:40:00+01:00"'
SKEW: Final[Ms] = MINUTE
"""How far ahead of the service a keeper's own clock may be."""


class NotAnInstant(ValueError):  # noqa: N818  (it is an answer to a person)
    """A text that names no instant, or one that can't be meant; the message says what is allowed."""


def rfc3339(text: str) -> Ms:
    """An instant with its zone, as RFC 3339 writes it. Raises NotAnInstant."""
    match = _RFC3339.fullmatch(text.strip())
    if match is None:
        raise NotAnInstant(f'"{text[:40]}" is not a time; write it like "2026-03-02T06:40:00+01:00" or with "Z".')
    if not match[8] and not match[9]:
        raise NotAnInstant(f'"{text[:40]}" has no zone, so it could be any hour; end it with "Z" or "+01:00".')
    try:
        year, month, day, hour, minute, second = (int(match[part]) for part in range(1, 7))
        naive = datetime(year, month, day, hour, minute, second, tzinfo=UTC)
        ahead = timedelta(hours=int(match[10] or 0), minutes=int(match[11] or 0))
        instant = naive - (-ahead if match[9] == "-" else ahead)
    except (ValueError, OverflowError):
        raise NotAnInstant(f'"{text[:40]}" is no day or hour that exists.') from None
    return round(instant.timestamp()) * SECOND + int((match[7] or "0")[:3].ljust(3, "0"))


def as_rfc3339(instant: Ms) -> str:
    """``2026-03-02T05:10:00Z``; milliseconds only where there are any."""
    whole, rest = divmod(instant, SECOND)
    text = datetime.fromtimestamp(whole, UTC).replace(tzinfo=None).isoformat()
    return f"{text}.{rest:03d}Z" if rest else f"{text}Z"


def parse_when(text: str, now: Ms, zone: ZoneInfo) -> Ms:
    """What a keeper typed as the time of something that has happened. Raises NotAnInstant.

    A bare clock time is the latest such time that is not ahead. An hour that came twice (autumn) is taken the second
    time if that has passed; one that never came (spring) is refused.
    """
    said = text.strip()
    if not said or said.lower() == "now":
        return now
    if match := _PAST.fullmatch(dotted(said)):
        return now - round(float(match[1]) * _SIZE[match[2][0].lower()])
    if match := _CLOCK.fullmatch(said):
        return _clock_time(said, match, now, zone)
    if said[:4].isdigit():
        return checked(rfc3339(said), now)
    raise NotAnInstant(f'"{said[:40]}" is not a time; allowed are {FORMS}.')


def checked(instant: Ms, now: Ms) -> Ms:
    """The same instant, if it can be the time of something that has happened. Raises NotAnInstant."""
    if instant > now + SKEW:
        raise NotAnInstant(f"{as_rfc3339(instant)} is in the future; it is {as_rfc3339(now)}.")
    if instant < now - 60 * DAY:
        raise NotAnInstant(f"{as_rfc3339(instant)} is over 60 days ago; no batch lasts that long.")
    return instant


def _clock_time(said: str, match: re.Match[str], now: Ms, zone: ZoneInfo) -> Ms:
    today = datetime.fromtimestamp(now / SECOND, zone)
    day_word = (match[1] or "").lower()
    back = 1 if day_word == "yesterday" else 0
    for days in (back,) if day_word else (0, 1):
        day = (today - timedelta(days=days)).date()
        there = [
            round(local.timestamp()) * SECOND
            for fold in (1, 0)
            if _exists(
                local := datetime(day.year, day.month, day.day, int(match[2]), int(match[3]), tzinfo=zone, fold=fold)
            )
        ]
        if not there:
            raise NotAnInstant(f'"{said}" did not exist on {day:%d %B}: the clocks went forward over it.')
        passed = [instant for instant in there if instant <= now + SKEW]
        if passed:
            return min(max(passed), now)
    raise NotAnInstant(f'"{said}" is in the future; it is {today:%H:%M}.')


def _exists(local: datetime) -> bool:
    return local.astimezone(UTC).astimezone(local.tzinfo).replace(tzinfo=None) == local.replace(tzinfo=None)
