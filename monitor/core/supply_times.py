"""When food is in hand: a batch is harvested when the keeper is there, and fed from when it has settled and was rinsed."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.model import DAY, MINUTE
from monitor.core.wording import zone

if TYPE_CHECKING:
    from monitor.core.food import Pantry
    from monitor.core.hatch import Array
    from monitor.core.model import Ms

RINSED: Final = 30 * MINUTE  # settling and rinsing; common practice, no source
LOOKED_AT_DAYS: Final = 60
"""What is ready later than so many days from ``now`` counts as never."""


def instant(day: date, minute: int, timezone: str) -> Ms:
    """A local time of day, minutes after midnight, as ms; 1440 and more is on the next day."""
    later, rest = divmod(minute, 24 * 60)
    there = day + timedelta(days=later)
    local = datetime(there.year, there.month, there.day, rest // 60, rest % 60, tzinfo=zone(timezone))
    return int(local.timestamp() * 1000)


def local_day(time: float, timezone: str) -> date:
    return datetime.fromtimestamp(time / 1000, zone(timezone)).date()


@lru_cache(maxsize=16)
def _hours(first: date, timezone: str, there_from: int, there_until: int) -> tuple[Array, Array]:
    """When the keeper comes and goes, ms, on each day from the one before ``first`` on. Hours past midnight are allowed."""
    until = there_until if there_until > there_from else there_until + 24 * 60
    days = [first + timedelta(days=k) for k in range(-1, LOOKED_AT_DAYS + 2)]
    comes = np.array([instant(day, there_from, timezone) for day in days], dtype=float)
    goes = np.array([instant(day, until, timezone) for day in days], dtype=float)
    return comes, goes


def keeper_from(pantry: Pantry, ready: Array) -> Array:
    """The first instants, ms, at or after ``ready`` at which the keeper is there; ``inf`` where it is never ready."""
    costs = pantry.costs
    comes, goes = _hours(local_day(pantry.now, pantry.timezone), pantry.timezone, costs.there_from, costs.there_until)
    at = np.maximum(ready, float(pantry.now))
    never = ~(at < pantry.now + LOOKED_AT_DAYS * DAY)
    place = np.searchsorted(comes, np.where(never, comes[0], at), side="right") - 1
    there = (place >= 0) & (at < goes[np.maximum(place, 0)])
    next_day = comes[np.minimum(place + 1, len(comes) - 1)]
    return np.asarray(np.where(never, np.inf, np.where(there, at, next_day)))


def fed_from(harvest: Array) -> Array:
    """From when on what is harvested at ``harvest`` (ms) can be fed."""
    return harvest + RINSED
