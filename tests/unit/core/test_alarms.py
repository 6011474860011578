from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from monitor.core.alarms import Condition, Memory, acknowledge, next_due, step
from monitor.core.model import MINUTE, SECOND, AlarmState, Ms, Priority, Transition

ON, OFF = 5 * MINUTE, 10 * MINUTE
THERE = Condition(
    "cold-snap:ash", "cold-snap", "ash", Priority.MEDIUM, True, False, 0, ON, OFF, "Cold in ash", "since", "warm it"
)
BETWEEN = replace(THERE, active=False)  # gone, but not by more than the deadband
GONE = replace(THERE, active=False, clear=True)
HELD = replace(THERE, suppressed="settling until 07:15")


def walk(*moments: tuple[Ms, Condition], memory: Memory | None = None) -> tuple[Memory, list[Transition]]:
    told = []
    memory = memory or Memory()
    for now, found in moments:
        memory, transition = step(memory, found, now)
        if transition is not None:
            told.append(transition)
    return memory, told


def state(memory: Memory) -> AlarmState:
    return AlarmState.NORMAL if memory.alarm is None else memory.alarm.state


def standing() -> Memory:
    memory, _ = walk((0, THERE), (ON, THERE))
    return memory


def acknowledged() -> Memory:
    memory, _ = acknowledge(standing(), ON + MINUTE, "the keeper")
    return memory


def test_nothing_is_nothing() -> None:
    """A condition that is not there leaves no memory behind."""
    assert walk((0, GONE), (1, BETWEEN)) == (Memory(), [])


def test_an_alarm_waits_for_its_on_delay() -> None:
    """One millisecond before the on-delay nobody is told, at the delay once, with what, since when and why."""
    memory, told = walk((0, THERE), (ON - 1, THERE))
    assert (state(memory), told) == (AlarmState.NORMAL, [])
    memory, told = walk((ON, THERE), (ON + 1, THERE), memory=memory)
    (only,) = told
    assert (only.before, only.alarm.state, only.notify) == (AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, True)
    assert (only.time, only.alarm.since, only.alarm.changed, only.alarm.title) == (ON, 0, ON, "Cold in ash")
    assert only.reason == only.alarm.reason == "held for 300 s, longer than its on-delay of 300 s"


def test_a_condition_that_began_earlier_counts_from_then() -> None:
    """Found late, a trouble that has long held rings at once; one dated in the future counts from now."""
    _, told = walk((ON, replace(THERE, since=0)))
    assert [t.alarm.since for t in told] == [0]
    _, told = walk((0, replace(THERE, since=ON)), (ON, replace(THERE, since=ON)))
    assert [t.time for t in told] == [ON]


def test_a_short_trouble_is_forgotten() -> None:
    """A trouble that ends within its on-delay is never told, and the next one waits anew."""
    _, told = walk((0, THERE), (ON - 1, GONE), (ON, replace(THERE, since=ON)), (2 * ON - 1, replace(THERE, since=ON)))
    assert told == []


def test_texts_follow_without_ringing_again() -> None:
    """While an alarm stands its text is kept up to date and nobody is told twice."""
    memory, told = walk((ON + 1, replace(THERE, text="colder")), memory=standing())
    assert told == []
    assert memory.alarm is not None
    assert memory.alarm.text == "colder"


def test_a_person_acknowledges() -> None:
    """Unacknowledged becomes acknowledged, says by whom, and nobody is told."""
    memory, transition = acknowledge(standing(), ON + MINUTE, "the keeper")
    assert transition is not None
    assert (state(memory), transition.notify) == (AlarmState.ACKNOWLEDGED, False)
    assert transition.reason == "acknowledged by the keeper"
    assert acknowledge(memory, ON + 2 * MINUTE, "") == (memory, None)


def test_acknowledging_what_is_not_standing_changes_nothing() -> None:
    """Normal and suppressed alarms have nothing to acknowledge."""
    held, _ = walk((0, HELD))
    for memory in (Memory(), held):
        assert acknowledge(memory, 1, "") == (memory, None)


def test_an_acknowledged_alarm_returns_to_normal() -> None:
    """When the trouble has been gone for the off-delay an acknowledged alarm is normal; its end is told once."""
    memory, told = walk((2 * ON, GONE), (2 * ON + OFF - 1, GONE), (2 * ON + OFF, GONE), memory=acknowledged())
    assert memory == Memory()
    assert [(t.time, t.alarm.state, t.notify) for t in told] == [(2 * ON + OFF, AlarmState.NORMAL, True)]


def test_an_alarm_nobody_saw_stays_returned() -> None:
    """Gone before anybody acknowledged it is returned-unacknowledged, until a person acknowledges it."""
    memory, told = walk((2 * ON, GONE), (2 * ON + OFF, GONE), (9 * ON, GONE), memory=standing())
    assert [(t.alarm.state, t.notify) for t in told] == [(AlarmState.RETURNED, True)]
    memory, transition = acknowledge(memory, 10 * ON, "")
    assert memory == Memory()
    assert transition is not None
    assert (transition.alarm.state, transition.notify) == (AlarmState.NORMAL, False)


def test_a_return_nobody_needs_is_not_told() -> None:
    """Where the end of a trouble needs nobody it changes state without a word."""
    quiet = replace(GONE, tell_return=False)
    _, told = walk((2 * ON, quiet), (2 * ON + OFF, quiet), memory=standing())
    assert [t.notify for t in told] == [False]
    assert "nobody needs to be told" in told[0].reason


def test_a_returned_alarm_rings_again_after_its_on_delay() -> None:
    """A trouble that comes back is a new occurrence: it waits for its on-delay and dates from its own beginning."""
    returned, _ = walk((2 * ON, GONE), (2 * ON + OFF, GONE), memory=standing())
    again = replace(THERE, since=9 * ON)
    _, told = walk((9 * ON, again), (10 * ON - 1, again), (10 * ON, again), memory=returned)
    assert [(t.time, t.before, t.alarm.state, t.alarm.since, t.notify) for t in told] == [
        (10 * ON, AlarmState.RETURNED, AlarmState.UNACKNOWLEDGED, 9 * ON, True)
    ]
    assert "came back before the last one was acknowledged" in told[0].reason


@pytest.mark.parametrize("memory", [standing(), acknowledged()])
def test_the_deadband_holds(memory: Memory) -> None:
    """Neither there nor clear keeps an alarm as it is, and restarts its off-delay."""
    kept, told = walk(
        (2 * ON, GONE), (2 * ON + OFF - 1, BETWEEN), (2 * ON + OFF, GONE), (3 * OFF, BETWEEN), memory=memory
    )
    assert (state(kept), told) == (state(memory), [])


def test_suppressed_from_the_first_does_not_ring() -> None:
    """A trouble that may not ring is suppressed by design at once, says why, and tells nobody."""
    memory, told = walk((0, HELD), (ON, HELD), (9 * ON, HELD))
    assert [(t.time, t.alarm.state, t.notify, t.reason) for t in told] == [
        (0, AlarmState.SUPPRESSED, False, "settling until 07:15")
    ]
    assert next_due(memory, HELD) is None


def test_the_end_of_suppression_rings_at_once() -> None:
    """When what held it back ends and the trouble has outlasted its on-delay meanwhile, it rings at once."""
    _, told = walk((0, HELD), (3 * ON, THERE))
    assert [(t.time, t.before, t.alarm.state, t.notify) for t in told][1:] == [
        (3 * ON, AlarmState.SUPPRESSED, AlarmState.UNACKNOWLEDGED, True)
    ]


def test_a_young_trouble_waits_on_after_suppression() -> None:
    """A trouble younger than its on-delay when suppression ends waits for the rest of it."""
    memory, told = walk((0, HELD), (ON - 1, THERE))
    assert [t.alarm.state for t in told] == [AlarmState.SUPPRESSED]
    assert next_due(memory, THERE) == ON


@pytest.mark.parametrize("memory", [standing(), acknowledged()])
def test_a_standing_alarm_can_be_suppressed(memory: Memory) -> None:
    """Suppressed while it stands it tells nobody, and rings again when suppression ends with the trouble still there."""
    memory, told = walk((2 * ON, HELD), (4 * ON, THERE), memory=memory)
    assert [(t.alarm.state, t.notify) for t in told] == [
        (AlarmState.SUPPRESSED, False),
        (AlarmState.UNACKNOWLEDGED, True),
    ]


def test_over_while_suppressed_is_over_in_silence() -> None:
    """A trouble that ends while it is held back leaves nothing behind and tells nobody."""
    memory, told = walk((0, HELD), (1, BETWEEN))
    assert memory == Memory()
    assert [(t.alarm.state, t.notify) for t in told][1:] == [(AlarmState.NORMAL, False)]


@pytest.mark.parametrize("memory", [standing(), acknowledged()])
def test_what_becomes_urgent_is_told_again_once(memory: Memory) -> None:
    """A standing alarm whose priority rises to high is told again, unacknowledged, and only once; it never sinks back."""
    urgent = replace(THERE, priority=Priority.HIGH)
    memory, told = walk((2 * ON, urgent), (3 * ON, urgent), (4 * ON, THERE), (5 * ON, urgent), memory=memory)
    raised = [t for t in told if not t.reason.startswith("not acknowledged for")]
    assert [(t.time, t.alarm.state, t.alarm.priority, t.notify) for t in raised] == [
        (2 * ON, AlarmState.UNACKNOWLEDGED, Priority.HIGH, True)
    ]
    assert raised[0].alarm.since == 0
    assert state(memory) is AlarmState.UNACKNOWLEDGED


@pytest.mark.parametrize(
    ("memory", "found", "due"),
    [
        (Memory(), GONE, None),
        (walk((7, replace(THERE, since=7)))[0], THERE, 7 + ON),
        (standing(), THERE, None),
        (walk((2 * ON, GONE), memory=standing())[0], GONE, 2 * ON + OFF),
        (walk((2 * ON, GONE), memory=acknowledged())[0], GONE, 2 * ON + OFF),
    ],
)
def test_the_next_thing_to_do_is_known(memory: Memory, found: Condition, due: Ms | None) -> None:
    """The end of the running delay is what is due next; nothing is when none runs."""
    assert next_due(memory, found) == due


def test_delays_of_nothing_act_at_once() -> None:
    """With no delays an alarm rings and returns in the very step in which its condition changes."""
    now: dict[str, Any] = {"on_delay": 0, "off_delay": 0}
    _, told = walk((SECOND, replace(THERE, **now)), (2 * SECOND, replace(GONE, **now)))
    assert [(t.time, t.alarm.state) for t in told] == [
        (SECOND, AlarmState.UNACKNOWLEDGED),
        (2 * SECOND, AlarmState.RETURNED),
    ]
