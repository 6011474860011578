"""Single values as probes write them: numbers, air words, times, running numbers.

What is taken and what is not:

* Numbers are decimal, with a point, an optional sign and an optional exponent. Hexadecimal, digit separators, ``nan``,
  ``inf`` and a decimal comma are refused: a comma is also how lists are written, so "21,4" could be two numbers.
* Inside JSON a number may stand in a text ("21.4"), as many small devices write it; the same rules hold.
* A boolean is never a number. For a probe that tells words, ``true`` and ``false`` are running and stopped; a word may
  also say that the air is weak.
* A time is RFC 3339 text with a zone, or a number of seconds or milliseconds since 1970 (UTC). A time before the year
  2000 is what a clock shows that was never set: the sample then has no time of its own.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from monitor.core.model import Air
from monitor.intake.unreadable import Kind, Unreadable, shown

if TYPE_CHECKING:
    from monitor.core.model import Ms
    from monitor.intake.binding import Binding

LIMIT = 1e9
"""No probe of this trade means a larger number; common practice, no source."""

CLOCK_WAS_SET: Ms = 946_684_800_000  # 2000-01-01T00:00Z
LAST_TIME: Ms = 253_402_300_799_999  # 9999-12-31T23:59:59.999Z, where RFC 3339 ends
MILLISECONDS_FROM = 1e11  # as seconds that would be the year 5138, as milliseconds it is 1973
LAST_SEQUENCE = 2**63 - 1

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_LONGEST_NUMBER = 64
_RFC3339 = re.compile(
    r"(\d{4}-\d\d-\d\d)[Tt ](\d\d:\d\d):(\d\d)(?:\.(\d+))?(?:([Zz])|([+-]\d\d:\d\d))",
    re.ASCII,
)
_NO_TEXT = "an empty message; a number such as 21.4 is expected"


def number_from_text(text: str) -> float:
    """The number a text writes; :class:`Unreadable` when it writes none or one beyond the limit."""
    text = text.strip(" \t\r\n")
    if not text:
        raise Unreadable(_NO_TEXT, "empty")
    if len(text) > _LONGEST_NUMBER or _NUMBER.fullmatch(text) is None:
        hint = "; write the decimal point as a point" if "," in text else ""
        raise Unreadable(f"{shown(text)} is not a decimal number{hint}", "syntax")
    return within_limit(float(text))


def number(found: Any) -> float:
    """The number a JSON value means; :class:`Unreadable` when it means none."""
    if found.__class__ is float or found.__class__ is int:
        return within_limit(found)
    if found.__class__ is str:
        return number_from_text(found)
    raise Unreadable(f"found {shown(found)} where a number is expected", "empty" if found is None else "type")


def within_limit(value: float) -> float:
    """The value as a float, refused when it is infinite, not a number, or beyond the limit."""
    if not -LIMIT <= value <= LIMIT:
        raise Unreadable(f"{shown(value)} is beyond what a probe can measure (at most {LIMIT:g})", "range")
    return float(value)


def internal(value: float, binding: Binding) -> float:
    """The value in the internal unit, from the configured one."""
    return within_limit(value * binding.scale + binding.offset)


def air(found: Any, binding: Binding) -> Air:
    """What an air word says; a JSON true or false says it directly, a whole number is compared as its digits."""
    if found.__class__ is bool:
        return Air.RUNNING if found else Air.STOPPED
    if found.__class__ is float and -LIMIT <= found <= LIMIT and found == int(found):
        found = int(found)
    if found.__class__ is int and -LIMIT <= found <= LIMIT:
        found = str(found)
    if found.__class__ is not str:
        raise Unreadable(f"found {shown(found)} where a word is expected", "empty" if found is None else "type")
    word = found.strip(" \t\r\n").lower()
    if word in binding.words_on:
        return Air.RUNNING
    if word in binding.words_off:
        return Air.STOPPED
    if word in binding.words_weak:
        return Air.WEAK
    allowed = ", ".join(sorted(binding.words_on | binding.words_off | binding.words_weak))
    raise Unreadable(f"{shown(found)} is none of the words known for this probe ({allowed})", "word")


def own_time(found: Any) -> Ms | None:
    """The time a probe told. None when it told null or its clock was never set."""
    if found is None:
        return None
    if found.__class__ is str:
        return known(_rfc3339(found))
    if found.__class__ is int or found.__class__ is float:
        return known(_unix(found))
    raise Unreadable(f"found {shown(found)} where a time is expected", "time")


def known(time: Ms) -> Ms | None:
    """The time, unless only a clock that was never set can show it."""
    return time if time >= CLOCK_WAS_SET else None


def seconds_to_ms(seconds: float, kind: Kind = "time") -> Ms:
    """Whole milliseconds; :class:`Unreadable` beyond the years RFC 3339 can write."""
    if not -LAST_TIME <= seconds * 1000 <= LAST_TIME:
        raise Unreadable(f"{shown(seconds)} is no time between the years 1 and 9999", kind)
    return round(seconds * 1000)


def _unix(found: float) -> Ms:
    if not -LAST_TIME <= found <= LAST_TIME:
        raise Unreadable(f"{shown(found)} is no time in seconds or milliseconds since 1970", "time")
    return round(found) if abs(found) >= MILLISECONDS_FROM else seconds_to_ms(found)


def _rfc3339(text: str) -> Ms:
    match = _RFC3339.fullmatch(text.strip(" \t\r\n")) if len(text) <= _LONGEST_NUMBER else None
    if match is None:
        raise Unreadable(
            f"{shown(text)} is no time with a zone; write it like 2026-03-02T05:10:00Z or as seconds since 1970", "time"
        )
    date, minute, second, fraction, zulu, zone = match.groups()
    leap = second == "60"  # RFC 3339 section 5.7; POSIX time counts it as the second that follows
    try:
        whole = datetime.fromisoformat(f"{date}T{minute}:{'59' if leap else second}{'+00:00' if zulu else zone}")
        since = whole - _EPOCH + timedelta(seconds=int(leap))
    except (ValueError, OverflowError) as error:
        raise Unreadable(f"{shown(text)} is no time: {error}", "time") from error
    thousandths = int((fraction or "0")[:3].ljust(3, "0"))
    return since // _MILLISECOND + thousandths


_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND = timedelta(milliseconds=1)


def sequence(found: Any) -> int | None:
    """The running number a probe told. None when it told null."""
    if found is None:
        return None
    if found.__class__ is str and 0 < len(found) <= 19 and found.isascii() and found.isdigit():
        found = int(found)
    if found.__class__ is float and 0 <= found <= 2**53 and found == int(found):
        found = int(found)
    if found.__class__ is not int or not 0 <= found <= LAST_SEQUENCE:
        raise Unreadable(f"found {shown(found)} where a running number from 0 up is expected", "sequence")
    return int(found)
