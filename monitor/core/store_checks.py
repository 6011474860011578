"""What may be written down of a cold store; the answers are for the keeper.

More than is there is never taken out, at no instant: an entry for an earlier time is held against all that came after it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.history import KEEP_SLOTS
from monitor.core.log import Chill, Emptied
from monitor.core.log_food import Drawn, Fed
from monitor.core.model import DAY, SLOT, Refused
from monitor.core.store_book import fold, in_time, snags
from monitor.core.wording import clock, whole

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.model import Ms
    from monitor.core.state import State
    from monitor.core.store_book import AmountEntry, Snag
    from monitor.core.stores import ColdStore

LARGEST: Final = 1e9  # nauplii: thousands of litres of eight million each are no bench


def store_of(state: State, name: str) -> ColdStore:
    """Raises Refused for one that is not configured."""
    store = state.cold_stores.get(name)
    if store is None:
        known = ", ".join(state.cold_stores) or "none; add one to the configuration as [[cold_store]]"
        raise Refused(f"there is no store {name}; known are: {known}")
    return store


def check(state: State, entry: AmountEntry) -> None:
    """Raise ``Refused`` when an entry about a store cannot be taken; the message is for the keeper."""
    store = store_of(state, entry.store)
    if entry.logged - entry.time > KEEP_SLOTS * SLOT:
        raise Refused(f"that is more than {KEEP_SLOTS * SLOT // DAY} days ago, further than the history reaches")
    if isinstance(entry, Chill):
        check_amounts(entry)
        if entry.batch and entry.batch not in state.batches:
            raise Refused(f"there is no batch {entry.batch}; give the id of the one they come from, or none")
    check_number(entry)
    zone, now = state.site.timezone, entry.logged
    if isinstance(entry, Emptied):
        if store.content is None:
            raise Refused(f"{entry.store} holds nothing")
        if entry.time < store.content.newest:
            raise Refused(f"that is before the last nauplii went into {entry.store}")
    emptied = [one.time for one in store.entries if isinstance(one, Emptied) and one.time > entry.time]
    if isinstance(entry, Chill) and emptied:
        raise Refused(
            f"{entry.store} was noted as empty at {clock(min(emptied), zone, now)}, after that; give a later time, or "
            "correct when it was emptied"
        )
    new = new_snags(store, [*store.entries, entry])
    if new:
        raise Refused(_words(new[0], entry, zone, now))


def check_number(entry: AmountEntry) -> None:
    """How many may be put in or taken out."""
    if not isinstance(entry, Emptied) and not 0 < entry.nauplii <= LARGEST:
        raise Refused(f"nauplii is {entry.nauplii:g}; allowed is more than 0 and at most {LARGEST:g}")


def check_amounts(entry: Chill) -> None:
    """What goes in: its water, and what is closed up over it."""
    check_number(entry)
    if not 0 < entry.litres <= 1000:
        raise Refused(f"litres is {entry.litres:g}; allowed is more than 0 and at most 1000")
    if not 0 <= entry.gas_l <= 1000:
        raise Refused(f"the gas is {entry.gas_l:g} L; allowed is 0 to 1000 L")
    if entry.gas == "open" and entry.gas_l:
        raise Refused("an open vessel has no gas closed up in it; say what it is closed over: air or oxygen")
    if entry.gas != "open" and entry.aerated:
        raise Refused("what is closed up cannot be aerated; say that it is open, or leave the aeration away")
    if entry.gas == "oxygen" and not entry.gas_l:
        raise Refused("how many litres of oxygen are in it? 1 L a million nauplii is usual")


def new_snags(store: ColdStore, entries: Iterable[AmountEntry]) -> list[Snag]:
    """What does not go together among these, and does among those of the store; or is worse than it is."""
    known = [(s.entry.time, s.entry.logged, s.what, s.by) for s in snags(in_time(store.entries), store.before)]
    return [
        snag
        for snag in snags(in_time(entries), store.before)
        if not any(
            (snag.entry.time, snag.entry.logged, snag.what) == one[:3] and snag.by <= one[3] + 1e-6 for one in known
        )
    ]


def _words(snag: Snag, entry: AmountEntry, zone: str, now: Ms) -> str:
    """Why an entry is refused: of itself, or for what comes after it."""
    if snag.what == "closed":
        held = "an open vessel" if snag.held is not None and snag.held.gas == "open" else "a closed bag or bottle"
        return (
            f"{entry.store} holds {held}, and only an open one can be added to an open one; note that it is empty first, "
            "or configure another store"
        )
    if snag.entry is not entry:
        return f"then {short_words(snag, zone, now)}"
    if snag.held is None:
        return f"{entry.store} holds nothing then; say first what went in (swimup store chill)"
    return (
        f"{entry.store} holds about {whole(snag.held.nauplii)} then; take that, or say first what went in "
        "(swimup store chill)"
    )


def short_words(snag: Snag, zone: str, now: Ms) -> str:
    """``fridge would be 30 000 short on 3 March at 07:00``: what an entry takes more than there is."""
    taken = snag.entry
    if snag.what == "closed":
        return f"what went into {taken.store} at {clock(taken.time, zone, now)} would meet what is closed up there"
    asked = taken.nauplii if isinstance(taken, Fed | Drawn) else 0.0
    return (
        f"{taken.store} would hold {whole(snag.by)} too few of the {whole(asked)} that were taken out of it at "
        f"{clock(taken.time, zone, now)}"
    )


def content_then(store: ColdStore, time: Ms) -> float:
    """Nauplii in a store at an instant, by what is known now."""
    content = fold((one for one in store.entries if one.time <= time), store.before)
    return 0.0 if content is None else content.nauplii
