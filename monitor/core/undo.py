"""Taking back what was just logged: the newest entries, each with what it changed as that was before.

An entry is undone by going back over it and all that came after, and taking those once more. What cannot be told from the
log, what a tin and a vessel had been known as and what a batch was expected to do, is kept for a restart in between.
"""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Any, Final

from monitor.core import promise
from monitor.core.amended import told_of
from monitor.core.light import light
from monitor.core.log import (
    Chill,
    Discard,
    Emptied,
    Harvest,
    Key,
    Lapse,
    Seen,
    Settle,
    Start,
    Undo,
    Work,
    key_of,
    kind_of,
)
from monitor.core.log_food import FOOD_ENTRIES, Brood, Correct
from monitor.core.lots import Lot
from monitor.core.model import MINUTE, Ms, Refused
from monitor.core.water import Habit
from monitor.core.wording import duration, rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.eta import Belief
    from monitor.core.evidence import Evidence
    from monitor.core.log import Deed, LogEntry, Standing
    from monitor.core.log_food import FoodEntry
    from monitor.core.promise import Outlook
    from monitor.core.state import Batch, State, VesselState

WITHIN: Final = 10 * MINUTE
UNDO_KEY: Final = "undo/recent"
"""Under this is kept what the log cannot tell: see ``Learned``."""
_WORDS: Final = {
    "start": "start of",
    "seen": "what was seen in",
    "harvest": "harvest of",
    "discard": "discard of",
    "settle": "settling of",
    "work": "work on",
    "chill": "nauplii put into",
    "emptied": "emptying of",
    "tin": "tin",
    "weighed": "weighing of",
    "fed": "feeding of",
    "drawn": "nauplii taken out of",
    "brood": "brood",
    "counted": "count of",
    "broodended": "end of",
    "eater": "needs of",
    "correct": "correction about",
}
UNDOABLE: Final = tuple(_WORDS)
"""Kinds of entries that can be taken back: all that a keeper makes."""


def words_of(kind: str, subject: str) -> str:
    """``harvest of ash-2026-03-02``."""
    return f"{_WORDS.get(kind, kind)} {subject}"


@light(frozen=False)
class Memo:
    """An entry, and what it has changed as that was before."""

    entry: Deed | FoodEntry | Correct
    batch: Batch | None = None  # None for the one that a start has made
    ended: Harvest | Discard | Lapse | None = None
    untaught: str = ""
    belief: Belief | None = None
    evidence: tuple[Evidence, ...] = ()
    expected: dict[str, Any] | None = None  # of an entry about what was seen
    outlooks: tuple[Outlook, ...] = ()
    vessel: VesselState | None = None
    held: Batch | None = None
    settle_until: Ms | None = None
    work_until: Ms | None = None
    habit: Habit | None = None
    lot: tuple[str, Lot | None] | None = None  # of the tin that was taught
    freed: tuple[tuple[Batch, Belief], ...] = ()  # what could be taken up again until a start
    named: Key | None = None  # of an entry that was corrected since

    @property
    def key(self) -> Key:
        return key_of(self.entry) if self.named is None else self.named

    @property
    def text(self) -> str:
        return words_of(*self.key[:2])

    @staticmethod
    def of(state: State, entry: Deed | FoodEntry | Correct) -> Memo:
        """Of an entry that is about to be taken. Books of food and of stores are made anew from the log, without a memo."""
        memo = Memo(entry)
        if isinstance(entry, (Chill, Emptied, Correct, *FOOD_ENTRIES)):
            return memo
        batch = state.batches.get(getattr(entry, "batch", ""))
        name = batch.start.vessel if batch is not None else getattr(entry, "vessel", "")
        memo.vessel = vessel = state.vessels[name]
        memo.held = vessel.batch
        memo.settle_until, memo.work_until = vessel.settle_until, vessel.work_until
        if isinstance(entry, Start):
            others = [b for b in state.batches.values() if b.start.vessel == name and isinstance(b.ended, Lapse)]
            memo.freed = tuple((other, other.belief) for other in others if other.belief is not None)
        elif batch is not None:
            memo.batch, memo.ended, memo.untaught, memo.belief = batch, batch.ended, batch.untaught, batch.belief
            memo.evidence = () if batch.belief is None else tuple(batch.belief.evidence)
            if isinstance(entry, Harvest | Discard) and batch.belief is not None:
                memo.habit = vessel.habit
            if isinstance(entry, Seen):
                memo.expected, memo.outlooks = promise.document(batch), tuple(batch.outlooks)
        return memo

    def back(self, state: State) -> None:
        """Put back what was before; of the newest entry only."""
        if self.vessel is not None:
            self._vessel_back(self.vessel)
        if self.lot is not None:
            name, lot = self.lot
            state.lots.pop(name, None)
            if lot is not None:
                state.lots[name] = lot
        if isinstance(self.entry, Start):
            self._never_started(state, self.entry)
        if self.batch is not None:
            self._batch_back(self.batch)

    def _vessel_back(self, vessel: VesselState) -> None:
        vessel.settle_until, vessel.work_until = self.settle_until, self.work_until
        if not isinstance(self.entry, Settle | Work):
            vessel.batch = self.held
        if self.habit is not None:
            vessel.habit = self.habit

    def _never_started(self, state: State, start: Start) -> None:
        del state.batches[start.batch]
        for other, belief in self.freed:
            other.belief = belief

    def _batch_back(self, batch: Batch) -> None:
        batch.ended, batch.untaught, batch.belief = self.ended, self.untaught, self.belief
        if self.belief is not None:
            self.belief.go_back(self.evidence)
            if self.habit is not None:
                self.belief.habit = self.habit
        if self.expected is not None:
            promise.recall(batch, self.expected)
            batch.outlooks = list(self.outlooks)

    # -- for a restart

    def document(self) -> dict[str, Any] | None:
        """What the log does not tell; ready for JSON."""
        if self.habit is None and self.expected is None:
            return None
        kind, subject, at = self.key
        lot = None if self.lot is None else [self.lot[0], None if self.lot[1] is None else self.lot[1].document()]
        held = None if self.habit is None else list(self.habit.held)
        return {"kind": kind, "subject": subject, "at": at, "lot": lot, "held": held, "expected": self.expected}

    def recall(self, document: dict[str, Any]) -> None:
        """What ``document`` gave; ValueError or KeyError for another version's tin."""
        if document["lot"] is not None:
            name, lot = document["lot"]
            self.lot = name, None if lot is None else Lot.from_document(lot)
        if document["held"] is not None:
            self.habit = Habit(tuple(document["held"]))
        self.expected = document["expected"]


@light(frozen=False)
class Journal:
    """The memos of the newest entries, in the order in which they were taken."""

    memos: list[Memo] = field(default_factory=list)
    undone: dict[Key, Ms] = field(default_factory=dict)  # when
    kept: dict[Key, dict[str, Any]] = field(default_factory=dict)  # documents from before a restart

    def add(self, memo: Memo, now: Ms) -> None:
        self.memos = [one for one in self.memos if now - one.entry.logged <= WITHIN]
        self.undone = {key: when for key, when in self.undone.items() if now - when <= WITHIN}
        self.memos.append(memo)

    def recall(self, memo: Memo) -> None:
        """An entry from before a restart; where what it changed is not known, it and all before it stay as they are."""
        document = self.kept.get(memo.key)
        try:
            if document is not None:
                memo.recall(document)
        except (KeyError, ValueError):
            document = None
        lost = document is None and memo.document() is not None
        self.memos = [] if lost else [*self.memos, memo]

    def document(self) -> dict[str, Any]:
        """Under ``UNDO_KEY``."""
        found = [memo.document() for memo in self.memos]
        return {"before": [one for one in found if one is not None]}

    def beliefs(self) -> dict[str, Belief]:
        """Of batches that would be open again, by id."""
        return {m.batch.start.batch: m.belief for m in self.memos if m.batch is not None and m.belief is not None}

    def clock_set(self, by: Ms) -> None:
        for memo in self.memos:
            memo.settle_until = None if memo.settle_until is None else memo.settle_until + by
            memo.work_until = None if memo.work_until is None else memo.work_until + by

    # -- what can be undone

    def find(self, undo: Undo) -> int:
        """Place of the memo of what is to be undone. Raises ``Refused``; the message is for the keeper."""
        key = undo.kind, undo.subject, undo.at
        known = {memo.key: place for place, memo in enumerate(self.memos)}
        what = words_of(undo.kind, undo.subject)
        if key in self.undone:
            raise Refused(f"the {what} was already undone")
        if undo.kind not in UNDOABLE:
            raise Refused(f"{undo.kind!r} can't be undone; what can is {', '.join(UNDOABLE)}")
        if undo.logged - undo.at > WITHIN:
            raise Refused(
                f"the {what} was logged {duration(undo.logged - undo.at)} ago; an entry can be undone for "
                f"{WITHIN // MINUTE} min after it was logged"
            )
        if key not in known:
            can = ", ".join(memo.text for memo in self.undoable(undo.logged)) or "nothing"
            raise Refused(
                f"there is no {what} that was logged at {rfc3339(undo.at)}, or it was undone; to undo is now: {can}"
            )
        why = self.why_not(known[key])
        if why:
            raise Refused(f"the {what} can't be undone: {why}")
        return known[key]

    def undoable(self, now: Ms) -> list[Memo]:
        """What can be undone just now, newest first."""
        return [
            memo
            for place, memo in reversed(list(enumerate(self.memos)))
            if memo.key[0] in UNDOABLE and now - memo.entry.logged <= WITHIN and not self.why_not(place)
        ]

    def why_not(self, place: int) -> str:
        """What was logged since stands on it: a sentence, or nothing."""
        entry, vessel, later = self.memos[place].entry, self.memos[place].vessel, self.memos[place + 1 :]
        key = self.memos[place].key
        corrected = [
            m for m in later if isinstance(m.entry, Correct) and key == (m.entry.kind, m.entry.subject, m.entry.at)
        ]
        if corrected:
            return _first(corrected)
        if isinstance(entry, Start):
            return _first([m for m in later if getattr(m.entry, "batch", "") == entry.batch])
        if isinstance(entry, Brood):
            return _first([m for m in later if getattr(m.entry, "brood", "") == entry.brood])
        if isinstance(entry, Chill | Emptied):
            return _first([m for m in later if getattr(m.entry, "store", "") == entry.store])
        if not isinstance(entry, Harvest | Discard) or vessel is None:
            return ""
        return _first([m for m in later if isinstance(m.entry, Start) and m.entry.vessel == vessel.spec.id])


def _first(later: list[Memo]) -> str:
    if not later:
        return ""
    if kind_of(later[-1].entry) not in UNDOABLE:
        return "the batch was closed since"
    return f"the {later[-1].text} was logged since; undo that first"


def standing_of(entries: Iterable[LogEntry]) -> list[Standing]:
    """A log, in order of ``logged``, as if what was undone had never been made, and what was corrected had been right."""
    return [now for told in told_of(entries)[0] if (now := told.now) is not None]


def without_undone(entries: Iterable[LogEntry]) -> list[Deed]:
    """The same, of vessels, batches and cold stores alone."""
    return [entry for entry in standing_of(entries) if not isinstance(entry, FOOD_ENTRIES)]


def undone_of(entries: Iterable[LogEntry]) -> list[tuple[Deed, Undo]]:
    """What of a log about vessels, batches and cold stores was taken back, each with what took it back."""
    others = (*FOOD_ENTRIES, Correct, Undo)
    return [(entry, undo) for entry, undo in told_of(entries)[1] if not isinstance(entry, others)]
