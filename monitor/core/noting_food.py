"""The books of food: each entry goes into them as it is taken, and they are made anew where one was undone or corrected."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core.amended import Told
from monitor.core.food_book import LEDGER
from monitor.core.log import Start
from monitor.core.log_food import Brood, BroodEnded, Counted, Drawn, Eater, Fed, Tin, Weighed
from monitor.core.store_book import AmountEntry

if TYPE_CHECKING:
    from monitor.core.log import LogEntry
    from monitor.core.state import State


def note(state: State, entry: LogEntry) -> None:
    """Into the ledger, and into the books of food; vessels, batches and what went into stores are somebody else's."""
    if not isinstance(entry, LEDGER):
        return
    state.food.ledger.append(Told(entry))
    if isinstance(entry, Brood | Counted | BroodEnded | Eater):
        state.broods.entries.append(entry)
    elif isinstance(entry, Tin | Weighed | Fed | Drawn):
        state.food.entries.append(entry)
        state.food.take_tin(entry)
        if isinstance(entry, Fed | Drawn) and entry.store in state.cold_stores:
            state.cold_stores[entry.store].take(entry)


def refold(state: State) -> None:
    """All books from the ledger, and what is left of entries that are in it no more: tins, what was sown, stores, broods."""
    state.food.fold()
    standing = [told.now for told in state.food.ledger]
    state.broods.entries[:] = [one for one in standing if isinstance(one, Brood | Counted | BroodEnded | Eater)]
    state.sown = {lot: list(some) for lot, some in state.food.gone.sown.items()}
    for one in standing:
        if isinstance(one, Start):
            state.sown.setdefault(one.lot, []).append((one.time, one.cysts_g))
    moved = [one for one in standing if isinstance(one, AmountEntry)]
    for name, store in state.cold_stores.items():
        store.tell(one for one in moved if one.store == name)
