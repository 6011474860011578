"""The life of one alarm under every order of findings, delays, acknowledgements and waiting."""

from __future__ import annotations

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from monitor.core.alarms import STANDING, Condition, Memory, acknowledge, next_due, step
from monitor.core.model import MINUTE, SECOND, AlarmState, Ms, Priority, Transition

ON, OFF = 60 * SECOND, 120 * SECOND


class AlarmLife(RuleBasedStateMachine):
    """A world of its own keeps count of how long the trouble has been there and how often a person was told."""

    def __init__(self) -> None:
        super().__init__()
        self.now: Ms = 1_000 * MINUTE
        self.memory = Memory()
        self.active = False
        self.clear = True
        self.held = False
        self.since: Ms = self.now
        self.heard_since: Ms | None = None  # there and free to ring, without a break, since
        self.clear_since: Ms | None = self.now
        self.told = 0  # times a person was told of this occurrence
        self.told_over = 0
        self.last_change: Ms = 0

    # -- what can happen

    @rule(wait=st.sampled_from([1, SECOND, ON - 1, ON, OFF - 1, OFF, OFF + 1, 10 * OFF]))
    def time_passes(self, wait: int) -> None:
        self.now += wait
        self.look()

    @rule(kind=st.sampled_from(["there", "between", "gone"]), wait=st.integers(0, 90 * SECOND))
    def the_world_changes(self, kind: str, wait: int) -> None:
        self.now += wait
        if kind == "there" and not self.active:
            self.since = self.now
        self.active, self.clear = kind == "there", kind == "gone"
        self.look()

    @rule()
    def there_and_gone(self) -> None:
        """The whole of an occurrence: without a nudge few walks get to its end."""
        self.the_world_changes("there", 0)
        self.time_passes(ON)
        self.the_world_changes("gone", 0)
        self.time_passes(OFF - 1)

    @rule(wait=st.integers(0, 90 * SECOND))
    def it_may_not_ring(self, wait: int) -> None:
        self.now += wait
        self.held = True
        self.look()

    @rule()
    def it_may_ring(self) -> None:
        self.held = False
        self.look()

    @rule()
    def the_delay_runs_out(self) -> None:
        due = next_due(self.memory, self.found())
        if due is not None:
            assert due > self.now, "an unfired delay lies in the past"
            before = self.state
            self.now = due
            self.look()
            assert self.state is not before, "nothing happened when it was due"

    @rule(wait=st.integers(0, 30 * SECOND))
    def a_person_acknowledges(self, wait: int) -> None:
        self.now += wait
        self.look()
        before = self.state
        self.memory, transition = acknowledge(self.memory, self.now, "the keeper")
        expected = {AlarmState.UNACKNOWLEDGED: AlarmState.ACKNOWLEDGED, AlarmState.RETURNED: AlarmState.NORMAL}
        assert self.state is expected.get(before, before)
        assert (transition is not None) == (before in expected)
        if transition is not None:
            self.check(transition, before)
            assert not transition.notify

    # -- what must hold

    @property
    def state(self) -> AlarmState:
        return AlarmState.NORMAL if self.memory.alarm is None else self.memory.alarm.state

    def found(self) -> Condition:
        return Condition(
            id="too-hot:ash",
            rule="too-hot",
            subject="ash",
            priority=Priority.MEDIUM,
            active=self.active,
            clear=self.clear,
            since=self.since,
            on_delay=ON,
            off_delay=OFF,
            title="Too hot in ash",
            suppressed="settling" if self.held and not self.clear else "",
        )

    def look(self) -> None:
        found = self.found()
        before = self.state
        occurrence = self.told > 0
        if found.suppressed or not found.active:
            self.heard_since = None
        elif self.heard_since is None:
            self.heard_since = self.now
        self.clear_since = (self.clear_since or self.now) if found.clear else None
        self.memory, transition = step(self.memory, found, self.now)
        if transition is None:
            assert self.state is before
            assert self.memory.alarm is None or self.memory.alarm.state is before
            return
        self.check(transition, before)
        if transition.alarm.state is AlarmState.UNACKNOWLEDGED:
            assert transition.notify, "an alarm that begins tells a person"
            assert found.active
            assert not found.suppressed
            assert self.now - transition.alarm.since >= ON
            self.told += 1
            assert self.told == 1, "told twice of one occurrence"
        elif transition.notify:
            assert before in STANDING
            assert occurrence, "the end was told of what never was"
            assert self.clear_since is not None
            assert self.now - self.clear_since >= OFF, "it returned before its off-delay"
            self.told_over += 1
        if transition.alarm.state in (AlarmState.RETURNED, AlarmState.NORMAL, AlarmState.SUPPRESSED):
            self.told = 0

    def check(self, transition: Transition, before: AlarmState) -> None:
        after = transition.alarm.state
        assert transition.before is before
        assert after is not before
        assert transition.time == transition.alarm.changed == self.now >= self.last_change
        assert transition.reason == transition.alarm.reason != ""
        assert transition.alarm.since <= self.now
        if transition.notify:
            assert after is AlarmState.UNACKNOWLEDGED or before in STANDING
        if after is AlarmState.SUPPRESSED or (before is AlarmState.SUPPRESSED and after is AlarmState.NORMAL):
            assert not transition.notify, "a suppressed alarm told somebody"
        if before is AlarmState.ACKNOWLEDGED:
            assert after in (AlarmState.NORMAL, AlarmState.SUPPRESSED)
        self.last_change = self.now

    @invariant()
    def what_outlasts_its_delay_is_told(self) -> None:
        if self.heard_since is not None and self.now - self.heard_since >= ON:
            assert self.told == 1
            assert self.state in STANDING

    @invariant()
    def what_is_long_clear_is_over(self) -> None:
        if self.clear_since is not None and self.now - self.clear_since >= OFF:
            assert self.state in (AlarmState.NORMAL, AlarmState.RETURNED)

    @invariant()
    def the_normal_state_remembers_nothing(self) -> None:
        if self.state is AlarmState.NORMAL and not self.active:
            assert self.memory == Memory()

    @invariant()
    def what_is_due_lies_ahead(self) -> None:
        due = next_due(self.memory, self.found())
        assert due is None or due > self.now


AlarmLife.TestCase.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)
TestAlarmLife = AlarmLife.TestCase
