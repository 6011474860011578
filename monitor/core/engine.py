"""One thread of decisions: every input is an event, and an event yields effects for the shell to carry out.

The engine is deterministic: the same events in the same order give the same effects and estimates, on a bench or in a replay.
It reads no clock; ``now`` is always the time of the event.
"""

from __future__ import annotations

from typing import Final

from monitor.core import (
    alarms,
    at_rest,
    causes,
    planned,
    promise,
    rules,
    rules_forgotten,
    rules_probes,
    rules_site,
    rules_weekly,
)
from monitor.core.correcting import Correcting
from monitor.core.food import FoodAhead, SkipStart
from monitor.core.house import Began, Host
from monitor.core.log import Chill, Discard, Emptied, Harvest, Lapse, Seen, Settle, Start, Undo, Work
from monitor.core.log_food import Brood, BroodEnded, Correct, Counted, Drawn, Eater, Fed, Tin, Weighed
from monitor.core.looks import A_TICK, Looks
from monitor.core.model import (
    AIR_MILLI,
    MINUTE,
    SECOND,
    SLOT,
    Acknowledge,
    Air,
    BrokerLink,
    ClockSet,
    ClockUnset,
    Effect,
    Estimate,
    Event,
    Learned,
    Logged,
    Measures,
    Ms,
    ProbeSpec,
    PutBackInService,
    Reading,
    Refused,
    Sample,
    Shelve,
    SiteSpec,
    SlotClosed,
    TakeOutOfService,
    Tick,
    Unshelve,
)
from monitor.core.phones import PhoneGone, Subscribe, Unsubscribe
from monitor.core.quality import accept, judge
from monitor.core.slots import CLOCK_SLOTS, OpenSlots
from monitor.core.state import Batch, State, VesselState
from monitor.core.why import Decisions

RULES_EVERY: Final = 10 * MINUTE
"""How often the rules that need a forecast look at a new one; at once after a log entry and when ready is due."""

_WATER, _AIR, _ROOM, _STORE = Measures.WATER, Measures.AIR, Measures.ROOM, Measures.STORE  # see ``quality``


class Engine(Correcting):
    """Owns the state. Not thread-safe: one thread of decisions moves it."""

    def __init__(self, site: SiteSpec, now: Ms, *, rules: bool = True, learns: bool = True) -> None:
        self._rules = rules
        self._learns = learns
        self._decisions = Decisions()
        self.state = State.of(site)
        self.state.listening_since = self.state.counting_since = now
        self.state.broker_since = now
        self._slots = {name: OpenSlots(name) for name in site.probes}
        self._slot_seen = 0  # the slot in which the slow rules last looked
        self._forecasts_wait = False  # for the next tick
        self._looks = Looks(site.vessels)

    # -- coming in

    def judge(
        self, probe: str, sample: Sample, arrived: Ms, *, retained: bool = False, queued: bool = False
    ) -> Reading:
        """Make a reading of a probe's sample; the shell stores it, and steps with it when it is new."""
        return judge(self.state.probes[probe], sample, arrived, retained=retained, queued=queued)

    def heard(self, probe: str, arrived: Ms, reason: str) -> None:
        """A message of this probe could not be read; it talks, but tells nothing usable."""
        state = self.state.probes[probe]
        state.heard, state.last_reason = arrived, reason
        state.doubts.add(arrived, state.spec.every, bad=True)

    def step(self, event: Event) -> list[Effect]:
        """Move the state by one event; raises ``Refused`` for a log entry or command that cannot be taken (state unchanged)."""
        effects: list[Effect] = []
        match event:
            case Reading():
                self._reading(event, effects)
            case Tick():
                self._tick(event.time, effects)
            case Acknowledge():
                self._acknowledge(event, effects)
            case Shelve() | Unshelve() | TakeOutOfService() | PutBackInService():
                self._hold(event, effects)
            case BrokerLink():
                self._link(event, effects)
            case ClockSet():
                self._clock_set(event)
            case ClockUnset():
                self.state.clock_unset = event.unset
            case Began():
                self.state.house.begin(event)
                effects.extend(rules_site.keep_restarts(self.state, event))
            case Host():
                self.state.house.host = event
            case Start() | Seen() | Harvest() | Discard() | Settle() | Lapse():
                self.check(event)
                self._entry(event, effects)
            case Work():
                self.check(event)
                self._work(event, effects)
            case Chill() | Emptied():
                self.check(event)
                self._chilled(event, effects)
            case Tin() | Weighed() | Fed() | Drawn() | Brood() | Counted() | BroodEnded() | Eater():
                self.check(event)
                self._food(event, effects)
            case Correct():
                self.check(event)
                self._correct(event, effects)
            case FoodAhead():
                effects.append(planned.take(self.state, event))
                self._look_around(event.time, effects)
            case SkipStart():
                effects.extend(planned.skip(self.state, event))
                self._look_around(event.time, effects)
            case Undo():
                self._undo(event, effects)
            case Subscribe() | Unsubscribe() | PhoneGone():
                self._phones(event, effects)
        return effects

    # -- readings

    def _learn(self, reading: Reading) -> tuple[bool, VesselState | None, list[SlotClosed]]:
        """Put a reading into the history; whether it is the newest, its vessel, and what closed."""
        probe = self.state.probes.get(reading.probe)
        if probe is None:
            return False, None, []
        newest = accept(probe, reading)
        vessel = self.state.vessels.get(probe.spec.vessel or "")
        if not reading.quality.usable:
            return False, vessel, []
        milli = reading.milli
        if probe.spec.measures is _AIR:
            if reading.state is None:
                return False, vessel, []
            milli = AIR_MILLI[reading.state]
        if self.state.clock_unset and not reading.own_time:
            return newest, vessel, []
        return newest, vessel, self._count(probe.spec, vessel, reading.time, milli)

    def place(self, reading: Reading) -> list[SlotClosed]:
        """A reading that was stepped with while the clock was not set, now with its right time: into the history.

        No rule looks at it again; but what is newest is as old as it is, not as the clock had it.
        """
        probe = self.state.probes.get(reading.probe)
        if (
            probe is None
            or not reading.quality.usable
            or (probe.spec.measures is Measures.AIR and reading.state is None)
        ):
            return []
        if probe.newest is not None and probe.newest.time < reading.time:
            probe.newest = reading
        milli = reading.milli if reading.state is None else Air(reading.state).milli
        vessel = self.state.vessels.get(probe.spec.vessel or "")
        return self._count(probe.spec, vessel, reading.time, milli)

    def _count(self, spec: ProbeSpec, vessel: VesselState | None, time: Ms, milli: int) -> list[SlotClosed]:
        """Into the slots of its probe, and of what it measures; what closed."""
        closed = self._slots[spec.id].add(time, milli)
        measures = spec.measures
        if vessel is not None and (measures is _WATER or measures is _AIR):
            slot = (vessel.water if measures is _WATER else vessel.air).add(time, milli)
            if vessel.batch is not None and vessel.batch.belief is not None:
                vessel.batch.belief.touched(slot)
        elif measures is _ROOM:
            self.state.room.add(time, milli)
        elif measures is _STORE and spec.store in self.state.cold_stores:
            self.state.cold_stores[spec.store].series.add(time, milli)
        if spec.tank in self.state.tanks:
            self.state.tanks[spec.tank].add(time, milli)
        return closed

    def _reading(self, reading: Reading, effects: list[Effect]) -> None:
        newest, _, closed = self._learn(reading)
        effects.extend(closed)
        if not newest:
            return
        now = reading.arrived or reading.time  # a probe's clock may be ahead: delays run by ours
        probe = self.state.probes[reading.probe]
        if not at_rest.reading_rests(self.state, probe, now):
            self._look(rules.on_reading(self.state, probe, now), now, effects)

    # -- time

    def _tick(self, now: Ms, effects: list[Effect]) -> None:
        done = set()
        for name, vessel in self.state.vessels.items():
            if vessel.work_until is not None and now >= vessel.work_until:
                done.add(name)
            vessel.time_passes(now)
        slot = now // SLOT
        slow = slot != self._slot_seen
        if slow:
            self._slot_seen = slot
            for open_slots in self._slots.values():
                effects.extend(open_slots.close_by_clock(now))
            self._retire(now, effects)
            promise.let_go(self.state.batches.values(), now)
            self._looks.begin()
        due = [batch for batch in self.state.open_batches() if now >= batch.rule_due]
        due.sort(key=lambda batch: batch.rule_due)  # who was entered, is ready or waits from before comes first
        self._forecasts_wait = len(due) > A_TICK
        for batch in due[:A_TICK]:
            self._forecast(batch, now, effects)
        fresh = {batch.start.vessel for batch in due[:A_TICK]}
        if slow and self._rules:
            self._close_forgotten(now, effects)
        effects.extend(rules_weekly.plan_test(self.state, now))
        self._look(rules.on_tick(self.state, now, slow=slow, turn=done | self._looks.take(), fresh=fresh), now, effects)
        self._end_shelves(now, effects)

    def _close_forgotten(self, now: Ms, effects: list[Effect]) -> None:
        """Of what was asked for and not answered, the engine itself makes the entry."""
        for vessel in self.state.vessels.values():
            entry = rules_forgotten.lapse(self.state, vessel, now)
            if entry is not None:
                effects.append(Logged(now, entry))
                self._entry(entry, effects)

    def _forecast(self, batch: Batch, now: Ms, effects: list[Effect]) -> None:
        """Give the rules a new estimate to look at, and keep what the keeper could count on."""
        if not self._rules:
            return
        estimate = self._estimate(batch, now)
        batch.estimate = estimate
        batch.future = None if batch.belief is None else batch.belief.future
        batch.rule_due = (now // RULES_EVERY + 1) * RULES_EVERY
        for moment in (estimate.ready.mid, estimate.best_until):
            if moment is not None and now < moment < batch.rule_due:
                batch.rule_due = int(moment) + 1
        document = promise.count_on(self.state, batch, estimate, now)
        if document is not None:
            effects.append(Learned(now, f"expected/{batch.start.batch}", document))

    def next_due(self, now: Ms) -> Ms:
        """When the next tick will find something to do, if no input comes before."""
        state = self.state
        due = [(now // SLOT + 1) * SLOT]
        due += [batch.rule_due for batch in self.state.open_batches()]
        if self._forecasts_wait or self._looks.waits:
            due.append(now + SECOND)
        due += [v.settle_until for v in state.vessels.values() if v.settle_until is not None]
        due += causes.due(state)
        for name, memory in state.memories.items():
            found = state.conditions.get(name)
            when = None if found is None else alarms.next_due(memory, found)
            if when is not None:
                due.append(when)
        for probe in state.probes.values():
            last = max(probe.newest.time if probe.newest else 0, state.listening_since)
            due.append(last + 3 * probe.spec.every + MINUTE)
        due += rules_weekly.dues(state)
        return min((when for when in due if when > now), default=now + SLOT)

    # -- the world around

    def _link(self, event: BrokerLink, effects: list[Effect]) -> None:
        state = self.state
        if event.up != state.broker_up:
            state.broker_up, state.broker_since = event.up, event.time
            if event.up:
                state.listening_since = max(state.listening_since, event.time)
        self._look([rules_probes.broker_lost(state, event.time)], event.time, effects)

    def _clock_set(self, event: ClockSet) -> None:
        """The clock jumped: silence is counted anew, all other that has lasted goes on, and no age shrinks."""
        state = self.state
        by = event.time - event.was
        state.listening_since = state.counting_since = event.time
        state.broker_since += by
        state.house.clock_set(event.time, event.was, rules_site.CLOCK_JUMP)
        for probe in state.probes.values():
            probe.clock_set(by)
        for vessel in state.vessels.values():
            if vessel.settle_until is not None:
                vessel.settle_until += by
            if vessel.work_until is not None:
                vessel.work_until += by
        for name, memory in state.memories.items():
            state.memories[name] = alarms.clock_set(memory, by)
        state.journal.clock_set(by)
        if by < 0:
            self._forget_ahead(event.time)
        for batch in self.state.open_batches():
            batch.rule_due = min(batch.rule_due, event.time)
        self._slot_seen = 0

    def _forget_ahead(self, now: Ms) -> None:
        """A history that a clock far ahead has written would count as the newest for as long as it was ahead."""
        ahead = now // SLOT + CLOCK_SLOTS
        for open_slots in self._slots.values():
            open_slots.clock_set(now)
        self.state.room.forget_from(ahead)
        for store in self.state.cold_stores.values():
            store.series.forget_from(ahead)
        for tank in self.state.tanks.values():
            tank.forget_from(ahead)
        for vessel in self.state.vessels.values():
            vessel.water.forget_from(ahead)
            vessel.air.forget_from(ahead)
            if vessel.batch is not None and vessel.batch.belief is not None:
                vessel.batch.belief.start_over()

    # -- telling

    def open_batches(self) -> list[str]:
        """Ids of the batches that have not ended, in the order of the vessels."""
        return [batch.start.batch for batch in self.state.open_batches()]

    def estimate(self, batch: str, now: Ms) -> Estimate:
        """What is believed of an open batch at ``now``. Does not change what the rules see."""
        return self._estimate(self.state.batches[batch], now)

    def _estimate(self, batch: Batch, now: Ms) -> Estimate:
        vessel = self.state.vessels[batch.start.vessel]
        newest = vessel.newest_water()
        if batch.belief is None or batch.ended is not None:
            raise Refused(f"batch {batch.start.batch} has ended")
        return batch.belief.estimate(
            now,
            None if newest is None else newest.value,
            None if newest is None else newest.time,
            vessel.air_word(now),
        )
