"""Whether a log entry can be taken; the answers are for the keeper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core import food_checks, store_checks
from monitor.core.history import KEEP_SLOTS
from monitor.core.log import BatchEntry, Chill, Emptied, Lapse, Seen, Settle, Standing, Start, Undo, Work
from monitor.core.log_food import FOOD_ENTRIES
from monitor.core.model import DAY, HOUR, MINUTE, SLOT, Ms, Refused
from monitor.core.wording import rfc3339

if TYPE_CHECKING:
    from monitor.core.state import Batch, State, VesselState

OLDEST: Final[Ms] = KEEP_SLOTS * SLOT
"""A batch that began earlier than the history reaches can't be reckoned."""
LONGEST_WORK: Final[Ms] = 4 * HOUR
"""So that nobody's vessel stays unwatched because work was not ended; common practice, no source."""


def check(state: State, entry: Standing | Undo) -> None:
    """Raise ``Refused`` when an entry cannot be taken; the message is for the keeper. Corrections: see ``corrections``."""
    if isinstance(entry, Undo):
        state.journal.find(entry)
        return
    if isinstance(entry, FOOD_ENTRIES):
        food_checks.check(state, entry)
        return
    if isinstance(entry, Settle):
        _vessel(state, entry.vessel)
        return
    if isinstance(entry, Work):
        _vessel(state, entry.vessel)
        if entry.until - max(entry.time, entry.logged) > LONGEST_WORK:
            asked = (entry.until - max(entry.time, entry.logged)) // MINUTE
            raise Refused(f"work for {asked} min is too long; allowed is at most 4 h, then say it again")
        return
    if isinstance(entry, Chill | Emptied):
        store_checks.check(state, entry)
        return
    if isinstance(entry, Start):
        vessel = _vessel(state, entry.vessel)
        if entry.logged - entry.time > OLDEST:
            raise Refused(f"that is more than {OLDEST // DAY} days ago, further than the history of the water reaches")
        if entry.batch in state.batches:
            raise Refused(f"there is already a batch {entry.batch}; give this one another name")
        if vessel.batch is not None:
            raise Refused(
                f"{entry.vessel} still holds batch {vessel.batch.start.batch}; harvest or discard that one first"
            )
        check_start_values(entry)
        return
    batch = state.batches.get(entry.batch)
    if batch is None:
        known = ", ".join(b.start.batch for b in state.open_batches()) or "none"
        raise Refused(f"there is no batch {entry.batch}; open batches: {known}")
    if batch.ended is not None and (not isinstance(batch.ended, Lapse) or isinstance(entry, Lapse)):
        raise Refused(f"batch {entry.batch} has already ended")
    if entry.time < batch.start.time:
        raise Refused(f"that is before batch {entry.batch} was started")
    if comes_too_late(state, entry):
        _check_late(state, batch, entry)
    share = getattr(entry, "fraction", None)
    if share is None:
        share = getattr(entry, "hatched_fraction", None)
    check_share(share)


def check_start_values(entry: Start) -> None:
    """What a batch may be started with."""
    for what, value, top in (("cysts_g", entry.cysts_g, 1000.0), ("litres", entry.litres, 1000.0)):
        if not 0 < value <= top:
            raise Refused(f"{what} is {value:g}; allowed is more than 0 and at most {top:g}")
    if not 0 <= entry.salinity_g_l <= 200:
        raise Refused(f"salinity is {entry.salinity_g_l:g} g/L; allowed is 0 to 200")


def check_share(share: float | None) -> None:
    """A share that was counted, 0..1."""
    if share is not None and not 0 <= share <= 1:
        raise Refused(f"the hatched fraction is {share:g}; allowed is 0 to 1")


def comes_too_late(state: State, entry: BatchEntry) -> bool:
    """Whether an entry is about a batch that was closed because nobody wrote of it, and that can't be taken up again.

    While its vessel was not used again it can: then the entry is taken as if the batch had never been closed.
    """
    batch = None if isinstance(entry, Start | Settle | Lapse) else state.batches.get(entry.batch)
    if batch is None or not isinstance(batch.ended, Lapse):
        return False
    return batch.belief is None or entry.logged - batch.start.time > OLDEST


def _check_late(state: State, batch: Batch, entry: BatchEntry) -> None:
    """Only how and when it ended can still be told, for the record."""
    name, vessel = batch.start.batch, batch.start.vessel
    later = [other.start for other in state.batches.values() if other.start.vessel == vessel]
    following = next((start for start in later if start.time >= batch.start.time and start.batch != name), None)
    when = "" if following is None else rfc3339(following.time)
    again = f", and {vessel} was started again with {following.batch} at {when}" if following is not None else ""
    if isinstance(entry, Seen):
        raise Refused(
            f"batch {name} was closed as ended, not logged{again}; of it a harvest or discard can still be logged"
        )
    if following is not None and entry.time > following.time:
        raise Refused(
            f"batch {name} was closed as ended, not logged{again}; "
            "give the time at which it was harvested or discarded, before that"
        )


def _vessel(state: State, name: str) -> VesselState:
    vessel = state.vessels.get(name)
    if vessel is None:
        known = ", ".join(state.vessels)
        raise Refused(f"there is no vessel {name}; known are: {known}")
    return vessel
