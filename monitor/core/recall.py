"""Coming back after a restart: all the engine holds is rebuilt from what the store kept.

Slots first, then readings, then what was learned of tins, then the log, then what batches began with, then alarms.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from monitor.core import planned, promise
from monitor.core.alarms import HELD_BY_A_PERSON, Memory, clock_set
from monitor.core.amended import told_of
from monitor.core.food_book import LEDGER
from monitor.core.log import Chill, Emptied, Settle, Start, Work
from monitor.core.log_food import FOOD_ENTRIES, Correct
from monitor.core.lots import Lot
from monitor.core.model import DAY, SLOT, Air, Alarm, AlarmState, Measures, Ms, Reading, SlotClosed
from monitor.core.noting_food import refold
from monitor.core.phones import PHONES_KEY, phones_from
from monitor.core.quality import CLOCK_UNSET, accept
from monitor.core.rules_cysts import sow
from monitor.core.slots import CLOCK_SLOTS, OpenSlots
from monitor.core.undo import UNDO_KEY, WITHIN, Memo
from monitor.core.water import Habit

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import ArrayLike

    from monitor.core.amended import Told
    from monitor.core.eta import Belief
    from monitor.core.history import SlotSeries
    from monitor.core.log import BatchEntry, Deed, Key, LogEntry
    from monitor.core.log_food import FoodEntry
    from monitor.core.model import ProbeSpec
    from monitor.core.state import State, VesselState

NEVER: Final[Ms] = np.iinfo(np.int64).max


class Recalling(ABC):
    """The part of the engine that takes back what was kept."""

    state: State
    _slots: dict[str, OpenSlots]

    @abstractmethod
    def _learn(self, reading: Reading) -> tuple[bool, VesselState | None, list[SlotClosed]]: ...

    @abstractmethod
    def _record(self, entry: BatchEntry) -> VesselState: ...

    def recall_slot(self, slot: SlotClosed) -> None:
        """History from before: a closed slot."""
        self.recall_past(slot.probe, [(slot.slot, slot.count, slot.total)])

    def recall_past(self, name: str, told: ArrayLike) -> None:
        """History from before: a probe's closed slots in order of time, shape (k, 3): begin, count, total."""
        probe = self.state.probes.get(name)
        rows = np.asarray(told, dtype=np.int64).reshape(-1, 3)
        sound = (rows[:, 1] > 0) & (rows[:, 0] <= self._latest())
        rows = rows if sound.all() else rows[sound]
        if probe is None or not len(rows):
            return
        begins, counts, totals = rows.T
        self._slots[name].recall(int(begins[-1]) // SLOT)
        probe.recall_all(begins, counts, totals)
        probe.not_ahead(self.state.listening_since)
        for series in self._series_of(probe.spec):
            series.put_all(begins // SLOT, counts, totals)

    def _series_of(self, spec: ProbeSpec) -> Iterator[SlotSeries]:
        """All that is made of what a probe tells."""
        if spec.measures is Measures.ROOM:
            yield self.state.room
        vessel = self.state.vessels.get(spec.vessel or "")
        if vessel is not None and spec.measures in (Measures.WATER, Measures.AIR):
            yield vessel.water if spec.measures is Measures.WATER else vessel.air
        store = self.state.cold_stores.get(spec.store or "")
        if store is not None and spec.measures is Measures.STORE:
            yield store.series
        tank = self.state.tanks.get(spec.tank or "")
        if tank is not None:
            yield tank

    def _latest(self) -> Ms:
        """Only a clock that was far ahead can have written what is later; one that begins in 1970 is no judge of it."""
        now = self.state.listening_since
        return now + DAY if now >= CLOCK_UNSET else NEVER

    def recall_reading(self, reading: Reading) -> None:
        """A stored reading: counted where its slot was not closed yet, else only what was told last, and exactly when."""
        open_slots = self._slots.get(reading.probe)
        if open_slots is None or reading.time > self._latest():
            return
        if reading.time // SLOT >= open_slots.closed_upto:
            self._learn(reading)
        else:
            accept(self.state.probes[reading.probe], reading)
        self.state.probes[reading.probe].not_ahead(self.state.listening_since)

    def recall_learned(self, key: str, document: dict[str, Any]) -> None:
        """What ``Learned`` gave to keep: tins, vessels and what can be undone before the log, batches after.

        ValueError for another version's.
        """
        kind, _, name = key.partition("/")
        if not document:
            return  # it was taken back
        if kind == "lot":
            self.state.lots[name] = Lot.from_document(document)
        elif kind == "vessel":
            if name in self.state.vessels:
                self.state.vessels[name].habit = Habit(tuple(document["held"]))
        elif kind == "food":
            planned.recall(self.state, key, document)
        elif kind == "house":
            self.state.house.recall(name, document)
        elif key == PHONES_KEY:
            self.state.phones = phones_from(document)
        elif key == UNDO_KEY:
            self.state.journal.kept = {(one["kind"], one["subject"], one["at"]): one for one in document["before"]}
        else:
            self._recall_of_batch(kind, name, document)

    def _recall_of_batch(self, kind: str, name: str, document: dict[str, Any]) -> None:
        batch, belief = self.state.batches.get(name), self._beliefs().get(name)
        if batch is None or belief is None:
            return
        if kind == "prior":
            belief.prior = Lot.from_document(document).before_next()
            belief.start_over()
        elif kind == "expected" and batch.expected is None:
            promise.recall(batch, document)

    def recall_log(self, entries: Iterable[LogEntry]) -> None:
        """The whole log from before, in the order in which it was logged; yields no effects and looks at no rule."""
        told = told_of(entries)[0]
        self.state.food.ledger = [one for one in told if isinstance(one.entry, LEDGER)]
        corrections = [correct for one in told for correct in one.corrections]
        everything: list[Told | Correct] = [*told, *corrections]
        for one in sorted(everything, key=_logged):
            if isinstance(one, Correct):
                self._remember(one)
            elif (now := one.now) is not None and not isinstance(now, FOOD_ENTRIES):
                self.recall_entry(now, one.key)
            elif now is not None:
                self._remember(now, one.key)
        refold(self.state)

    def _remember(self, entry: FoodEntry | Correct, key: Key | None = None) -> None:
        """So that it can still be undone; the books are made from the ledger."""
        if self.state.listening_since - entry.logged <= WITHIN:
            memo = Memo.of(self.state, entry)
            memo.named = key
            self.state.journal.recall(memo)

    def recall_entry(self, entry: Deed, key: Key | None = None) -> None:
        """One entry from before, that was not undone, as it is right; ``key`` is that under which it was logged."""
        if isinstance(entry, Start):
            sow(self.state, entry)  # whatever became of the vessel, it is no longer in the tin
        if not self._knows(entry):
            return
        recent = self.state.listening_since - entry.logged <= WITHIN
        memo = Memo.of(self.state, entry) if recent else None
        if isinstance(entry, Work):
            self.state.vessels[entry.vessel].take(entry)
        elif not isinstance(entry, Chill | Emptied):
            self._record(entry)
        if memo is not None:
            memo.named = key
            self.state.journal.recall(memo)

    def _knows(self, entry: Deed) -> bool:
        """Whether what it is about is still configured: otherwise its record stays in the store."""
        if isinstance(entry, Chill | Emptied):
            return entry.store in self.state.cold_stores
        if isinstance(entry, Start | Settle | Work):
            return entry.vessel in self.state.vessels
        return getattr(entry, "batch", "") in self.state.batches

    def _beliefs(self) -> dict[str, Belief]:
        batches = self.state.batches.items()
        return self.state.journal.beliefs() | {name: b.belief for name, b in batches if b.belief is not None}

    def batches_believed(self) -> list[str]:
        """Ids of the batches of which more is to be recalled than the log: open ones, and what can still be taken up."""
        return list(self._beliefs())

    def reading_recall_from(self) -> Ms:
        """From when on stored readings are needed besides the closed slots; call after the slots."""
        newest = max((open_slots.closed_upto for open_slots in self._slots.values()), default=0)
        return max((newest - 2 * CLOCK_SLOTS) * SLOT, 0)

    def recall_alarm(self, alarm: Alarm, *, told: bool) -> None:
        """An alarm as it stood; it goes on from there."""
        if alarm.state is AlarmState.NORMAL:
            return
        now = self.state.listening_since
        since = min(alarm.since, now)  # the clock may stand before it
        new = alarm.state in (AlarmState.RETURNED, *HELD_BY_A_PERSON)  # what comes back or was held is a new trouble
        memory = Memory(alarm=alarm, told=told)
        if alarm.changed > now:  # no shelf may last longer because of that
            memory = clock_set(memory, now - alarm.changed)
        self.state.memories[alarm.id] = replace(memory, begun=None if new else since)
        vessel = self.state.vessels.get(alarm.subject)
        air = None if vessel is None else vessel.newest_air()
        known = {"air-stopped": Air.STOPPED, "air-weak": Air.WEAK}.get(alarm.rule)
        if known is not None and air is not None and air.air_state == known:
            air.air_since = alarm.since  # the history knows it only to five minutes


def _logged(one: Told | Correct) -> Ms:
    return one.logged if isinstance(one, Correct) else one.entry.logged
