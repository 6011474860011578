"""What a keeper writes down: batches begun, looked into and ended, and hands in the water. Times are integer UTC milliseconds."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.core.model import Ms


class Sight(StrEnum):
    """What a keeper saw when looking into a batch."""

    NONE = "none"
    FIRST = "first"
    SOME = "some"
    MOST = "most"


@dataclass(frozen=True, slots=True)
class Start:
    time: Ms
    logged: Ms
    batch: str
    vessel: str
    lot: str
    cysts_g: float
    litres: float
    salinity_g_l: float


@dataclass(frozen=True, slots=True)
class Seen:
    time: Ms
    logged: Ms
    batch: str
    what: Sight
    fraction: float | None = None  # counted share of all cysts that have hatched, 0..1


@dataclass(frozen=True, slots=True)
class Harvest:
    time: Ms
    logged: Ms
    batch: str
    hatched_fraction: float | None = None
    nauplii: float | None = None


@dataclass(frozen=True, slots=True)
class Discard:
    time: Ms
    logged: Ms
    batch: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Settle:
    """Air off on purpose until ``until``; the air alarm of this vessel is suppressed by design and comes back by itself."""

    time: Ms
    logged: Ms
    vessel: str
    until: Ms


LogEntry = Start | Seen | Harvest | Discard | Settle
