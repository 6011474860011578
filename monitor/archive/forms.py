"""Numbers, instants and words as an archive writes them: exact in both directions."""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache
from typing import Final

from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Ms, Quality

LARGEST: Final = 2**63 - 1
"""What the store can hold."""

_EPOCH: Final = date(1970, 1, 1).toordinal()
_FIRST_DAY: Final = date.min.toordinal() - _EPOCH
_LAST_DAY: Final = date.max.toordinal() - _EPOCH
_INSTANT: Final = re.compile(r"(\d{4}-\d\d-\d\d)T([01]\d|2[0-3]):([0-5]\d):([0-5]\d)(?:\.(\d{3}))?Z", re.ASCII)
_WHOLE: Final = re.compile(r"-?\d{1,19}", re.ASCII)
_THOUSANDTHS: Final = re.compile(r"-?\d{1,16}\.\d{3}", re.ASCII)
_QUALITIES: Final = {quality.word: quality for quality in Quality}


class Unfit(ValueError):  # noqa: N818  (the caller says in which line)
    """A cell that cannot be meant; the message says what was found and what is allowed."""


@lru_cache(maxsize=64)
def _date(day: int) -> str:
    return date.fromordinal(day + _EPOCH).isoformat()


@lru_cache(maxsize=64)
def _day(text: str) -> int:
    return date.fromisoformat(text).toordinal() - _EPOCH


def instant(time: Ms) -> str:
    """RFC 3339 in UTC, with milliseconds where there are any; beyond the years 1 to 9999 the bare number of ms."""
    day, rest = divmod(time, DAY)
    if not _FIRST_DAY <= day <= _LAST_DAY:
        return str(time)
    seconds, milli = divmod(rest, SECOND)
    minutes, second = divmod(seconds, 60)
    hour, minute = divmod(minutes, 60)
    return f"{_date(day)}T{hour:02}:{minute:02}:{second:02}{f'.{milli:03}' if milli else ''}Z"


def instant_from(text: str) -> Ms:
    """Raises Unfit."""
    match = _INSTANT.fullmatch(text)
    if match is None:
        if _WHOLE.fullmatch(text):
            return whole_from(text)
        raise Unfit(f"time {_shown(text)}; a time is written as 2026-03-01T06:40:00Z")
    there, hour, minute, second, milli = match.groups()
    try:
        day = _day(there)
    except ValueError:
        raise Unfit(f"time {_shown(text)}, a day that does not exist") from None
    return day * DAY + int(hour) * HOUR + int(minute) * MINUTE + int(second) * SECOND + int(milli or 0)


def month(time: Ms) -> str:
    """``2026-03``: the UTC month, as files are named; all before the year 1 is 0000-00, all after 9999 is 9999-99."""
    day = time // DAY
    if day < _FIRST_DAY:
        return "0000-00"
    return _date(day)[:7] if day <= _LAST_DAY else "9999-99"


def thousandths(milli: int) -> str:
    """``24.125``: a decimal number with three places."""
    amount = -milli if milli < 0 else milli
    return f"{'-' if milli < 0 else ''}{amount // 1000}.{amount % 1000:03}"


def thousandths_from(text: str) -> int:
    """Raises Unfit."""
    if _THOUSANDTHS.fullmatch(text) is None:
        raise Unfit(f"{_shown(text)}; a value is written with three places, as 24.125")
    return _held(int(text[:-4] + text[-3:]), text)


def whole_from(text: str) -> int:
    """Raises Unfit."""
    if _WHOLE.fullmatch(text) is None:
        raise Unfit(f"{_shown(text)} where a whole number is expected")
    return _held(int(text), text)


def quality_from(text: str) -> Quality:
    """Raises Unfit."""
    try:
        return _QUALITIES[text]
    except KeyError:
        raise Unfit(f"quality {_shown(text)}; allowed are {', '.join(_QUALITIES)}") from None


def _held(number: int, text: str) -> int:
    if not -LARGEST <= number <= LARGEST:
        raise Unfit(f"{_shown(text)}, more than a store can hold")
    return number


def _shown(text: str) -> str:
    return repr(text if len(text) <= 60 else text[:57] + "...")
