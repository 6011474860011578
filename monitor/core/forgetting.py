"""What is long over leaves memory: the log in the store keeps it, and it comes back when somebody speaks of it again.

Of a batch its name stays, and what it took out of its tin; of a cold store what it held then. What is told of tins, broods and
eaters stays: it is little. Nothing that is decided or shown is another for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.amended import told_of
from monitor.core.food_book import LEDGER, Gone
from monitor.core.log import Discard, Harvest, Lapse, Seen, Start
from monitor.core.log_food import BroodEnded, Correct, Counted
from monitor.core.model import DAY, Ms
from monitor.core.noting_food import refold
from monitor.core.pantry import FAILURES_OF
from monitor.core.state import Batch
from monitor.core.store_book import AmountEntry, fold
from monitor.core.undo import WITHIN

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.amended import Told
    from monitor.core.log import LogEntry
    from monitor.core.state import State
    from monitor.core.stores import ColdStore

KEPT: Final[Ms] = 60 * DAY
"""Further back than history reaches, and than any rule looks; of a tin that has taught nothing for so long none looks."""
_OF_BATCHES: Final = Start | Seen | Harvest | Discard | Lapse


def let_go(state: State, now: Ms) -> None:
    """Let go of what was logged more than ``KEPT`` before this day and is over; not while a correction can be undone."""
    before, book = now // DAY * DAY - KEPT, state.food
    undoable = (memo.entry for memo in state.journal.memos if now - memo.entry.logged <= WITHIN)
    if before <= book.gone.before or any(isinstance(entry, Correct) for entry in undoable):
        return
    old = [told for told in book.ledger if _touched(told) < before]
    batches = state.batches.keys() - _needed(state, before)
    over = {told.entry.brood for told in old if isinstance(told.entry, BroodEnded) and told.now is not None}
    going = {id(told) for told in old if _of_what_is_over(state, told, batches, over)}
    for store in state.cold_stores.values():
        going |= _out_of(store, book.ledger, before)
    for told in book.ledger:
        if id(told) in going and isinstance(start := told.now, Start):
            book.gone.sown.setdefault(start.lot, []).append((start.time, start.cysts_g))
    for some in book.gone.sown.values():
        some.sort()
    book.ledger = [told for told in book.ledger if id(told) not in going]
    book.gone.before = before
    book.gone.batches |= batches
    for name in batches:
        del state.batches[name]
    refold(state)


def asked_for(state: State, entry: object) -> bool:
    """Whether an entry that is to be taken is about what has left memory."""
    gone = state.food.gone
    if not isinstance(entry, Correct):
        return getattr(entry, "batch", "") in gone.batches
    time = entry.values.get("time")
    earlier = isinstance(time, int) and time < gone.before
    return entry.at < gone.before or earlier or entry.values.get("batch") in gone.batches


def too_much(state: State, now: Ms) -> bool:
    """Whether more has left memory than should have: the clock was ahead, and was set back."""
    return state.food.gone.before > max(now - KEPT, 0)


def take_back(state: State, entries: Iterable[LogEntry]) -> None:
    """All of the log (in order of ``logged``) is in memory again, until the next time that some of it is let go."""
    book = state.food
    here = {told.key for told in book.ledger}
    old = [one for one in told_of(entries)[0] if isinstance(one.entry, LEDGER) and one.key not in here]
    book.ledger = sorted([*old, *book.ledger], key=lambda told: told.entry.logged)
    book.gone = Gone()
    found = _batches(state, old) | state.batches
    state.batches = dict(sorted(found.items(), key=lambda one: one[1].start.logged))
    for store in state.cold_stores.values():
        store.before = None
    refold(state)


def _touched(told: Told) -> Ms:
    """When anything was last said of an entry."""
    return max([told.entry.logged, *(correct.logged for correct in told.corrections)])


def _needed(state: State, before: Ms) -> set[str]:
    """Batches that stay: open, spoken of lately, kept cold, the newest of each vessel and tin, and what tells how many fail."""
    batches = state.batches
    spoken = {getattr(told.entry, "batch", "") for told in state.food.ledger if _touched(told) >= before}
    of_vessels = {batch.start.vessel: name for name, batch in batches.items()}
    of_tins = {batch.start.lot: name for name, batch in batches.items()}
    of_all = sorted(batches, key=lambda name: batches[name].start.time)[-1:]
    ended = [(batch.ended.time, name) for name, batch in batches.items() if batch.ended is not None]
    newest = [name for _, name in sorted(ended, key=lambda one: one[0])[-FAILURES_OF:]]
    opened = [batch.start.batch for batch in state.open_batches()]
    cold = [name for store in state.cold_stores.values() if store.content is not None for name in store.content.batches]
    return {*opened, *spoken, *cold, *of_vessels.values(), *of_tins.values(), *of_all, *newest}


def _of_what_is_over(state: State, told: Told, batches: set[str], broods: set[str]) -> bool:
    """Whether an old entry is about a batch or brood that is over, or about a store that holds nothing of it."""
    entry, now = told.entry, told.now
    if isinstance(entry, _OF_BATCHES):
        return entry.batch in batches or entry.batch not in state.batches
    if isinstance(entry, Counted):
        return entry.brood in broods
    if isinstance(entry, AmountEntry):
        return not isinstance(now, AmountEntry) or now.store not in state.cold_stores
    return False


def _out_of(store: ColdStore, ledger: Iterable[Told], before: Ms) -> set[int]:
    """What went in and out of a store up to the first of which was spoken since: it holds what is left of that."""
    moved = [(now, told) for told in ledger if isinstance(now := told.now, AmountEntry) and now.store == store.spec.id]
    going, found = [], set()
    for now, told in sorted(moved, key=lambda one: (one[0].time, one[0].logged)):
        if _touched(told) >= before:
            break
        going.append(now)
        found.add(id(told))
    store.before = fold(going, store.before)
    return found


def _batches(state: State, told: Iterable[Told]) -> dict[str, Batch]:
    """Batches that are over, as these entries tell of them."""
    found: dict[str, Batch] = {}
    for entry in (one.now for one in told):
        if isinstance(entry, Start) and entry.vessel in state.vessels:
            found[entry.batch] = Batch(entry, None)
        elif isinstance(entry, Harvest | Discard | Lapse) and entry.batch in found:
            batch = found[entry.batch]
            if not isinstance(entry, Lapse) or batch.ended is None:
                batch.ended = entry
        elif isinstance(entry, Seen) and entry.batch in found and isinstance(found[entry.batch].ended, Lapse):
            found[entry.batch].ended = None
    return found
