"""What a keeper types about tins and amounts, read into the internal units, and how it is written into a form again.

What is shown reads back as the same; so a field that was not touched changes nothing.
"""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.model import SECOND
from monitor.settings.errors import Unfit
from monitor.settings.units import Kind, convert, dotted, plain, read, split
from monitor.web import words
from monitor.web.given import count
from monitor.web.when import SKEW, NotAnInstant, parse_when, rfc3339

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from monitor.core.model import Ms

_DAY: Final = re.compile(r"(\d{4})-(\d\d)-(\d\d)(?:[ T](\d\d):(\d\d))?")
_MONEY: Final = re.compile(r"[^\d-]{0,5}?(\d+(?:\.\d+)?)\s*[^\d-]{0,5}")
_MICRO: Final = re.compile(r"(?:um|µm|μm|microns?)?", re.IGNORECASE)
DAY_FORMS: Final = '"2026-03-02", "2026-03-02 06:40", "yesterday 23:10" or "2 h ago"'


@light
class Place:
    """Where and when something is typed."""

    now: Ms
    zone: ZoneInfo


def past_instant(text: str, place: Place) -> Ms:
    """Any instant that has passed, years ago too: a date is the local midnight it begins with. Raises Unfit."""
    said = text.strip()
    try:
        match = _DAY.fullmatch(said)
        if match is not None:
            instant = _local(match, place.zone)
        elif said[:4].isdigit() and "-" in said:
            instant = rfc3339(said)
        else:
            return parse_when(said, place.now, place.zone)
    except NotAnInstant as problem:
        raise Unfit(DAY_FORMS, str(problem)) from None
    if instant > place.now + SKEW:
        raise Unfit("a time that has passed")
    if instant < 0:
        raise Unfit("a day since 1970")
    return instant


def _local(match: re.Match[str], zone: ZoneInfo) -> Ms:
    year, month, day, hour, minute = (int(part or 0) for part in match.groups())
    try:
        return round(datetime(year, month, day, hour, minute, tzinfo=zone).timestamp()) * SECOND
    except ValueError:
        raise NotAnInstant(f'"{match[0]}" is no day or hour that exists.') from None


def instant_shown(instant: Ms | None, place: Place) -> str:
    """``2026-03-02 06:40``; an hour that comes twice is written with its zone, so that it reads back as itself."""
    if instant is None:
        return ""
    there = words.local(instant, place.zone)
    short = f"{there:%Y-%m-%d %H:%M}"
    minute = instant // (60 * SECOND) * 60 * SECOND
    return short if past_or_none(short, place) == minute else there.replace(microsecond=0).isoformat()


def past_or_none(text: str, place: Place) -> Ms | None:
    try:
        return past_instant(text, place)
    except Unfit:
        return None


def mass(text: str, top: float = 1000.0) -> float:
    """Grams, above 0 up to ``top``. Raises Unfit."""
    return _within(text, Kind.MASS, top, zero=False)


def left(text: str) -> float:
    """What is left in a tin, g; nothing is allowed. Raises Unfit."""
    return _within(text, Kind.MASS, 100_000.0, zero=True)


def _within(text: str, kind: Kind, top: float, *, zero: bool) -> float:
    value = read(text.strip(), kind)
    if not 0 <= value <= top or (value == 0 and not zero):
        raise Unfit(f"{kind.allowed}, {'from 0' if zero else 'above 0'} and up to {top:g} {kind.unit}")
    return value


def volume(text: str, *, zero: bool = False) -> float:
    return _within(text, Kind.VOLUME, 1000.0, zero=zero)


def salinity(text: str) -> float:
    return _within(text, Kind.SALINITY, 200.0, zero=True)


def price(text: str) -> float:
    """``12.50``, ``12,50``, ``12.50 EUR``. Raises Unfit."""
    match = _MONEY.fullmatch(dotted(text.strip()))
    if match is None or not float(match[1]) <= 1e6:
        raise Unfit('what all of it cost, such as "12.50"')
    return float(match[1])


def percent(text: str) -> float:
    """What a label promises, ``85`` or ``85 %``. Raises Unfit."""
    number, unit = split(text.strip())
    value = 100 * convert(number, unit, "") if unit else number
    if not 1 <= value <= 100:
        raise Unfit('per cent as the label has them, such as "85", from 1 to 100')
    return round(value, 6)


def length_um(text: str) -> float:
    """``430``, ``430 um``. Raises Unfit."""
    number, unit = split(text.strip())
    if not _MICRO.fullmatch(unit) or not 200 <= number <= 1500:
        raise Unfit('thousandths of a millimetre such as "430", from 200 to 1500')
    return number


def cysts(text: str) -> float:
    """Cysts in a gram. Raises Unfit."""
    value = count(text)
    if not 20_000 <= value <= 2_000_000:
        raise Unfit('cysts in a gram such as "250 000", from 20 000 to 2 000 000')
    return value


def some(text: str) -> float:
    """How many, more than none. Raises Unfit."""
    value = count(text)
    if value == 0:
        raise Unfit("a whole number above 0, such as 180000")
    return value


def grams_shown(value: float | None) -> str:
    return "" if value is None else f"{plain(value)} g"


def litres_shown(value: float | None) -> str:
    return "" if value is None else f"{plain(value)} L"


def count_shown(value: float | None) -> str:
    return "" if value is None else words.whole(value)


def plain_shown(value: float | None) -> str:
    return "" if value is None else plain(value)
