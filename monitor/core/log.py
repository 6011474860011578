"""What a keeper writes down: batches begun, looked into and ended, hands in the water, and what is kept cold.

Times are integer UTC milliseconds.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Literal

from monitor.core.light import light
from monitor.core.log_food import (
    Brood,
    BroodEnded,
    Correct,
    Counted,
    Drawn,
    Eater,
    Fed,
    FoodEntry,
    Tin,
    Weighed,
)

if TYPE_CHECKING:
    from monitor.core.model import Ms


class Sight(StrEnum):
    """What a keeper saw when looking into a batch."""

    NONE = "none"
    FIRST = "first"
    SOME = "some"
    MOST = "most"


@light
class Start:
    time: Ms
    logged: Ms
    batch: str
    vessel: str
    lot: str
    cysts_g: float
    litres: float
    salinity_g_l: float


@light
class Seen:
    time: Ms
    logged: Ms
    batch: str
    what: Sight
    fraction: float | None = None  # counted share of all cysts that have hatched, 0..1


@light
class Harvest:
    time: Ms
    logged: Ms
    batch: str
    hatched_fraction: float | None = None
    nauplii: float | None = None


@light
class Discard:
    time: Ms
    logged: Ms
    batch: str
    reason: str = ""


@light
class Settle:
    """Air off on purpose until ``until``; the air alarm of this vessel is suppressed by design and comes back by itself."""

    time: Ms
    logged: Ms
    vessel: str
    until: Ms


@light
class Work:
    """Somebody works on a vessel until ``until``: its alarms and its probes' are held back, and come back by themselves."""

    time: Ms
    logged: Ms
    vessel: str
    until: Ms


Gas = Literal["open", "air", "oxygen"]
"""What is over the water of nauplii that are kept cold: an open vessel, or one closed over air or pure oxygen."""


@light
class Chill:
    """Nauplii went into a cold store: ``litres`` of water with ``gas_l`` litres of gas closed up over it (0 when open)."""

    time: Ms
    logged: Ms
    store: str
    nauplii: float
    litres: float
    gas: Gas = "open"
    gas_l: float = 0.0
    aerated: bool = False
    batch: str = ""  # the one they were harvested from; empty when that is not told


@light
class Emptied:
    """What a cold store held is used up or thrown away."""

    time: Ms
    logged: Ms
    store: str


@light
class Lapse:
    """Nobody wrote down what became of a batch: the monitor itself closes it as ended, not logged."""

    time: Ms
    logged: Ms
    batch: str


@light
class Undo:
    """Takes back the entry of ``kind`` about ``subject`` that was logged at ``at``: as if it had never been made."""

    time: Ms
    logged: Ms
    kind: str  # as ``kind_of`` says it
    subject: str  # a batch, vessel or store
    at: Ms


BatchEntry = Start | Seen | Harvest | Discard | Settle | Lapse
"""What is written down about a vessel and what is in it."""

StoreEntry = Chill | Emptied
"""What is written down about a cold store."""

Deed = BatchEntry | Work | StoreEntry
"""What was seen or done about vessels, batches and cold stores."""

Standing = Deed | FoodEntry
"""All but what is about the log itself."""

LogEntry = Standing | Undo | Correct


def kind_of(entry: LogEntry) -> str:
    """The word of an entry's kind, as the store and the API have it."""
    return type(entry).__name__.lower()


def subject_of(entry: LogEntry) -> str:
    """The batch, vessel, store, tin, brood or eater it is about."""
    if isinstance(entry, Undo | Correct):
        return entry.subject
    if isinstance(entry, Fed):
        return entry.brood or entry.store or entry.batch
    if isinstance(entry, Chill | Emptied | Drawn):
        return entry.store
    if isinstance(entry, Tin | Weighed):
        return entry.lot
    if isinstance(entry, Brood | Counted | BroodEnded):
        return entry.brood
    if isinstance(entry, Eater):
        return entry.eater
    return entry.vessel if isinstance(entry, Settle | Work) else entry.batch


Key = tuple[str, str, int]
"""Kind, subject and ``logged``: what tells an entry from all others."""


def key_of(entry: LogEntry) -> Key:
    return kind_of(entry), subject_of(entry), entry.logged
