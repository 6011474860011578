"""The part of the engine that takes what is written down: into the state, to the tins that learn from it, and back again."""

from __future__ import annotations

from abc import abstractmethod
from typing import TYPE_CHECKING, Any, Final

from monitor.core import corrections, noting_food, promise, rules, tins
from monitor.core.alarming import Alarming
from monitor.core.corrections import check_stores
from monitor.core.entries import check, comes_too_late
from monitor.core.eta import Belief
from monitor.core.log import (
    BatchEntry,
    Chill,
    Deed,
    Discard,
    Emptied,
    Harvest,
    Lapse,
    LogEntry,
    Seen,
    Settle,
    Start,
    Undo,
    Work,
    subject_of,
)
from monitor.core.log_food import FOOD_ENTRIES, Correct
from monitor.core.lots import Lot
from monitor.core.model import SLOT, BatchChanged, Effect, Learned, Ms
from monitor.core.rules_cysts import sow
from monitor.core.state import Batch, State, VesselState
from monitor.core.tins_held import lot_spec
from monitor.core.undo import UNDO_KEY, Memo

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.log_food import FoodEntry

_PROMISED: Final = (
    "estimate",
    "rule_due",
    "expected",
    "expected_water",
    "foreseen",
    "future",
    "outlooks",
    "promised",
)
"""What the rules have found of a batch meanwhile, which an undone entry about another one leaves as it is."""


class Noting(Alarming):
    """Every entry goes through ``_take``, live or once more after an undo."""

    _learns: bool

    @abstractmethod
    def _forecast(self, batch: Batch, now: Ms, effects: list[Effect]) -> None: ...

    def check(self, entry: LogEntry) -> None:
        """Raise ``Refused`` when an entry cannot be taken; the message is for the keeper."""
        if isinstance(entry, Correct):
            corrections.check(self.state, entry)
        else:
            check(self.state, entry)

    def _chilled(self, entry: Chill | Emptied, effects: list[Effect]) -> None:
        now = max(entry.time, entry.logged)
        self._take(entry, effects)
        noting_food.note(self.state, entry)
        if isinstance(entry, Emptied):
            self._hands_on(entry.store, "the log: the store is empty", now, effects)
        self._look_around(now, effects)

    def _food(self, entry: FoodEntry, effects: list[Effect]) -> None:
        now = max(entry.time, entry.logged)
        self._take(entry, effects)
        noting_food.note(self.state, entry)
        self._look_around(now, effects)

    def _work(self, entry: Work, effects: list[Effect]) -> None:
        now = max(entry.time, entry.logged)
        self._take(entry, effects)
        self._look_around(now, effects, entry.vessel)

    def _entry(self, entry: BatchEntry, effects: list[Effect]) -> None:
        now = max(entry.time, entry.logged)
        too_late = not isinstance(entry, Start | Settle) and comes_too_late(self.state, entry)
        lot = self._take(entry, effects)
        noting_food.note(self.state, entry)
        if too_late:
            return
        if lot is not None:
            self._look([tins.tin_falling(self.state, lot, now)], now, effects)
        if isinstance(entry, Start):
            self._replaced(now, effects)
        if isinstance(entry, Settle):
            self._look(rules.on_vessel(self.state, self.state.vessels[entry.vessel], now), now, effects)
            return
        vessel = self.state.vessels[self.state.batches[entry.batch].start.vessel]
        if isinstance(entry, Harvest | Discard):
            self._hands_on(vessel.spec.id, "the log: the batch has ended", now, effects)
        if isinstance(entry, Lapse):
            self._hands_on(vessel.spec.id, "the monitor: the batch has ended, not logged", now, effects)
        if vessel.batch is not None:
            self._forecast(vessel.batch, now, effects)
        effects.append(BatchChanged(now, entry.batch))
        self._look_around(now, effects, vessel.spec.id)

    def _take(self, entry: Deed | FoodEntry | Correct, effects: list[Effect]) -> Lot | None:
        """Take an entry into the state so that it can be undone, and look at no rule; the tin that it has taught."""
        now = max(entry.time, entry.logged)
        memo, lot = Memo.of(self.state, entry), None
        if isinstance(entry, (Correct, *FOOD_ENTRIES)):
            pass  # its books are made from the log
        elif isinstance(entry, Chill | Emptied):
            self.state.cold_stores[entry.store].take(entry)
        elif isinstance(entry, Work):
            self.state.vessels[entry.vessel].take(entry)
        else:
            if isinstance(entry, Harvest | Discard) and not comes_too_late(self.state, entry):
                known = dict(self.state.lots)
                lot = self._teach(entry, now, effects)
                memo.lot = None if lot is None else (lot.id, known.get(lot.id))
            self._record(entry)
        if isinstance(entry, Start):
            sow(self.state, entry)
            effects.append(Learned(now, f"prior/{entry.batch}", self.lot(entry.lot).document()))
        self.state.journal.add(memo, now)
        if memo.document() is not None:
            effects.append(Learned(now, UNDO_KEY, self.state.journal.document()))
        return lot

    # -- taking one back

    def _undo(self, undo: Undo, effects: list[Effect]) -> None:
        """Go back over the entry and all that came after, take those once more, and look at all rules again."""
        state, journal, now = self.state, self.state.journal, max(undo.time, undo.logged)
        place = journal.find(undo)
        undone, *later = journal.memos[place:]
        told = state.food.find(undone.key)
        if told is not None:
            check_stores(state, told, None, now)
        others = _promises(state, [one.entry for one in later], subject_of(undone.entry))
        for memo in reversed(journal.memos[place:]):
            memo.back(state)
        del journal.memos[place:]
        taken: list[Effect] = []
        for memo in later:
            self._take(memo.entry, taken)
            journal.memos[-1].named = memo.named
        if told is not None:
            state.food.ledger.remove(told)
        noting_food.refold(state)
        journal.undone[undone.key] = now
        for batch, values in others:
            _give(state.batches.get(batch), values)
        effects.extend(effect for effect in taken if isinstance(effect, Learned) and effect.key.startswith("prior/"))
        self._tell_undone([undone, *later], now, effects)

    def _tell_undone(self, memos: list[Memo], now: Ms, effects: list[Effect]) -> None:
        """What is to be kept, told and looked at after going back over these."""
        state = self.state
        for vessel in state.vessels.values():
            vessel.time_passes(now)
        for lot in dict.fromkeys(memo.lot[0] for memo in memos if memo.lot is not None):
            known = state.lots.get(lot)
            effects.append(Learned(now, f"lot/{lot}", {} if known is None else known.document()))
            self._look([tins.tin_falling(state, self.lot(lot), now)], now, effects)
        touched = {m.vessel.spec.id: m.vessel for m in memos if m.vessel is not None}
        for vessel in touched.values():
            effects.append(Learned(now, f"vessel/{vessel.spec.id}", {"held": list(vessel.habit.held)}))
            if vessel.batch is not None:
                self._forecast(vessel.batch, now, effects)
        for name in dict.fromkeys(name for memo in memos if (name := getattr(memo.entry, "batch", ""))):
            batch = state.batches.get(name)
            effects.append(Learned(now, f"expected/{name}", {} if batch is None else promise.document(batch)))
            effects.append(BatchChanged(now, name))
        effects.append(Learned(now, UNDO_KEY, state.journal.document()))
        self._look_around(now, effects, *touched)

    def lot(self, name: str) -> Lot:
        """A tin as it is known; one that is nowhere configured is a new tin."""
        known = self.state.lots.get(name)
        if known is not None:
            return known
        spec = lot_spec(self.state, name)
        kin = [
            lot
            for lot in self.state.lots.values()
            if spec.strain and lot_spec(self.state, lot.id).strain == spec.strain
        ]
        return Lot.new(spec, kin)

    def _teach(self, entry: Harvest | Discard, now: Ms, effects: list[Effect]) -> Lot | None:
        """What a finished batch says of its tin, unless what befell it says more than the tin; the tin as it is then."""
        batch = self.state.batches[entry.batch]
        belief = batch.belief
        if belief is None or not self._learns:
            return None
        vessel = self.state.vessels[batch.start.vessel]
        vessel.habit = vessel.habit.after(vessel.water, belief.room, batch.start.time // SLOT, entry.time // SLOT)
        effects.append(Learned(now, f"vessel/{vessel.spec.id}", {"held": list(vessel.habit.held)}))
        if entry.time // SLOT < now // SLOT:
            belief.start_over()  # what befell the vessel after the end says nothing of the tin
        if isinstance(entry, Harvest):
            belief.see(entry)
        batch.untaught = belief.teaches(entry.time)
        if batch.untaught:
            return None
        if any(taught.batch == entry.batch for taught in self.lot(batch.start.lot).taught):
            batch.untaught = "its tin has learned from it already, by a harvest that was taken away"
            return None
        lot = self.lot(batch.start.lot).learn(entry.batch, now, belief.prior, belief.points, belief.weights)
        self.state.lots[lot.id] = lot
        effects.append(Learned(now, f"lot/{lot.id}", lot.document()))
        return lot

    def _record(self, entry: BatchEntry) -> VesselState:
        """Take an entry into the state, without looking at any rule; returns its vessel."""
        if isinstance(entry, Settle):
            vessel = self.state.vessels[entry.vessel]
            vessel.settle_until = entry.until if entry.until > entry.logged else None
            return vessel
        if isinstance(entry, Start):
            vessel = self.state.vessels[entry.vessel]
            prior = self.lot(entry.lot).before_next()
            room = self.state.room if self.state.has_room_probe else None
            belief = Belief(entry, prior, vessel.water, vessel.air if vessel.air_probes else None, room, vessel.habit)
            for other in self.state.batches.values():
                if other.start.vessel == entry.vessel and isinstance(other.ended, Lapse):
                    other.belief = None  # its vessel is used again: it can't be taken up any more
            vessel.batch = self.state.batches[entry.batch] = Batch(entry, belief)
            return vessel
        batch = self.state.batches[entry.batch]
        vessel = self.state.vessels[batch.start.vessel]
        if comes_too_late(self.state, entry):
            if isinstance(entry, Harvest | Discard):
                batch.ended, batch.untaught = entry, "it was logged after it had been closed"
            return vessel
        if isinstance(entry, Lapse) and batch.ended is not None:
            return vessel  # a clock that was set back has put it behind the keeper's own entry
        if isinstance(batch.ended, Lapse):
            batch.ended, vessel.batch = None, batch  # it was there all the time
        if isinstance(entry, Seen):
            if batch.belief is not None:
                batch.belief.see(entry)
            batch.expected, batch.outlooks = None, []  # new evidence: what can be counted on is reckoned anew
            return vessel
        batch.ended = entry
        if not isinstance(entry, Lapse):
            batch.belief = None  # a late word can still take up what nobody wrote of
        if vessel.batch is batch:
            vessel.batch, vessel.settle_until = None, None
        return vessel


def _promises(state: State, entries: Sequence[LogEntry], but: str) -> list[tuple[str, dict[str, Any]]]:
    names = sorted({getattr(entry, "batch", "") for entry in entries} - {"", but})
    return [(name, {field: getattr(state.batches[name], field) for field in _PROMISED}) for name in names]


def _give(batch: Batch | None, values: dict[str, Any]) -> None:
    for name, value in values.items() if batch is not None else ():
        setattr(batch, name, value)
