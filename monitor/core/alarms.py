"""The life of an alarm, in the words of ISA-18.2: one pure step from (memory, condition, time) to (memory, transition).

Whether a person is told is decided here and in ``holds`` and nowhere else, always with a reason, which is kept and shown.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from monitor.core.light import light
from monitor.core.model import DAY, HOUR, MINUTE, Alarm, AlarmState, Ms, Priority, Transition
from monitor.core.wording import duration

REPEAT: Final[Ms] = 2 * MINUTE
"""An urgent alarm that nobody acknowledges is told again so often; common practice, no source."""
REPEAT_SHARE: Final = 20
"""With more than 40 min left it is told again after this part of them: hours left are no matter of two minutes."""
REPEAT_LONGEST: Final[Ms] = HOUR
"""Past its deadline, or without one, it is told again no longer than this: who did not hear it by then does not hear it."""
SHORTEST_HALF: Final[Ms] = MINUTE
"""An acknowledged alarm does not come back sooner: whoever acknowledged it is on the way."""
SHELF_LONGEST: Final = {Priority.HIGH: 2 * HOUR, Priority.MEDIUM: 7 * DAY, Priority.LOW: 7 * DAY}
"""Common practice, no source."""
WEIGHT: Final = {Priority.LOW: 0, Priority.MEDIUM: 1, Priority.HIGH: 2}


@light
class Condition:
    """What a rule finds at one instant.

    ``active``: the trouble is there. ``clear``: it is gone by more than the deadband; neither may hold in between.
    ``suppressed``: why it must not ring although it is there (work in progress, a cause already told); empty when it may.
    ``deadline``: when harm may begin, where that is known; ``too_late``: when it is done, and telling again helps nobody.
    """

    id: str
    rule: str
    subject: str
    priority: Priority
    active: bool
    clear: bool
    since: Ms
    on_delay: Ms
    off_delay: Ms
    title: str = ""
    text: str = ""
    todo: str = ""
    suppressed: str = ""
    tell_return: bool = True  # a person wants to hear that it is over
    deadline: Ms | None = None
    too_late: Ms | None = None
    rises: str = ""  # why a person is told anew when it weighs more than what was told; empty when only urgent does


def over(alarm: str, rule: str, subject: str, priority: Priority, off_delay: Ms, *, tell: bool = True) -> Condition:
    """A condition that is not there any more."""
    return Condition(alarm, rule, subject, priority, False, True, 0, 0, off_delay, tell_return=tell)


@light
class Memory:
    """What is remembered of one alarm between steps."""

    alarm: Alarm | None = None
    begun: Ms | None = None  # the condition has held since (not yet announced)
    clearing: Ms | None = None  # it has been clear since (not yet returned)
    told: bool = False  # a person was told of this occurrence

    @property
    def state(self) -> AlarmState:
        return AlarmState.NORMAL if self.alarm is None else self.alarm.state


STANDING = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
HELD_BY_A_PERSON = (AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE)


def _alarm(found: Condition, state: AlarmState, since: Ms, now: Ms, reason: str) -> Alarm:
    return Alarm(
        id=found.id,
        rule=found.rule,
        subject=found.subject,
        priority=found.priority,
        state=state,
        since=since,
        changed=now,
        title=found.title,
        text=found.text,
        todo=found.todo,
        reason=reason,
        deadline=found.deadline,
        told=now if state is AlarmState.UNACKNOWLEDGED else None,
    )


def step(memory: Memory, found: Condition, now: Ms) -> tuple[Memory, Transition | None]:
    """One step at ``now``; a transition when the state changed or a person is told again."""
    state = memory.state
    if state in STANDING:
        return _while_standing(memory, found, now)
    if state in HELD_BY_A_PERSON:
        return _while_held(memory, found, now)
    if not found.active:
        if state is AlarmState.SUPPRESSED and memory.alarm is not None:
            return change(memory, replace(memory.alarm, state=AlarmState.NORMAL), now, False, "over while held back")
        return replace(memory, begun=None), None
    begun = _begun(memory, found, now)
    if found.suppressed:
        held = replace(memory, begun=begun)
        if state is AlarmState.SUPPRESSED:
            return held, None
        return _suppress(held, found, begun, now)
    if now - begun < found.on_delay:
        return replace(memory, begun=begun), None
    again = "; came back before the last one was acknowledged" if state is AlarmState.RETURNED else ""
    return _ring(memory, found, begun, now, _held_for(found, begun, now) + again)


def _begun(memory: Memory, found: Condition, now: Ms) -> Ms:
    return memory.begun if memory.begun is not None else min(found.since, now)


def _held_for(found: Condition, begun: Ms, now: Ms) -> str:
    return f"held for {(now - begun) // 1000} s, longer than its on-delay of {found.on_delay // 1000} s"


def _ring(memory: Memory, found: Condition, since: Ms, now: Ms, reason: str) -> tuple[Memory, Transition]:
    """The only way in which the beginning of a trouble is told."""
    alarm = _alarm(found, AlarmState.UNACKNOWLEDGED, since, now, reason)
    return change(replace(memory, begun=since, clearing=None, told=True), alarm, now, True, reason)


def _suppress(memory: Memory, found: Condition, begun: Ms, now: Ms, why: str = "") -> tuple[Memory, Transition]:
    reason = why + found.suppressed
    return change(memory, _alarm(found, AlarmState.SUPPRESSED, begun, now, reason), now, False, reason)


# -- standing


def _while_standing(memory: Memory, found: Condition, now: Ms) -> tuple[Memory, Transition | None]:
    alarm = memory.alarm
    assert alarm is not None  # noqa: S101  (the state says so)
    if found.suppressed:
        reason = found.suppressed
        held = replace(alarm, state=AlarmState.SUPPRESSED, told=None, again=None)
        return change(memory, held, now, False, reason)
    if not found.clear:
        if found.active and found.priority is Priority.HIGH and alarm.priority is not Priority.HIGH:
            return _ring(memory, found, alarm.since, now, "it has become urgent")
        if found.active and found.rises and WEIGHT[found.priority] > WEIGHT[alarm.priority]:
            return _ring(memory, found, alarm.since, now, found.rises)
        if found.active:
            reason = _told_again_because(alarm, found, now)
            if reason:
                return _tell_again(memory, alarm, found, now, reason)
        return replace(memory, alarm=_fresh(alarm, found, now), clearing=None), None
    clearing = memory.clearing if memory.clearing is not None else now
    if now - clearing < found.off_delay:
        return replace(memory, clearing=clearing), None
    acknowledged = alarm.state is AlarmState.ACKNOWLEDGED
    state = AlarmState.NORMAL if acknowledged else AlarmState.RETURNED
    notify = memory.told and found.tell_return
    reason = f"clear for {(now - clearing) // 1000} s, longer than its off-delay of {found.off_delay // 1000} s"
    if memory.told and not found.tell_return:
        reason += "; nobody needs to be told"
    ended = replace(alarm, state=state, deadline=None, told=None, again=None)
    return change(Memory(alarm=alarm, told=memory.told and not acknowledged), ended, now, notify, reason)


def _fresh(alarm: Alarm, found: Condition, now: Ms) -> Alarm:
    """The alarm as it stands, in the newest words and with the newest deadline."""
    return replace(
        alarm,
        title=found.title or alarm.title,
        text=found.text or alarm.text,
        todo=found.todo or alarm.todo,
        deadline=found.deadline if found.active else alarm.deadline,
        again=_comes_back(alarm, found, now),
    )


def _half(begin: Ms, deadline: Ms) -> Ms:
    return begin + (deadline - begin) // 2


def _comes_back(alarm: Alarm, found: Condition, now: Ms) -> Ms | None:
    """When an acknowledged alarm comes back: at half of what was left then, sooner when the deadline moves nearer."""
    if alarm.state is not AlarmState.ACKNOWLEDGED:
        return None
    if not found.active:
        return alarm.again
    if found.deadline is None or found.priority is not Priority.HIGH:
        return None  # there is time enough now
    if alarm.again is None:
        half = _half(now, found.deadline)
        return half if half - now >= SHORTEST_HALF else None
    return min(alarm.again, max(_half(alarm.changed, found.deadline), alarm.changed + SHORTEST_HALF))


def _repeats_until(alarm: Alarm, found: Condition) -> Ms:
    longest = alarm.changed + REPEAT_LONGEST
    if found.deadline is None:
        return longest
    return found.deadline if found.too_late is None else max(found.deadline, min(found.too_late, longest))


def _repeat_due(alarm: Alarm, found: Condition) -> Ms:
    told = alarm.changed if alarm.told is None else alarm.told
    return told + (REPEAT if found.deadline is None else max(REPEAT, (found.deadline - told) // REPEAT_SHARE))


def _told_again_because(alarm: Alarm, found: Condition, now: Ms) -> str:
    """Why a person is told again of what they were told before; empty when they are not."""
    if alarm.state is AlarmState.ACKNOWLEDGED:
        again = _comes_back(alarm, found, now)
        if again is None or now < again:
            return ""
        return f"acknowledged {duration(now - alarm.changed)} ago and it still stands at half of the time that was left"
    if found.priority is not Priority.HIGH or now >= _repeats_until(alarm, found):
        return ""
    return f"not acknowledged for {_for(now - alarm.changed)}" if now >= _repeat_due(alarm, found) else ""


def _for(length: Ms) -> str:
    return f"{length // MINUTE} min" if MINUTE <= length < 2 * HOUR else duration(length)


def _tell_again(memory: Memory, alarm: Alarm, found: Condition, now: Ms, reason: str) -> tuple[Memory, Transition]:
    fresh = replace(_fresh(alarm, found, now), state=AlarmState.UNACKNOWLEDGED, told=now, again=None)
    repeated = alarm.state is AlarmState.UNACKNOWLEDGED  # then its state does not change now
    changed = alarm.changed if repeated else now
    fresh = replace(fresh, changed=changed, reason=reason)
    return replace(memory, alarm=fresh, clearing=None, told=True), Transition(now, fresh, alarm.state, True, reason)


def acknowledge(memory: Memory, now: Ms, by: str) -> tuple[Memory, Transition | None]:
    """A person has seen it. Nobody is told; an alarm that has already returned goes back to normal."""
    alarm = memory.alarm
    if alarm is None or alarm.state not in (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED):
        return memory, None
    reason = f"acknowledged by {by}" if by else "acknowledged"
    if alarm.state is AlarmState.RETURNED:
        return change(memory, replace(alarm, state=AlarmState.NORMAL), now, False, reason)
    half = None if alarm.deadline is None or alarm.priority is not Priority.HIGH else _half(now, alarm.deadline)
    again = half if half is not None and half - now >= SHORTEST_HALF else None
    return change(memory, replace(alarm, state=AlarmState.ACKNOWLEDGED, again=again), now, False, reason)


# -- held by a person: shelved or out of service


def _while_held(memory: Memory, found: Condition, now: Ms) -> tuple[Memory, Transition | None]:
    """Nobody is told while a person holds it; what is found is kept in sight, and a shelf ends in its time."""
    alarm = memory.alarm
    assert alarm is not None  # noqa: S101  (the state says so)
    begun = _begun(memory, found, now) if found.active else None
    if alarm.state is AlarmState.SHELVED:
        if ended(memory, now):
            return release(memory, found, now, "its shelf has ended")
        alarm = replace(alarm, until=_shelf_end(alarm, found, begun))
        if ended(replace(memory, alarm=alarm), now):
            return release(memory, found, now, "it has become too urgent to stay shelved")
    if begun is not None:
        alarm = replace(
            alarm,
            title=found.title or alarm.title,
            text=found.text or alarm.text,
            todo=found.todo or alarm.todo,
            priority=found.priority,
            since=begun,
            deadline=found.deadline,
        )
    return replace(memory, alarm=alarm, begun=begun, clearing=None), None


def longest_shelf(priority: Priority, deadline: Ms | None, begin: Ms) -> Ms:
    """The latest end of a shelf that begins at ``begin``: by priority, and never beyond half of what is left."""
    end = begin + SHELF_LONGEST[priority]
    return end if deadline is None else min(end, max(_half(begin, deadline), begin))


def _shelf_end(alarm: Alarm, found: Condition, begun: Ms | None) -> Ms:
    """What became urgent since it was shelved does not stay so as long as it could have before."""
    until = alarm.changed if alarm.until is None else alarm.until
    if begun is None:
        return until
    return min(until, longest_shelf(found.priority, found.deadline, max(alarm.changed, begun)))


def ended(memory: Memory, now: Ms) -> bool:
    """Whether a shelf has come to its end."""
    alarm = memory.alarm
    return alarm is not None and alarm.state is AlarmState.SHELVED and now >= (alarm.until or 0)


def release(memory: Memory, found: Condition, now: Ms, why: str) -> tuple[Memory, Transition]:
    """A hold is over: what still stands rings anew, what is young waits for its on-delay, all else is normal."""
    alarm = memory.alarm
    assert alarm is not None  # noqa: S101  (only what is held can be released)
    if not found.active:
        within = " (inside its deadband)" if not found.clear else ""
        normal = replace(alarm, state=AlarmState.NORMAL, until=None)
        return change(Memory(alarm=alarm), normal, now, False, f"{why}; the trouble is not there{within}")
    begun = _begun(memory, found, now)
    kept = Memory(alarm=alarm, begun=begun)
    if found.suppressed:
        return _suppress(kept, found, begun, now, f"{why}; ")
    if now - begun >= found.on_delay:
        reason = f"{why} and the trouble is still there; {_held_for(found, begun, now)}"
        return _ring(kept, found, begun, now, reason)
    waits = f"{why}; the trouble waits for its on-delay of {found.on_delay // 1000} s"
    _, transition = change(kept, _alarm(found, AlarmState.NORMAL, begun, now, waits), now, False, waits)
    return Memory(begun=begun), transition


# -- time


def clock_set(memory: Memory, by: Ms) -> Memory:
    """The clock was set by this much: running delays, repeats and shelves go on, neither hurried nor held up."""

    def moved(time: Ms | None) -> Ms | None:
        return None if time is None else time + by

    alarm = memory.alarm
    if alarm is not None:
        alarm = replace(
            alarm,
            changed=alarm.changed + by,
            deadline=moved(alarm.deadline),
            told=moved(alarm.told),
            again=moved(alarm.again),
            until=moved(alarm.until),
        )
    return replace(memory, alarm=alarm, begun=moved(memory.begun), clearing=moved(memory.clearing))


def next_due(memory: Memory, found: Condition) -> Ms | None:
    """When something that is running ends, if anything is: a delay, a shelf, the time until it is told again."""
    alarm = memory.alarm
    if alarm is not None and alarm.state is AlarmState.SHELVED:
        return _shelf_end(alarm, found, memory.begun if found.active else None)
    if alarm is not None and alarm.state in STANDING:
        if memory.clearing is not None:
            return memory.clearing + found.off_delay
        return _next_told(alarm, found)
    if memory.state is not AlarmState.OUT_OF_SERVICE and memory.begun is not None:
        return memory.begun + found.on_delay if found.active and not found.suppressed else None
    return None


def _next_told(alarm: Alarm, found: Condition) -> Ms | None:
    if not found.active or found.suppressed:
        return None
    if alarm.state is AlarmState.ACKNOWLEDGED:
        return alarm.again
    if found.priority is not Priority.HIGH:
        return None
    due = _repeat_due(alarm, found)
    return due if due < _repeats_until(alarm, found) else None


def change(memory: Memory, alarm: Alarm, now: Ms, notify: bool, reason: str) -> tuple[Memory, Transition]:
    """The alarm becomes ``alarm``; one that is normal leaves nothing to remember."""
    before = memory.state
    after = replace(alarm, changed=now, reason=reason)
    kept = Memory() if after.state is AlarmState.NORMAL else replace(memory, alarm=after)
    return kept, Transition(now, after, before, notify, reason)
