"""What a person may do with an alarm beside acknowledging it: shelve it for a time, or take it out of service."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.core.alarms import Memory, change, longest_shelf, over, release
from monitor.core.model import (
    HOUR,
    MINUTE,
    SECOND,
    Alarm,
    AlarmState,
    Ms,
    Priority,
    PutBackInService,
    Refused,
    Shelve,
    TakeOutOfService,
    Unshelve,
)

if TYPE_CHECKING:
    from monitor.core.alarms import Condition
    from monitor.core.model import Transition

HoldCommand = Shelve | Unshelve | TakeOutOfService | PutBackInService


def hold(
    memory: Memory, command: HoldCommand, rule: str, subject: str, found: Condition | None
) -> tuple[Memory, Transition | None]:
    """Carry out a person's command; ``found`` is what the rule found last, ``None`` when it found nothing.

    Doing what is already done changes nothing. Raises ``Refused`` for what is not allowed.
    """
    match command:
        case Shelve():
            return _shelve(memory, command, rule, subject, found)
        case TakeOutOfService():
            return _take_out(memory, command, rule, subject)
        case Unshelve():
            return _end(memory, AlarmState.SHELVED, command, found, "taken off the shelf")
        case PutBackInService():
            return _end(memory, AlarmState.OUT_OF_SERVICE, command, found, "put back in service")


def _by(by: str) -> str:
    return f" by {by}" if by else ""


def _placeholder(name: str, rule: str, subject: str, now: Ms) -> Alarm:
    """An alarm that a person holds although nothing is wrong; it must be seen not to be forgotten."""
    title = f"{rule.replace('-', ' ').capitalize()}: {subject}"
    return Alarm(
        name, rule, subject, Priority.LOW, AlarmState.NORMAL, now, now, title, "Nothing was found wrong.", "", ""
    )


def _shelve(
    memory: Memory, command: Shelve, rule: str, subject: str, found: Condition | None
) -> tuple[Memory, Transition]:
    now, alarm = command.time, memory.alarm
    if memory.state is AlarmState.OUT_OF_SERVICE:
        raise Refused(f"{command.alarm} is out of service; put it back in service first")
    if command.until <= now:
        raise Refused("a shelf must end after now; give a time from 1 min on")
    there = found is not None and found.active
    urgent = any(one is not None and one.priority is Priority.HIGH for one in (alarm, found if there else None))
    priority = Priority.HIGH if urgent else Priority.MEDIUM
    deadline = found.deadline if there and found is not None else None if alarm is None else alarm.deadline
    limit = longest_shelf(priority, deadline, now)
    if command.until > limit:
        raise Refused(_too_long(command, limit, deadline))
    reason = f"shelved{_by(command.by)} for {_length(command.until - now)}"
    before = alarm if alarm is not None else _placeholder(command.alarm, rule, subject, now)
    shelved = replace(before, state=AlarmState.SHELVED, until=command.until, told=None, again=None)
    return change(_only_begun(memory), shelved, now, False, reason)


def _length(length: Ms) -> str:
    if length < MINUTE:
        return f"{length // SECOND} s"
    return f"{length // MINUTE} min" if length < 2 * HOUR else f"{length / HOUR:g} h"


def _too_long(command: Shelve, limit: Ms, deadline: Ms | None) -> str:
    asked, allowed = _length(command.until - command.time), _length(limit - command.time)
    if deadline is None:
        return f"{command.alarm} cannot be shelved for {asked}; allowed is at most {allowed}"
    if limit < command.time + MINUTE:
        return f"{command.alarm} cannot be shelved: there is no time left; go and look, then acknowledge it"
    return f"{command.alarm} cannot be shelved for {asked}; allowed is at most {allowed}, half of the time that is left"


def _only_begun(memory: Memory) -> Memory:
    """Whatever comes after the hold is a new occurrence of a trouble that may be old."""
    returned = memory.state is AlarmState.RETURNED
    return Memory(alarm=memory.alarm, begun=None if returned else memory.begun)


def _take_out(memory: Memory, command: TakeOutOfService, rule: str, subject: str) -> tuple[Memory, Transition | None]:
    if memory.state is AlarmState.OUT_OF_SERVICE:
        return memory, None
    now = command.time
    before = memory.alarm if memory.alarm is not None else _placeholder(command.alarm, rule, subject, now)
    reason = f"taken out of service{_by(command.by)}" + (f": {command.why}" if command.why else "")
    out = replace(before, state=AlarmState.OUT_OF_SERVICE, until=None, told=None, again=None)
    return change(_only_begun(memory), out, now, False, reason)


def _end(
    memory: Memory, state: AlarmState, command: Unshelve | PutBackInService, found: Condition | None, done: str
) -> tuple[Memory, Transition | None]:
    alarm = memory.alarm
    if alarm is None or alarm.state is not state:
        raise Refused(f"{command.alarm} is not {state.value.replace('-', ' ')}; it is {memory.state.value}")
    condition = found or over(alarm.id, alarm.rule, alarm.subject, alarm.priority, 0)
    return release(memory, condition, command.time, done + _by(command.by))
