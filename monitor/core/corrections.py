"""Whether a correction can be taken: what of an entry may be another, and that all amounts still add up afterwards.

The answers are for the keeper. What a tin has learned from a batch stays learned, whatever of the batch is corrected.
"""

from __future__ import annotations

from dataclasses import replace
from math import isfinite
from typing import TYPE_CHECKING, Any, Final

from monitor.core import brood_book, food_checks, store_checks
from monitor.core.amended import amend
from monitor.core.brood_book import BroodBook
from monitor.core.entries import OLDEST, check_share, check_start_values
from monitor.core.in_hand import chilled_of
from monitor.core.log import Chill, Emptied, Harvest, Lapse, Start, kind_of
from monitor.core.log_food import Brood, BroodEnded, Counted, Drawn, Eater, Fed, Tin, Weighed
from monitor.core.model import Refused
from monitor.core.store_book import AmountEntry
from monitor.core.store_checks import new_snags, short_words
from monitor.core.undo import words_of
from monitor.core.wording import clock, rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.core.amended import Told
    from monitor.core.log import Standing
    from monitor.core.log_food import BroodEntry, Correct
    from monitor.core.model import Ms
    from monitor.core.state import State

TIME: Final = "a time in ms"
NUMBER: Final = "a number"
NUMBER_OR_NONE: Final = "a number or none"
COUNT_OR_NONE: Final = "a whole number or none"
TIME_OR_NONE: Final = "a time in ms or none"
WORD: Final = "a word"
FLAG: Final = "true or false"

FIELDS: Final[Mapping[str, Mapping[str, str | tuple[str, ...]]]] = {
    "start": {"time": TIME, "lot": WORD, "cysts_g": NUMBER, "litres": NUMBER, "salinity_g_l": NUMBER},
    "harvest": {"time": TIME, "nauplii": NUMBER_OR_NONE, "hatched_fraction": NUMBER_OR_NONE},
    "chill": {
        "time": TIME,
        "store": WORD,
        "nauplii": NUMBER,
        "litres": NUMBER,
        "gas": ("open", "air", "oxygen"),
        "gas_l": NUMBER,
        "aerated": FLAG,
        "batch": WORD,
    },
    "emptied": {"time": TIME, "store": WORD},
    "fed": {"time": TIME, "brood": WORD, "nauplii": NUMBER, "store": WORD, "batch": WORD},
    "drawn": {"time": TIME, "store": WORD, "nauplii": NUMBER, "why": WORD},
    "tin": {
        "time": TIME,
        "strain": WORD,
        "label_hatch_percent": NUMBER_OR_NONE,
        "grams": NUMBER_OR_NONE,
        "price": NUMBER_OR_NONE,
        "cysts_per_g": NUMBER_OR_NONE,
        "length_um": NUMBER_OR_NONE,
        "opened": TIME_OR_NONE,
        "kept": ("room", "cool", "frozen"),
    },
    "weighed": {"time": TIME, "lot": WORD, "grams": NUMBER},
    "brood": {
        "time": TIME,
        "fish": WORD,
        "larvae": NUMBER,
        "tank": WORD,
        "swam_up": TIME_OR_NONE,
        "ration": NUMBER_OR_NONE,
        "growth_per_day": NUMBER_OR_NONE,
        "meals": COUNT_OR_NONE,
        "largest_um": NUMBER_OR_NONE,
        "swim_up_days": NUMBER_OR_NONE,
        "wean_days": NUMBER_OR_NONE,
    },
    "counted": {"time": TIME, "brood": WORD, "larvae": NUMBER},
    "broodended": {"time": TIME, "how": ("weaned", "lost", "moved")},
    "eater": {"time": TIME, "nauplii_per_day": NUMBER, "meals": COUNT_OR_NONE, "largest_um": NUMBER_OR_NONE},
}
"""By kind: what of an entry can be corrected, and what it may be. What an entry is about it keeps, where that names others."""
LONGEST_WORD: Final = 200


def check(state: State, correct: Correct) -> None:
    """Raise ``Refused`` when a correction cannot be taken."""
    allowed = FIELDS.get(correct.kind)
    if allowed is None:
        raise Refused(f"{correct.kind!r} can't be corrected; what can is {', '.join(FIELDS)}")
    what = words_of(correct.kind, correct.subject)
    told = state.food.find((correct.kind, correct.subject, correct.at))
    if told is None:
        raise Refused(
            f"there is no {what} that was logged at {rfc3339(correct.at)}, or it was undone; "
            "see the ledger (swimup ledger list)"
        )
    for name, value in correct.values.items():
        form = allowed.get(name)
        if form is None:
            raise Refused(f"{name[:60]!r} of the {what} can't be corrected; what can is {', '.join(allowed)}")
        if not _fits(value, form):
            shown = form if isinstance(form, str) else " or ".join(form)
            raise Refused(f"{name} is {str(value)[:60]!r}; allowed is {shown}")
    if correct.gone and correct.values:
        raise Refused(f"either the {what} is taken away or something of it is another; say one of the two")
    before, after = told.now, amend(told.entry, [*told.corrections, correct])
    if before == after:
        raise Refused(f"nothing of the {what} would be another")
    if "hatched_fraction" in correct.values and _has_taught(state, correct.subject):
        raise Refused(
            f"the tin has learned from {correct.subject} already, with the share that was told then; "
            "the number of nauplii and the time can still be corrected"
        )
    check_change(state, told, after, correct.logged)


def check_change(state: State, told: Told, after: Standing | None, now: Ms) -> None:
    """Raise ``Refused`` when an entry cannot become ``after`` (``None``: be taken away)."""
    before = told.now
    if before == after:
        return  # another correction of it stands
    if after is not None:
        if after.time > max(now, after.logged):
            raise Refused(f"that is later than now ({clock(now, state.site.timezone, now)})")
        _check_values(state, told, after)
    if isinstance(told.entry, Start):
        _check_start(state, before, after)
    if isinstance(told.entry, Harvest):
        _check_harvest(state, told, after)
    if isinstance(told.entry, Brood) and after is None:
        _check_brood_gone(state, told.entry)
    check_stores(state, told, after, now)


def check_stores(state: State, told: Told, after: Standing | None, now: Ms) -> None:
    """Raise ``Refused`` when more would have been taken out of a store than it held, at any time."""
    before = told.now
    if isinstance(after, Chill | Emptied | Drawn) or (isinstance(after, Fed) and after.store):
        store_checks.store_of(state, after.store)
    for name, store in state.cold_stores.items():
        moved = list(store.entries)
        if before in moved:
            moved.remove(before)
        if isinstance(after, AmountEntry) and after.store == name:
            moved.append(after)
        new = new_snags(store, moved)
        if new:
            raise Refused(f"then {short_words(new[0], state.site.timezone, now)}; correct that first")


def _fits(value: Any, form: str | tuple[str, ...]) -> bool:
    if isinstance(form, tuple):
        return value in form
    if value is None:
        return form in (NUMBER_OR_NONE, COUNT_OR_NONE, TIME_OR_NONE)
    if form == FLAG:
        return isinstance(value, bool)
    if form == WORD:
        return isinstance(value, str) and len(value) <= LONGEST_WORD
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        return False
    return form in (NUMBER, NUMBER_OR_NONE) or isinstance(value, int)


def _has_taught(state: State, batch: str) -> bool:
    return any(taught.batch == batch for lot in state.lots.values() for taught in lot.taught)


def _check_values(state: State, told: Told, after: Standing) -> None:
    """What an entry of its kind may say, all else as it is."""
    match after:
        case Start():
            check_start_values(after)
        case Harvest():
            check_share(after.hatched_fraction)
            if after.nauplii is not None and not 0 <= after.nauplii <= store_checks.LARGEST:
                raise Refused(f"nauplii is {after.nauplii:g}; allowed is 0 to {store_checks.LARGEST:g}")
        case Chill():
            store_checks.check_amounts(after)
            if after.batch and after.batch not in state.batches:
                raise Refused(f"there is no batch {after.batch}; give the id of the one they come from, or none")
        case Tin():
            food_checks.check_tin(after)
        case Weighed():
            food_checks.check_weighed(state, after)
        case Fed():
            food_checks.check_fed(_without(state, told), after)
        case Drawn():
            store_checks.check_number(after)
        case Brood() | Counted() | BroodEnded() | Eater():
            brood_book.check(_before(state, told), after)
        case _:
            pass


def _without(state: State, told: Told) -> State:
    """The state as if this entry about food had not been made; only its books are other ones."""
    entries = [one for one in state.food.entries if one is not told.now and one != told.now]
    return replace(state, food=replace(state.food, entries=entries))


def _before(state: State, told: Told) -> State:
    """The state with the broods as they were known when this was logged."""
    earlier: list[BroodEntry] = []
    for other in state.food.ledger:
        if other is told:
            break
        if isinstance(other.now, Brood | Counted | BroodEnded | Eater):
            earlier.append(other.now)
    return replace(state, broods=BroodBook(earlier))


def _about(state: State, batch: str) -> list[Standing]:
    """What stands about a batch, but its start."""
    standing = (told.now for told in state.food.ledger)
    return [one for one in standing if one is not None and not isinstance(one, Start) and _batch_of(one) == batch]


def _batch_of(entry: Standing) -> str:
    return str(getattr(entry, "batch", ""))


def _check_start(state: State, before: Standing | None, after: Standing | None) -> None:
    start = after or before
    assert isinstance(start, Start)  # noqa: S101  (so was the entry)
    later = _about(state, start.batch)
    if after is None:
        if later:
            raise Refused(
                f"{start.batch} can't be taken away: the {_named(later[-1])} is about it; take that away first, "
                "or log that the batch was discarded"
            )
        return
    if start.logged - start.time > OLDEST:
        raise Refused("that is further back than the history of the water reaches")
    first = min((one.time for one in later), default=None)
    if first is not None and start.time > first:
        raise Refused(f"the {_named(min(later, key=lambda one: one.time))} was before that; give an earlier time")
    if before is None:
        _check_free(state, start)


def _check_free(state: State, start: Start) -> None:
    """Whether a batch that was taken away can be in its vessel once more."""
    if start.batch in state.batches:
        raise Refused(f"there is already a batch {start.batch}")
    vessel = state.vessels.get(start.vessel)
    if vessel is not None and vessel.batch is not None:
        raise Refused(f"{start.vessel} holds {vessel.batch.start.batch} now")
    _check_not_used_since(state, start, start.logged)


def _check_not_used_since(state: State, start: Start, since: Ms) -> None:
    later = [told.now for told in state.food.ledger if told.entry.logged > since]
    used = next((one for one in later if isinstance(one, Start) and one.vessel == start.vessel), None)
    if used is not None:
        raise Refused(
            f"{start.vessel} was started again with {used.batch} since; {start.batch} can't be in it any more"
        )


def _check_harvest(state: State, told: Told, after: Standing | None) -> None:
    entry = told.entry
    assert isinstance(entry, Harvest)  # noqa: S101  (the caller has looked)
    batch = state.batches.get(entry.batch)
    if batch is None:
        return
    chilled = chilled_of(state, entry.batch)
    if isinstance(after, Harvest):
        if after.time < batch.start.time:
            raise Refused(f"that is before batch {entry.batch} was started")
        food_checks.check_harvest_covers(state, after, chilled)
        ended = batch.ended
        if told.now is None and ended is not None and not isinstance(ended, Lapse):
            raise Refused(f"batch {entry.batch} has already ended with another entry; take that away first")
        return
    taken = [one for one in _about(state, entry.batch) if isinstance(one, Chill | Fed)]
    if taken:
        raise Refused(f"the {_named(taken[-1])} came out of it; correct that first")
    _check_not_used_since(state, batch.start, entry.logged)


def _check_brood_gone(state: State, brood: Brood) -> None:
    broods = [one for one in state.broods.entries if isinstance(one, Brood) and one.brood == brood.brood]
    standing = [told.now for told in state.food.ledger if isinstance(told.entry, Counted | BroodEnded | Fed)]
    about = [one for one in standing if one is not None and getattr(one, "brood", "") == brood.brood]
    if len(broods) == 1 and about:
        raise Refused(f"the {_named(about[-1])} is about it; take that away first, or log that the brood has ended")


def _named(entry: Standing) -> str:
    subject = next((str(name) for key in ("store", "brood", "batch", "lot") if (name := getattr(entry, key, ""))), "")
    return words_of(kind_of(entry), subject)
