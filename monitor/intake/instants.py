"""Times as people and programs write them: RFC 3339 with a zone."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from monitor.core.model import Ms

YEAR_2100: Final[Ms] = 4_102_444_800_000
"""Nothing was recorded then, and farther ahead nothing is foreseen."""


def ms(there: datetime) -> Ms:
    return round(there.timestamp() * 1000)


def instant(text: str) -> Ms:
    """RFC 3339 with a zone to ms; ValueError otherwise."""
    there = datetime.fromisoformat(text)
    if there.tzinfo is None:
        raise ValueError("no time zone")
    return ms(there)
