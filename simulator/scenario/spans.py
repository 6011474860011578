"""Spans of time as a person writes them: ``1:00``, ``-22 h``, ``90 min``, ``1 d 12 h``."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import BeforeValidator

SECONDS = {"s": 1, "min": 60, "h": 3600, "d": 86_400}
ALLOWED = 'a text such as "1:00" (hours:minutes), "-22 h", "90 min" or "2 d"'

_CLOCK = re.compile(r"(\d{1,4}):([0-5]\d)(?::([0-5]\d))?")
_PART = re.compile(r"(\d+(?:\.\d+)?)\s*(min|s|h|d)(?![a-z])\s*")


def parse_offset(text: object) -> int:
    """Read a span, which may be negative, in whole seconds.

    Raises ValueError naming what was found and what is allowed.
    """
    if not isinstance(text, str):
        raise ValueError(f"needs a unit: {ALLOWED}")  # noqa: TRY004  (pydantic takes only this for a mistake of the file)
    body = text.strip()
    sign = -1 if body.startswith("-") else 1
    body = body.removeprefix("-").removeprefix("+").strip()
    if clock := _CLOCK.fullmatch(body):
        hours, minutes, seconds = (int(part or 0) for part in clock.groups())
        return sign * (hours * 3600 + minutes * 60 + seconds)
    total, position = 0.0, 0
    while part := _PART.match(body, position):
        total += float(part[1]) * SECONDS[part[2]]
        position = part.end()
    if position == 0 or position != len(body):
        raise ValueError(f"is no span of time; allowed is {ALLOWED}")
    return sign * round(total)


def parse_length(text: object) -> int:
    """Read a span longer than nothing, in whole seconds; raises ValueError."""
    seconds = parse_offset(text)
    if seconds <= 0:
        raise ValueError('must be longer than nothing, for example "60 s"')
    return seconds


Offset = Annotated[int, BeforeValidator(parse_offset)]
"""Seconds relative to the scenario's start; negative is before it."""

Length = Annotated[int, BeforeValidator(parse_length)]
"""A span in seconds, longer than nothing."""
