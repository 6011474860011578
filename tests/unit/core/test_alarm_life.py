"""The whole life of an alarm: told again until somebody acts, held by a person, and always with a reason."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from monitor.core.alarms import (
    HELD_BY_A_PERSON,
    REPEAT,
    REPEAT_LONGEST,
    SHELF_LONGEST,
    STANDING,
    Condition,
    Memory,
    acknowledge,
    ended,
    next_due,
    over,
    step,
)
from monitor.core.bench import bench
from monitor.core.holds import hold
from monitor.core.log import Discard
from monitor.core.model import (
    DAY,
    HOUR,
    MINUTE,
    SECOND,
    Acknowledge,
    Alarm,
    AlarmState,
    Ms,
    Priority,
    PutBackInService,
    Refused,
    Shelve,
    TakeOutOfService,
    Transition,
    Unshelve,
)
from monitor.core.why import Decisions, silent_because
from tests.unit.core.worlds import Shed, site

ON, OFF = 60 * SECOND, 120 * SECOND
NAME = "air-stopped:ash"
N, U, A, R, H, S, O = (  # noqa: E741
    AlarmState.NORMAL,
    AlarmState.UNACKNOWLEDGED,
    AlarmState.ACKNOWLEDGED,
    AlarmState.RETURNED,
    AlarmState.SHELVED,
    AlarmState.SUPPRESSED,
    AlarmState.OUT_OF_SERVICE,
)
ARROWS = {
    N: {U, S, H, O},
    U: {U, A, R, S, H, O},  # to itself: told again
    A: {U, N, S, H, O},
    R: {U, N, S, H, O},
    S: {U, N, H, O},
    H: {U, N, S, H, O},  # to itself: shelved anew
    O: {U, N, S},
}


def there(since: Ms, priority: Priority = Priority.HIGH, deadline: Ms | None = None, **changes: str) -> Condition:
    found = Condition(
        NAME, "air-stopped", "ash", priority, True, False, since, ON, OFF, "Air stopped in ash", "", "blow"
    )
    return replace(found, deadline=deadline, **changes)  # type: ignore[arg-type]


def rung(deadline: Ms | None = None, priority: Priority = Priority.HIGH) -> Memory:
    """An alarm that began at 0 and was told at the end of its on-delay."""
    memory, _ = step(Memory(), there(0, priority, deadline), ON)
    return memory


def run(
    memory: Memory, begin: Ms, end: Ms, found: Condition, every: Ms = 10 * SECOND
) -> tuple[Memory, list[Transition]]:
    told = []
    for now in range(begin, end + 1, every):
        memory, transition = step(memory, found, now)
        if transition is not None:
            told.append(transition)
    return memory, told


def shelve(memory: Memory, now: Ms, length: Ms, found: Condition | None = None) -> Memory:
    kept, _ = hold(memory, Shelve(now, NAME, now + length, "the keeper"), "air-stopped", "ash", found)
    return kept


# -- told again


def test_an_urgent_alarm_is_told_again_until_its_deadline() -> None:
    """Unacknowledged, it is told every two minutes with the newest words, and no more once its deadline has passed."""
    deadline = ON + 7 * MINUTE
    memory, told = run(rung(deadline), ON, ON + HOUR, there(0, deadline=deadline, title="Air stopped: 3 min"))
    assert [t.time - ON for t in told] == [2 * MINUTE, 4 * MINUTE, 6 * MINUTE]
    assert {(t.before, t.alarm.state, t.notify) for t in told} == {(U, U, True)}
    assert [t.reason for t in told] == [f"not acknowledged for {n} min" for n in (2, 4, 6)]
    assert {t.alarm.title for t in told} == {"Air stopped: 3 min"}
    assert memory.state is U


def test_it_is_told_on_until_it_is_too_late() -> None:
    """Where the end of harm is known, too, telling goes on past the deadline up to there."""
    found = replace(there(0, deadline=ON), too_late=ON + 5 * MINUTE)
    _, told = run(rung(ON), ON, ON + HOUR, found)
    assert [t.time - ON for t in told] == [2 * MINUTE, 4 * MINUTE]


def test_with_much_time_left_it_is_told_less_often() -> None:
    """Hours before its deadline it is told again after a twentieth of what is left, and ever more often towards it."""
    _, told = run(rung(ON + 100 * MINUTE), ON, ON + 2 * HOUR, there(0, deadline=ON + 100 * MINUTE))
    gaps = [later.time - earlier.time for earlier, later in pairwise(told)]
    assert told[0].time == ON + 5 * MINUTE
    assert gaps == sorted(gaps, reverse=True)
    assert gaps[-1] == 2 * MINUTE


def test_without_a_deadline_telling_again_has_an_end() -> None:
    """With no deadline an urgent alarm is told again for an hour, not for ever."""
    _, told = run(rung(), ON, ON + DAY, there(0), every=MINUTE)
    assert len(told) == REPEAT_LONGEST // REPEAT - 1


@pytest.mark.parametrize("priority", [Priority.MEDIUM, Priority.LOW])
def test_what_is_not_urgent_is_told_once(priority: Priority) -> None:
    """Only an urgent alarm is told again."""
    assert run(rung(priority=priority), ON, ON + DAY, there(0, priority), every=MINUTE)[1] == []


def test_an_acknowledged_alarm_comes_back_at_half_time() -> None:
    """Acknowledged, it is silent for half of the time to the deadline; then it rings again if the trouble still stands."""
    deadline = ON + 40 * MINUTE
    memory, _ = acknowledge(rung(deadline), ON, "the keeper")
    found = there(0, deadline=deadline)
    assert next_due(memory, found) == ON + 20 * MINUTE
    memory, told = run(memory, ON, ON + 21 * MINUTE, found)
    (only,) = told
    assert (only.time, only.before, only.alarm.state, only.notify) == (ON + 20 * MINUTE, A, U, True)
    assert "half of the time that was left" in only.reason
    assert next_due(memory, found) == ON + 22 * MINUTE


def test_it_comes_back_sooner_when_less_is_left() -> None:
    """A deadline that moves nearer after the acknowledgement brings the alarm back sooner."""
    memory, _ = acknowledge(rung(ON + 40 * MINUTE), ON, "")
    _, told = run(memory, ON, ON + 30 * MINUTE, there(0, deadline=ON + 10 * MINUTE))
    assert told[0].time == ON + 5 * MINUTE


@pytest.mark.parametrize("deadline", [None, ON, ON + MINUTE])
def test_with_no_time_left_an_acknowledgement_is_final(deadline: Ms | None) -> None:
    """Whoever acknowledges in the last minutes is on the way: nothing rings any more."""
    memory, _ = acknowledge(rung(deadline), ON, "")
    assert run(memory, ON, ON + DAY, there(0, deadline=deadline), every=MINUTE)[1] == []


# -- held by a person


def test_a_shelf_ends_and_rings_anew() -> None:
    """Shelved it is silent; at the end of the shelf it rings, with that as its reason, if the trouble is still there."""
    memory = shelve(rung(), ON, 30 * MINUTE, there(0))
    memory, told = run(memory, ON, ON + 31 * MINUTE, there(0))
    (only,) = told
    assert (only.time, only.before, only.alarm.state, only.notify) == (ON + 30 * MINUTE, H, U, True)
    assert only.reason.startswith("its shelf has ended and the trouble is still there")
    assert memory.alarm is not None
    assert memory.alarm.until is None


def test_a_shelf_over_nothing_ends_in_silence() -> None:
    """When the trouble has gone meanwhile the end of the shelf leaves nothing behind."""
    memory = shelve(rung(), ON, 30 * MINUTE)
    gone = over(NAME, "air-stopped", "ash", Priority.HIGH, OFF)
    memory, told = run(memory, ON, ON + HOUR, gone)
    assert (memory, [(t.alarm.state, t.notify) for t in told]) == (Memory(), [(N, False)])


@pytest.mark.parametrize(
    ("priority", "deadline", "longest"),
    [
        (Priority.HIGH, None, 2 * HOUR),
        (Priority.HIGH, ON + 20 * MINUTE, 10 * MINUTE),
        (Priority.MEDIUM, None, 7 * DAY),
        (Priority.LOW, None, 7 * DAY),
    ],
)
def test_a_shelf_has_a_longest(priority: Priority, deadline: Ms | None, longest: Ms) -> None:
    """An alarm is shelved for as long as its priority and half of the time left allow; longer is refused, saying so."""
    memory, found = rung(deadline, priority), there(0, priority, deadline)
    assert shelve(memory, ON, longest, found).state is H
    with pytest.raises(Refused, match="allowed is at most"):
        shelve(memory, ON, longest + 1, found)


def test_no_shelf_without_time_left() -> None:
    """Where the oxygen may already be used up nothing is shelved."""
    with pytest.raises(Refused, match="no time left"):
        shelve(rung(ON), ON, MINUTE, there(0, deadline=ON))


def test_what_becomes_urgent_leaves_its_shelf() -> None:
    """A long shelf is cut when the trouble becomes urgent: to half of what is left since then."""
    calm = there(0, Priority.MEDIUM)
    memory = shelve(rung(priority=Priority.MEDIUM), ON, 3 * DAY, calm)
    memory, told = run(memory, ON, 5 * MINUTE, calm)
    assert told == []
    begun = 5 * MINUTE
    memory, told = run(memory, begun, HOUR, there(0, deadline=begun + 16 * MINUTE))
    assert (told[0].before, told[0].alarm.state) == (H, U)
    assert told[0].time <= begun + 8 * MINUTE
    assert told[0].reason.startswith(("it has become too urgent", "its shelf has ended"))


def test_out_of_service_until_put_back() -> None:
    """Out of service it is silent for as long as it takes, in sight, and rings when it is put back with the trouble there."""
    memory, out = hold(rung(), TakeOutOfService(ON, NAME, "the keeper", "a new pump comes"), "air-stopped", "ash", None)
    assert out is not None
    assert (out.alarm.state, out.notify, out.reason) == (
        O,
        False,
        "taken out of service by the keeper: a new pump comes",
    )
    memory, told = run(memory, ON, 30 * DAY, there(0), every=HOUR)
    assert (told, memory.state, next_due(memory, there(0))) == ([], O, None)
    memory, back = hold(memory, PutBackInService(30 * DAY, NAME, ""), "air-stopped", "ash", there(0))
    assert back is not None
    assert (back.before, back.alarm.state, back.notify) == (O, U, True)
    assert "put back in service and the trouble is still there" in back.reason


@pytest.mark.parametrize(
    ("command", "says"),
    [
        (Unshelve(ON, NAME), "is not shelved"),
        (PutBackInService(ON, NAME), "is not out of service"),
        (Shelve(ON, NAME, ON), "must end after now"),
    ],
)
def test_what_cannot_be_done_is_said(command: Unshelve | PutBackInService | Shelve, says: str) -> None:
    """A command that does not fit the state is refused in words."""
    with pytest.raises(Refused, match=says):
        hold(rung(), command, "air-stopped", "ash", None)


# -- why


def test_a_silence_is_kept_once_for_each_cause() -> None:
    """However many steps a silence lasts, it is one decision; its next cause is another."""
    decisions, memory = Decisions(), Memory()
    moments = [(now, there(0, Priority.MEDIUM)) for now in range(0, ON + 5 * MINUTE, SECOND)]
    moments += [
        (now, replace(there(0, Priority.MEDIUM), active=False)) for now in range(6 * MINUTE, 9 * MINUTE, SECOND)
    ]
    for now, found in moments:
        after, transition = step(memory, found, now)
        if transition is None:
            decisions.silent(NAME, now, silent_because(memory, found, now))
        else:
            decisions.moved(transition)
        memory = after
    assert [(d.time, d.notify, d.cause) for d in decisions.of(NAME)] == [
        (0, False, "on-delay"),
        (ON, True, "told"),
        (6 * MINUTE, False, "deadband"),
    ]
    assert all(d.reason for d in decisions.of(NAME))


# -- in the engine


def shed_without_air() -> Shed:
    """A shed whose air has been off for forty minutes: nothing has hatched, so it is not urgent."""
    shed = Shed()
    shed.begin()
    shed.run(23 * MINUTE)
    shed.run(40 * MINUTE, air=False)
    assert shed.state(NAME) is U
    return shed


def urgent_shed() -> Shed:
    """A shed whose air has just been told as stopped over animals that swim."""
    shed = Shed()
    shed.remember("ash-water", 21, lambda _: 28.0).remember("ash-air", 21, lambda _: 1)
    shed.run(MINUTE, 28.0)
    shed.begin(hours_ago=20)
    shed.run(2 * MINUTE, 28.0)
    shed.run(MINUTE, 28.0, air=False)
    assert [(t.alarm.id, t.alarm.priority) for t in shed.told()] == [(NAME, Priority.HIGH)]
    return shed


def test_stopped_air_over_animals_is_told_again_with_the_minutes_left() -> None:
    """Each telling says how many minutes are left then, fewer each time; acknowledging ends it."""
    shed = urgent_shed()
    shed.run(7 * MINUTE, 28.0, air=False)
    told = [move for move in shed.moves if move.notify]
    assert [later.time - earlier.time for earlier, later in pairwise(told)] == [2 * MINUTE] * 3
    left = [(move.alarm.deadline or 0) - move.time for move in told]
    assert left == sorted(left, reverse=True)
    assert left[0] > left[-1]
    assert len({move.alarm.title for move in told}) > 1
    shed.do(Acknowledge(shed.now, NAME, "the keeper"))
    known = len(shed.moves)
    shed.run(5 * MINUTE, 28.0, air=False)
    assert [move for move in shed.moves[known:] if move.reason.startswith("not acknowledged")] == []


def test_stopped_air_over_animals_is_shelved_for_half_of_what_is_left() -> None:
    """The engine refuses a shelf beyond half of the minutes left, and takes one within."""
    shed = urgent_shed()
    (alarm,) = (one for one in shed.engine.alarms() if one.id == NAME)
    assert alarm.deadline is not None
    half = (alarm.deadline - shed.now) // 2
    with pytest.raises(Refused, match="half of the time that is left"):
        shed.engine.step(Shelve(shed.now, NAME, shed.now + half + MINUTE))
    shed.do(Shelve(shed.now, NAME, shed.now + half - SECOND))
    assert shed.state(NAME) is H


def test_a_shelf_outlives_a_restart_and_ends() -> None:
    """Shelved before a restart it is shelved after it, until the same moment, and then it rings."""
    shed = shed_without_air()
    until = shed.now + 30 * MINUTE
    shed.do(Shelve(shed.now, NAME, until, "the keeper"))
    shed.run(10 * MINUTE, air=False)
    after = shed.restarted()
    assert [(a.id, a.state, a.until) for a in after.engine.alarms()] == [(NAME, H, until)]
    after.run(25 * MINUTE, air=False)
    (only,) = after.told(NAME)
    assert until <= only.time <= until + MINUTE
    assert (only.before, only.alarm.state) == (H, U)


def test_out_of_service_outlives_a_restart() -> None:
    """Out of service it stays so over a restart, tells nobody, and is listed; put back it rings."""
    shed = shed_without_air()
    shed.do(TakeOutOfService(shed.now, NAME, "the keeper"))
    after = shed.restarted()
    after.run(HOUR, air=False)
    assert after.told(NAME) == []
    assert [(a.id, a.state) for a in after.engine.alarms()] == [(NAME, O)]
    after.do(PutBackInService(after.now, NAME, "the keeper"))
    assert [t.alarm.state for t in after.told(NAME)] == [U]


def test_a_rule_can_be_held_before_it_rings() -> None:
    """What does not stand can be held beforehand, in sight; an alarm that cannot be is refused with those that can."""
    shed = Shed(site("ash"))
    shed.do(TakeOutOfService(shed.now, "too-hot:ash", "the keeper"))
    shed.do(Shelve(shed.now, "cold-snap:ash", shed.now + HOUR))
    shed.run(30 * MINUTE)
    assert {a.id: a.state for a in shed.engine.alarms()} == {"too-hot:ash": O, "cold-snap:ash": H}
    shed.run(31 * MINUTE)
    assert {a.id: a.state for a in shed.engine.alarms()} == {"too-hot:ash": O}
    with pytest.raises(Refused, match=r"there can be: .*too-hot:ash"):
        shed.engine.step(Shelve(shed.now, "too-hot:oak", shed.now + HOUR))
    assert shed.told() == []


def test_the_end_of_a_batch_ends_its_shelves() -> None:
    """What was shelved for one batch is not shelved for the next; what is out of service stays so."""
    shed = shed_without_air()
    shed.do(Shelve(shed.now, NAME, shed.now + DAY))
    shed.do(TakeOutOfService(shed.now, "too-hot:ash"))
    shed.do(Discard(shed.now, shed.now, "b1"))
    assert [(a.id, a.state) for a in shed.engine.alarms()] == [("too-hot:ash", O)]


def test_the_engine_knows_why() -> None:
    """Why it rang and why it did not can be asked, in order, and what was decided before a restart, too."""
    shed = shed_without_air()
    shed.do(Acknowledge(shed.now, NAME, "the keeper"))
    shed.run(5 * MINUTE, air=False)
    told = [(d.notify, d.reason) for d in shed.engine.why(NAME)]
    assert [notify for notify, _ in told] == [False, True, False]
    assert told[0][1].startswith("waits for its on-delay")
    assert told[1][1].startswith("held for")
    assert told[2][1] == "acknowledged by the keeper"
    shown = bench(shed.engine, {}, shed.now)["decisions"][NAME]
    assert [(one["notify"], one["reason"]) for one in shown] == told
    after = shed.restarted()
    for move in shed.moves:
        after.engine.recall_transition(move)
    assert [(d.notify, d.reason) for d in after.engine.why(NAME)] == told[1:]
    assert shed.engine.why("too-hot:ash") == []


# -- every order of everything


class WholeLife(RuleBasedStateMachine):
    """One alarm under every order of troubles, priorities, deadlines, holds, commands and waiting.

    Each step is taken twice from the same memory: same inputs give the same outputs.
    """

    def __init__(self) -> None:
        super().__init__()
        self.now: Ms = 1_000 * MINUTE
        self.memory = Memory()
        self.active, self.clear = False, True
        self.since: Ms = self.now
        self.priority = Priority.MEDIUM
        self.deadline: Ms | None = None
        self.held = False
        self.free_since: Ms | None = None  # there, and nothing holds it back, since
        self.told = False  # the trouble that stands was told since nothing held it back
        self.moves: list[Transition] = []
        self.shelved_at: Ms | None = None

    def found(self) -> Condition:
        return Condition(
            NAME,
            "air-stopped",
            "ash",
            self.priority,
            self.active,
            self.clear,
            self.since,
            ON,
            OFF,
            title="Air stopped in ash",
            suppressed="settling" if self.held and not self.clear else "",
            deadline=self.deadline if self.active else None,
        )

    # -- what can happen

    @initialize(priority=st.sampled_from(Priority))
    def begin(self, priority: Priority) -> None:
        self.priority = priority

    @rule(wait=st.one_of(st.sampled_from([1, ON - 1, ON, OFF, REPEAT, HOUR, 3 * HOUR, 8 * DAY]), st.integers(0, HOUR)))
    def time_passes(self, wait: Ms) -> None:
        self.now += wait
        self.look()

    @rule(minutes=st.integers(1, 20))
    def it_is_looked_at_every_minute(self, minutes: int) -> None:
        for _ in range(minutes):
            self.now += MINUTE
            self.look()

    @rule()
    def what_is_due_comes(self) -> None:
        due = next_due(self.memory, self.found())
        if due is not None and not self.too_late():
            assert due > self.now
            self.now = due
            known = len(self.moves)
            self.look()
            assert len(self.moves) > known, "nothing happened when it was due"

    @rule(kind=st.sampled_from(["there", "there", "between", "gone"]))
    def the_world_changes(self, kind: str) -> None:
        if kind == "there" and not self.active:
            self.since = self.now
        self.active, self.clear = kind == "there", kind == "gone"
        self.look()

    @rule(priority=st.sampled_from(Priority), minutes=st.one_of(st.none(), st.integers(0, 200)))
    def it_is_graver_or_less_grave(self, priority: Priority, minutes: int | None) -> None:
        self.priority = priority
        self.deadline = None if minutes is None else self.now + minutes * MINUTE
        self.look()

    @rule(held=st.booleans())
    def it_is_held_back_by_design(self, held: bool) -> None:
        self.held = held
        self.look()

    @rule()
    def a_person_acknowledges(self) -> None:
        before = self.memory
        after = acknowledge(before, self.now, "the keeper")
        assert after == acknowledge(before, self.now, "the keeper")
        self.take(*after)
        assert self.memory.state is {U: A, R: N}.get(before.state, before.state)

    @rule(length=st.one_of(st.integers(1, 8 * DAY), st.integers(1, HOUR)))
    def a_person_shelves(self, length: Ms) -> None:
        urgent = self.memory.alarm is not None and self.memory.alarm.priority is Priority.HIGH
        self.command(Shelve(self.now, NAME, self.now + length, "the keeper"))
        if self.memory.state is H and self.moves[-1].time == self.now and urgent:
            assert length <= SHELF_LONGEST[Priority.HIGH] or self.moves[-1].alarm.until != self.now + length

    @rule(minutes=st.integers(0, 300))
    def a_long_shelf_and_then_it_is_urgent(self, minutes: int) -> None:
        """Without a nudge few walks get there."""
        self.priority, self.deadline = Priority.MEDIUM, None
        self.the_world_changes("there")
        self.command(Shelve(self.now, NAME, self.now + 5 * DAY, "the keeper"))
        self.time_passes(MINUTE)
        self.it_is_graver_or_less_grave(Priority.HIGH, minutes)

    @precondition(lambda self: self.memory.state is H)
    @rule()
    def a_person_unshelves(self) -> None:
        self.command(Unshelve(self.now, NAME, "the keeper"))
        assert self.memory.state is not H

    @rule()
    def a_person_takes_it_out(self) -> None:
        self.command(TakeOutOfService(self.now, NAME, "the keeper"))
        assert self.memory.state is O

    @precondition(lambda self: self.memory.state is O)
    @rule()
    def a_person_puts_it_back(self) -> None:
        self.command(PutBackInService(self.now, NAME, "the keeper"))
        assert self.memory.state is not O

    # -- what is done with it

    def command(self, command: Shelve | Unshelve | TakeOutOfService | PutBackInService) -> None:
        try:
            after = hold(self.memory, command, "air-stopped", "ash", self.found())
        except Refused:
            return
        assert after == hold(self.memory, command, "air-stopped", "ash", self.found())
        self.take(*after)
        self.look()

    def look(self) -> None:
        found, before = self.found(), self.memory
        after = step(before, found, self.now)
        assert after == step(before, found, self.now)
        self.take(*after)
        if after[1] is None:
            silence = silent_because(before, found, self.now)
            assert silence is not None or not found.active, "nobody is told, and nobody knows why"
        hushed = bool(found.suppressed) or self.memory.state in HELD_BY_A_PERSON
        if not found.active or hushed:
            self.free_since = None
        elif self.free_since is None:
            self.free_since = self.now

    def take(self, memory: Memory, transition: Transition | None) -> None:
        before, self.memory = self.memory, memory
        if transition is None:
            assert memory.state is before.state
            return
        self.moves.append(transition)
        found, after = self.found(), transition.alarm.state
        assert transition.reason
        assert transition.alarm.reason == transition.reason
        assert transition.before is before.state
        assert after is memory.state
        assert after in ARROWS[transition.before], f"{transition.before} to {after}"
        assert transition.time == self.now
        if transition.notify:
            assert after in (U, R, N), "told while it was held back"
            assert not (after is U and found.suppressed)
        if after is U:
            assert transition.notify
            assert found.active
        if after in (R, N) and transition.notify:
            assert self.told, "the end was told of what never was"
            assert transition.before in STANDING
        if transition.before is A and after is U:
            assert self.priority is Priority.HIGH
        if transition.before is U and after is U and before.alarm is not None:
            self.check_repeat(before.alarm)
        self.shelved_at = self.now if after is H else None
        self.told = after is U or (self.told and after in (A, R))

    def check_repeat(self, before: Alarm) -> None:
        assert self.priority is Priority.HIGH
        if before.priority is Priority.HIGH:
            last = max(move.time for move in self.moves[:-1] if move.notify)
            assert self.now - last >= REPEAT, "told again too soon"
            assert self.deadline is None or self.now < self.deadline, "told again when it was too late"

    def too_late(self) -> bool:
        """Whether telling again has ended, perhaps while nobody looked."""
        alarm = self.memory.alarm
        if self.memory.state is not U or alarm is None or self.memory.clearing is not None:
            return False
        return self.now >= (alarm.changed + REPEAT_LONGEST if self.deadline is None else self.deadline)

    # -- what must hold

    @invariant()
    def what_stands_longer_than_its_delay_is_told(self) -> None:
        if self.free_since is not None and self.now - self.free_since >= ON:
            assert self.memory.state in STANDING
            assert self.told

    @invariant()
    def a_shelf_ends(self) -> None:
        alarm = self.memory.alarm
        if self.memory.state is not H or alarm is None or self.shelved_at is None:
            return
        assert alarm.until is not None
        assert self.now < alarm.until <= self.shelved_at + SHELF_LONGEST[Priority.LOW]
        assert not ended(self.memory, self.now)
        assert ended(self.memory, alarm.until)
        if self.active and self.priority is Priority.HIGH and self.memory.begun is not None:
            begin = max(self.shelved_at, self.memory.begun)
            assert alarm.until <= begin + SHELF_LONGEST[Priority.HIGH]
            assert self.deadline is None or alarm.until <= max(begin + (self.deadline - begin) // 2, begin)

    @invariant()
    def nothing_is_told_again_once_acknowledged(self) -> None:
        found = self.found()
        if self.memory.state is A and found.deadline is None and self.memory.alarm is not None:
            assert step(self.memory, found, self.now)[1] is None

    @invariant()
    def what_is_over_is_forgotten(self) -> None:
        if self.memory.state is N and not self.active:
            assert self.memory == Memory()

    @invariant()
    def what_is_due_lies_ahead(self) -> None:
        if not self.too_late():
            due = next_due(self.memory, self.found())
            assert due is None or due > self.now


WholeLife.TestCase.settings = settings(max_examples=50, stateful_step_count=40, deadline=None)
TestWholeLife = WholeLife.TestCase
