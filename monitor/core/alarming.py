"""The part of the engine that keeps the alarms: looks at conditions, takes a person's commands, remembers its decisions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core import alarms, causes, rules, rules_cysts, rules_push, tins
from monitor.core.alarms import HELD_BY_A_PERSON, Condition, Memory, over
from monitor.core.holds import HoldCommand, hold
from monitor.core.model import Acknowledge, Alarm, AlarmState, Learned, Ms, Refused, Transition
from monitor.core.phones import PHONES_KEY, phones_document
from monitor.core.recall import Recalling
from monitor.core.why import Decision, Decisions, silent_because

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.looks import Looks
    from monitor.core.model import Effect
    from monitor.core.phones import PhoneEvent


OF_TINS = (tins.RULE, rules_cysts.RULE)
_ORDER = {"high": 0, "medium": 1, "low": 2}


class Alarming(Recalling):
    """Every change of an alarm goes through ``_apply``."""

    _rules: bool
    _decisions: Decisions
    _looks: Looks

    # -- what the rules find

    def _look(self, found: Iterable[Condition | None], now: Ms, effects: list[Effect]) -> None:
        if not self._rules:
            return
        for condition in found:
            if condition is None:
                continue
            condition = causes.hold_back(self.state, condition, now)  # noqa: PLW2901  (what the rule found, as it may ring)
            memory = self.state.memories.get(condition.id, Memory())
            self.state.conditions[condition.id] = condition
            result = alarms.step(memory, condition, now)
            if result[1] is None:
                self._decisions.silent(condition.id, now, silent_because(memory, condition, now))
            self._apply(condition.id, result, effects)

    def _look_around(self, now: Ms, effects: list[Effect], *vessels: str) -> None:
        """All rules, after an entry: about these vessels at once, about others in turn, which at home is at once, too."""
        self._looks.begin()
        turn = {*vessels, *self._looks.take()}
        self._look(rules.on_tick(self.state, now, slow=True, turn=turn), now, effects)

    def _apply(self, name: str, result: tuple[Memory, Transition | None], effects: list[Effect]) -> None:
        memory, transition = result
        if memory == Memory():
            self.state.memories.pop(name, None)
            self.state.conditions.pop(name, None)
        else:
            self.state.memories[name] = memory
        if transition is not None:
            self._decisions.moved(transition)
            effects.append(transition)

    def _end_shelves(self, now: Ms, effects: list[Effect]) -> None:
        """A shelf ends in its time, also where its rule has nothing to say just then: by what it found last."""
        for name, memory in list(self.state.memories.items()):
            alarm = memory.alarm
            if alarm is not None and alarms.ended(memory, now):
                nothing = over(name, alarm.rule, alarm.subject, alarm.priority, 0)
                self._look([self.state.conditions.get(name, nothing)], now, effects)

    def _retire(self, now: Ms, effects: list[Effect]) -> None:
        """What stands for something that the configuration has no more is acknowledged and over."""
        for gone in rules.no_longer_configured(self.state):
            memory = self.state.memories[gone.id]
            if memory.state in HELD_BY_A_PERSON:
                done = alarms.release(memory, gone, now, "the configuration has it no more")
                self._apply(gone.id, done, effects)
                continue
            seen = alarms.acknowledge(memory, now, "the configuration, which has it no more")
            self._apply(gone.id, seen, effects)
            if gone.id in self.state.memories:
                self._look([gone], now, effects)

    # -- what a person does

    def _acknowledge(self, event: Acknowledge, effects: list[Effect]) -> None:
        memory = self.state.memories.get(event.alarm)
        if memory is None or memory.alarm is None:
            standing = ", ".join(alarm.id for alarm in self.alarms()) or "none"
            raise Refused(f"there is no alarm {event.alarm} standing; standing: {standing}")
        self._apply(event.alarm, alarms.acknowledge(memory, event.time, event.by), effects)

    def _hold(self, command: HoldCommand, effects: list[Effect]) -> None:
        name = command.alarm
        memory = self.state.memories.get(name, Memory())
        alarm = memory.alarm
        known = (alarm.rule, alarm.subject) if alarm is not None else rules.can_ring(self.state).get(name)
        if known is None:
            can = ", ".join(sorted(rules.can_ring(self.state)))
            raise Refused(f"there is no alarm {name}; there can be: {can}")
        found = self.state.conditions.get(name)
        result = hold(memory, command, *known, found)
        self._apply(name, result, effects)

    def _hands_on(self, subject: str, why: str, now: Ms, effects: list[Effect]) -> None:
        """The keeper has just had a vessel or store in hand: that acknowledges its alarms, and what was shelved is past."""
        for name, memory in list(self.state.memories.items()):
            alarm = memory.alarm
            if alarm is None or alarm.subject != subject or alarm.rule in OF_TINS:
                continue
            if alarm.state is AlarmState.SHELVED:
                gone = over(name, alarm.rule, alarm.subject, alarm.priority, 0)
                self._apply(name, alarms.release(memory, gone, now, why), effects)
                continue
            self._apply(name, alarms.acknowledge(memory, now, why), effects)

    def _replaced(self, now: Ms, effects: list[Effect]) -> None:
        """The keeper has started another tin in place of a weak one: that acknowledges its alarm."""
        for found in tins.standing(self.state, now):
            other = tins.replaced_by(self.state, self.state.lots[found.subject])
            if other is not None:
                seen = alarms.acknowledge(self.state.memories[found.id], now, f"the log: tin {other} took its place")
                self._apply(found.id, seen, effects)

    # -- the phones that are told

    def _phones(self, event: PhoneEvent, effects: list[Effect]) -> None:
        after = rules_push.changed(self.state.phones, event)
        if after is None:
            return
        self.state.phones = after
        effects.append(Learned(event.time, PHONES_KEY, phones_document(after)))
        self._look([rules_push.push_gone(self.state, event.time)], event.time, effects)

    # -- telling

    def alarms(self) -> list[Alarm]:
        """Alarms that are not normal, most urgent and newest first."""
        return sorted((m.alarm for m in self.state.memories.values() if m.alarm is not None), key=_most_urgent)

    def alarm_ids_of(self, batch: str) -> list[str]:
        """Ids of the alarms that stand for a batch: its vessel's, its probes', and the site's."""
        vessel = self.state.vessels[self.state.batches[batch].start.vessel]
        subjects = {vessel.spec.id, "site", *(probe.spec.id for probe in (*vessel.water_probes, *vessel.air_probes))}
        kept = (memory.alarm for memory in self.state.memories.values())
        its = [a for a in kept if a is not None and a.subject in subjects and a.state in alarms.STANDING]
        return [alarm.id for alarm in sorted(its, key=_most_urgent)]

    def why(self, alarm: str) -> list[Decision]:
        """Why it rang, and why it did not: the newest decisions about an alarm, oldest first."""
        return self._decisions.of(alarm)

    def decisions(self) -> dict[str, list[Decision]]:
        """The newest few decisions about every alarm, by its id."""
        return self._decisions.newest()

    def recall_transition(self, transition: Transition) -> None:
        """A decision from before, in the order in which they were taken."""
        self._decisions.moved(transition)


def _most_urgent(alarm: Alarm) -> tuple[int, Ms, str]:
    """Most urgent and newest first."""
    return _ORDER[alarm.priority], -alarm.since, alarm.id
