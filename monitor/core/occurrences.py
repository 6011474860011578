"""The life of every alarm read back from its transitions: when it rang, was acknowledged, was over, was put away."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING

from monitor.core.alarms import HELD_BY_A_PERSON, STANDING
from monitor.core.light import light
from monitor.core.model import AlarmState, Priority

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.model import Alarm, Ms, Transition

_RANK = {Priority.LOW: 0, Priority.MEDIUM: 1, Priority.HIGH: 2}


@light(frozen=False)
class Occurrence:
    """One time that an alarm rang. ``over`` is when it ended, was held back or was put away by a person."""

    alarm: str
    rule: str
    priority: Priority  # the highest it had
    rang: Ms
    since: Ms  # when its trouble began
    answered: Ms | None = None  # when a person first did something about it
    over: Ms | None = None
    repeats: int = 0

    def length(self, now: Ms) -> Ms:
        return max((now if self.over is None else self.over) - self.since, 0)

    def stood(self, now: Ms) -> Ms:
        """How long it stood in the list since it rang."""
        return max((now if self.over is None else self.over) - self.rang, 0)


@light(frozen=False)
class Hold:
    """A time for which a person had shelved an alarm or taken it out of service."""

    alarm: str
    rule: str
    state: AlarmState
    begin: Ms
    end: Ms | None = None


@light(frozen=False)
class Lives:
    """What the transitions tell, in their order."""

    occurrences: list[Occurrence] = field(default_factory=list)
    holds: list[Hold] = field(default_factory=list)
    returns: list[Transition] = field(default_factory=list)  # those that a person was told
    _open: dict[str, Occurrence] = field(default_factory=dict)
    _unanswered: dict[str, list[Occurrence]] = field(default_factory=dict)
    _held: dict[str, Hold] = field(default_factory=dict)

    def take(self, move: Transition) -> None:
        """The next transition."""
        alarm, after = move.alarm, move.alarm.state
        if move.before in HELD_BY_A_PERSON and after is not move.before:
            self._release(alarm.id, move.time)
        if after is AlarmState.UNACKNOWLEDGED:
            self._rings(move)
            return
        if after is AlarmState.ACKNOWLEDGED or after in HELD_BY_A_PERSON or move.before is AlarmState.RETURNED:
            self._answer(alarm.id, move.time)
        if after is not AlarmState.ACKNOWLEDGED:
            self._end(alarm.id, move.time)
        if after in HELD_BY_A_PERSON and after is not move.before:
            self._held[alarm.id] = Hold(alarm.id, alarm.rule, after, move.time)
            self.holds.append(self._held[alarm.id])
        if alarm.over and move.notify:
            self.returns.append(move)

    def stands(self, alarm: Alarm) -> None:
        """An alarm as it stands now, whose beginning may lie before all of the transitions."""
        if alarm.state in HELD_BY_A_PERSON and alarm.id not in self._held:
            self.holds.append(Hold(alarm.id, alarm.rule, alarm.state, alarm.changed))
        if alarm.state in STANDING and alarm.id not in self._open:
            answered = alarm.changed if alarm.state is AlarmState.ACKNOWLEDGED else None
            self.occurrences.append(
                Occurrence(alarm.id, alarm.rule, alarm.priority, alarm.since, alarm.since, answered)
            )

    def _rings(self, move: Transition) -> None:
        alarm = move.alarm
        standing = self._open.get(alarm.id) if move.before in STANDING else None
        if standing is not None:
            standing.repeats += move.notify
            standing.priority = max(standing.priority, alarm.priority, key=_RANK.__getitem__)
            return
        begun = Occurrence(alarm.id, alarm.rule, alarm.priority, move.time, alarm.since)
        if move.before in STANDING:  # it rang before the first transition that is known
            begun.rang = min(alarm.since, move.time)
            begun.repeats = int(move.notify)
        self.occurrences.append(begun)
        self._open[alarm.id] = begun
        self._unanswered.setdefault(alarm.id, []).append(begun)

    def _answer(self, alarm: str, time: Ms) -> None:
        for one in self._unanswered.pop(alarm, ()):
            one.answered = time

    def _end(self, alarm: str, time: Ms) -> None:
        one = self._open.pop(alarm, None)
        if one is not None:
            one.over = time

    def _release(self, alarm: str, time: Ms) -> None:
        held = self._held.pop(alarm, None)
        if held is not None:
            held.end = time


def lives(moves: Iterable[Transition], standing: Iterable[Alarm] = ()) -> Lives:
    """Read transitions in their order; ``standing`` are the alarms as they stand at their end."""
    found = Lives()
    for move in moves:
        found.take(move)
    for alarm in standing:
        found.stands(alarm)
    return found
