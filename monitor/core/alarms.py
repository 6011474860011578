"""The life of an alarm, in the words of ISA-18.2: one pure step from (memory, condition, time) to (memory, transition).

Whether a person is told is decided here and nowhere else, always with a reason, which is kept and shown.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from monitor.core.model import Alarm, AlarmState, Ms, Priority, Transition


@dataclass(frozen=True, slots=True)
class Condition:
    """What a rule finds at one instant.

    ``active``: the trouble is there. ``clear``: it is gone by more than the deadband; neither may hold in between.
    ``suppressed``: why it must not ring although it is there (work in progress, a cause already told); empty when it may.
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


def over(alarm: str, rule: str, subject: str, priority: Priority, off_delay: Ms, *, tell: bool = True) -> Condition:
    """A condition that is not there any more."""
    return Condition(alarm, rule, subject, priority, False, True, 0, 0, off_delay, tell_return=tell)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of one alarm between steps."""

    alarm: Alarm | None = None
    begun: Ms | None = None  # the condition has held since (not yet announced)
    clearing: Ms | None = None  # it has been clear since (not yet returned)
    told: bool = False  # a person was told of this occurrence


STANDING = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)


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
    )


def step(memory: Memory, found: Condition, now: Ms) -> tuple[Memory, Transition | None]:
    """One step at ``now``; a transition when the state changed."""
    state = AlarmState.NORMAL if memory.alarm is None else memory.alarm.state
    if state in STANDING:
        return _while_standing(memory, found, now)
    if not found.active:
        if state is AlarmState.SUPPRESSED and memory.alarm is not None:
            return _change(memory, replace(memory.alarm, state=AlarmState.NORMAL), now, False, "over while held back")
        return replace(memory, begun=None), None
    begun = memory.begun if memory.begun is not None else min(found.since, now)
    if found.suppressed:
        held = replace(memory, begun=begun)
        if state is AlarmState.SUPPRESSED:
            return held, None
        return _change(
            held, _alarm(found, AlarmState.SUPPRESSED, begun, now, found.suppressed), now, False, found.suppressed
        )
    if now - begun < found.on_delay:
        return replace(memory, begun=begun), None
    waited = (now - begun) // 1000
    reason = f"held for {waited} s, longer than its on-delay of {found.on_delay // 1000} s"
    if state is AlarmState.RETURNED:
        reason += "; came back before the last one was acknowledged"
    alarm = _alarm(found, AlarmState.UNACKNOWLEDGED, begun, now, reason)
    return _change(replace(memory, begun=begun, clearing=None, told=True), alarm, now, True, reason)


def _while_standing(memory: Memory, found: Condition, now: Ms) -> tuple[Memory, Transition | None]:
    alarm = memory.alarm
    assert alarm is not None  # noqa: S101  (the state says so)
    if found.suppressed:
        reason = found.suppressed
        return _change(memory, replace(alarm, state=AlarmState.SUPPRESSED, reason=reason), now, False, reason)
    if not found.clear:
        if found.active and found.priority is Priority.HIGH and alarm.priority is not Priority.HIGH:
            reason = "it has become urgent"
            raised = _alarm(found, AlarmState.UNACKNOWLEDGED, alarm.since, now, reason)
            return _change(replace(memory, clearing=None, told=True), raised, now, True, reason)
        fresh = replace(
            alarm, title=found.title or alarm.title, text=found.text or alarm.text, todo=found.todo or alarm.todo
        )
        return replace(memory, alarm=fresh, clearing=None), None
    clearing = memory.clearing if memory.clearing is not None else now
    if now - clearing < found.off_delay:
        return replace(memory, clearing=clearing), None
    acknowledged = alarm.state is AlarmState.ACKNOWLEDGED
    state = AlarmState.NORMAL if acknowledged else AlarmState.RETURNED
    notify = memory.told and found.tell_return
    reason = f"clear for {(now - clearing) // 1000} s, longer than its off-delay of {found.off_delay // 1000} s"
    if memory.told and not found.tell_return:
        reason += "; nobody needs to be told"
    return _change(
        Memory(alarm=alarm, told=memory.told and not acknowledged), replace(alarm, state=state), now, notify, reason
    )


def acknowledge(memory: Memory, now: Ms, by: str) -> tuple[Memory, Transition | None]:
    """A person has seen it. Nobody is told; an alarm that has already returned goes back to normal."""
    alarm = memory.alarm
    if alarm is None or alarm.state not in (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED):
        return memory, None
    state = AlarmState.NORMAL if alarm.state is AlarmState.RETURNED else AlarmState.ACKNOWLEDGED
    reason = f"acknowledged by {by}" if by else "acknowledged"
    return _change(replace(memory, alarm=alarm), replace(alarm, state=state), now, False, reason)


def clock_set(memory: Memory, by: Ms) -> Memory:
    """The clock was set by this much: running delays go on, neither hurried nor held up."""
    return replace(
        memory,
        begun=None if memory.begun is None else memory.begun + by,
        clearing=None if memory.clearing is None else memory.clearing + by,
    )


def next_due(memory: Memory, found: Condition) -> Ms | None:
    """When a delay that is running ends, if one is."""
    state = AlarmState.NORMAL if memory.alarm is None else memory.alarm.state
    if state in STANDING:
        return None if memory.clearing is None else memory.clearing + found.off_delay
    if memory.begun is not None and found.active and not found.suppressed:
        return memory.begun + found.on_delay
    return None


def _change(memory: Memory, alarm: Alarm, now: Ms, notify: bool, reason: str) -> tuple[Memory, Transition]:
    before = AlarmState.NORMAL if memory.alarm is None else memory.alarm.state
    after = replace(alarm, changed=now, reason=reason)
    over = after.state is AlarmState.NORMAL
    kept = Memory() if over else replace(memory, alarm=after)
    return kept, Transition(now, after, before, notify, reason)
