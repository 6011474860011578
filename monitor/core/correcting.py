"""The part of the engine that takes corrections: an entry that was wrong becomes what is right, and the state with it.

The state is then what it would be had the entry been right from the beginning; but for what a tin has learned meanwhile.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core import noting_food, promise
from monitor.core.amended import amend, correction_of
from monitor.core.corrections import check_change
from monitor.core.eta import Belief
from monitor.core.log import Discard, Harvest, Lapse, Seen, Start
from monitor.core.model import BatchChanged, Effect, Learned, Ms, Refused
from monitor.core.noting import Noting
from monitor.core.undo import UNDO_KEY

if TYPE_CHECKING:
    from monitor.core.amended import Told
    from monitor.core.evidence import Evidence
    from monitor.core.log import Standing, Undo
    from monitor.core.log_food import Correct
    from monitor.core.state import Batch


class Correcting(Noting):
    """Corrects what was taken, and takes corrections back."""

    def _correct(self, correct: Correct, effects: list[Effect]) -> None:
        now = max(correct.time, correct.logged)
        told = self.state.food.find((correct.kind, correct.subject, correct.at))
        if told is None:
            return  # ``check`` has refused it
        before = told.now
        told.corrections.append(correct)
        self._amend(told, before, now, effects)
        self._take(correct, effects)
        self._tell_amended(told, now, effects)

    def _undo(self, undo: Undo, effects: list[Effect]) -> None:
        if undo.kind != "correct":
            super()._undo(undo, effects)
            return
        state, journal, now = self.state, self.state.journal, max(undo.time, undo.logged)
        memo = journal.memos[journal.find(undo)]
        found = correction_of(state.food.ledger, undo)
        if found is None:
            raise Refused("what was corrected was undone since")
        told, correct = found
        others = [one for one in told.corrections if one is not correct]
        check_change(state, told, amend(told.entry, others), now)
        before = told.now
        told.corrections = others
        self._amend(told, before, now, effects)
        journal.memos = [one for one in journal.memos if one is not memo]
        journal.undone[undo.kind, undo.subject, undo.at] = now
        effects.append(Learned(now, UNDO_KEY, journal.document()))
        self._tell_amended(told, now, effects)

    def _amend(self, told: Told, before: Standing | None, now: Ms, effects: list[Effect]) -> None:
        """From what an entry was to what it is now; ``told`` is what it is now."""
        after = told.now
        journal = self.state.journal
        for memo in journal.memos:
            if memo.key == told.key and after is not None:
                memo.named, memo.entry = memo.key, after
        if after is None:
            journal.memos = [memo for memo in journal.memos if memo.key != told.key]
        if isinstance(told.entry, Start):
            self._amend_start(told.entry.batch, before, after, now, effects)
        elif isinstance(told.entry, Harvest):
            self._amend_harvest(told.entry.batch, after, now, effects)
        noting_food.refold(self.state)

    def _tell_amended(self, told: Told, now: Ms, effects: list[Effect]) -> None:
        """What is to be told and looked at."""
        batch = self.state.batches.get(getattr(told.entry, "batch", ""))
        if isinstance(told.entry, Start | Harvest):
            if batch is not None and batch.ended is None and batch.belief is not None:
                self._forecast(batch, now, effects)
            effects.append(BatchChanged(now, told.entry.batch))
        self._look_around(now, effects, *([] if batch is None else [batch.start.vessel]))

    # -- batches

    def _amend_start(
        self, name: str, before: Standing | None, after: Standing | None, now: Ms, effects: list[Effect]
    ) -> None:
        batch = self.state.batches.get(name)
        if after is None:
            if batch is not None:
                self._never_started(batch, now, effects)
            return
        if not isinstance(after, Start) or after.vessel not in self.state.vessels:
            return
        if batch is None:
            self._record(after)
            effects.append(Learned(now, f"prior/{name}", self.lot(after.lot).document()))
            return
        batch.start = after
        other_tin = not isinstance(before, Start) or before.lot != after.lot
        for belief in self._beliefs_of(batch):
            belief.start = after
            if other_tin:
                belief.prior = self.lot(after.lot).before_next()
            belief.go_back(tuple(belief.evidence))
            belief.ready_cloud = belief.future = None
        if other_tin:
            effects.append(Learned(now, f"prior/{name}", self.lot(after.lot).document()))
        self._expect_anew(batch, now, effects)

    def _never_started(self, batch: Batch, now: Ms, effects: list[Effect]) -> None:
        name, vessel = batch.start.batch, self.state.vessels[batch.start.vessel]
        del self.state.batches[name]
        if vessel.batch is batch:
            vessel.batch = None
        effects.append(Learned(now, f"expected/{name}", {}))
        for other in self.state.batches.values():
            used = [
                one.start.batch
                for one in self.state.batches.values()
                if one.start.vessel == vessel.spec.id and one.start.logged > other.start.logged
            ]
            if other.start.vessel == vessel.spec.id and isinstance(other.ended, Lapse) and not used:
                self._restore(other, now, effects)  # it can be taken up again

    def _amend_harvest(self, name: str, after: Standing | None, now: Ms, effects: list[Effect]) -> None:
        batch = self.state.batches.get(name)
        if batch is None:
            return
        if after is None:
            self._restore(batch, now, effects)
            return
        if not isinstance(after, Harvest):
            return
        batch.ended, batch.belief = after, None
        vessel = self.state.vessels[batch.start.vessel]
        if vessel.batch is batch:
            vessel.batch = None

    def _restore(self, batch: Batch, now: Ms, effects: list[Effect]) -> None:
        """A batch as its entries leave it, when the one that ended it is gone; nothing was started in its vessel since."""
        name, vessel = batch.start.batch, self.state.vessels[batch.start.vessel]
        evidence: list[Evidence] = []
        ended: Harvest | Discard | Lapse | None = None
        for told in self.state.food.ledger:
            entry = told.now
            if isinstance(entry, Seen | Harvest | Discard | Lapse) and entry.batch == name:
                if isinstance(entry, Seen):
                    evidence.append(entry)
                    ended = None if isinstance(ended, Lapse) else ended
                elif not isinstance(entry, Lapse) or ended is None:
                    ended = entry
        batch.ended, batch.untaught = ended, ""
        if isinstance(ended, Harvest | Discard):
            return
        room = self.state.room if self.state.has_room_probe else None
        lot = self.lot(batch.start.lot)
        air = vessel.air if vessel.air_probes else None
        batch.belief = Belief(batch.start, lot.before_next(), vessel.water, air, room, vessel.habit)
        for entry in evidence:
            batch.belief.see(entry)
        if ended is None:
            vessel.batch = batch
        effects.append(Learned(now, f"prior/{name}", lot.document()))
        self._expect_anew(batch, now, effects)

    def _expect_anew(self, batch: Batch, now: Ms, effects: list[Effect]) -> None:
        """What was foreseen of another batch than it is counts for nothing."""
        batch.estimate = batch.expected = batch.expected_water = batch.foreseen = batch.promised = None
        batch.outlooks, batch.rule_due = [], 0
        effects.append(Learned(now, f"expected/{batch.start.batch}", promise.document(batch)))

    def _beliefs_of(self, batch: Batch) -> list[Belief]:
        """Of the batch, and those that an undo would bring back."""
        found = [] if batch.belief is None else [batch.belief]
        for memo in self.state.journal.memos:
            found += [memo.belief] if memo.batch is batch and memo.belief is not None else []
            found += [belief for other, belief in memo.freed if other is batch]
        return list({id(one): one for one in found}.values())
