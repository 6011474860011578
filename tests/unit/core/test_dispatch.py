from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.dispatch import (
    AT_ONCE,
    Cause,
    Kind,
    Manners,
    Reach,
    Slip,
    due,
    heard,
    kind_of,
    next_digest,
    plan,
    quiet_end,
    when,
)
from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Alarm, AlarmState, Ms, Priority, Transition

BERLIN = "Europe/Berlin"
HOME = Manners(timezone=BERLIN)


def at(text: str, timezone: str = BERLIN) -> Ms:
    """A local time such as ``2026-02-02 23:10``."""
    return int(datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(timezone)).timestamp() * 1000)


def local(time: Ms, timezone: str = BERLIN) -> str:
    return datetime.fromtimestamp(time / 1000, ZoneInfo(timezone)).strftime("%d %H:%M")


NIGHT = at("2026-02-02 23:10")
NOON = at("2026-02-02 12:00")


def alarm(
    priority: Priority = Priority.MEDIUM, *, over: bool = False, minutes_left: int | None = None, now: Ms = NIGHT
) -> Alarm:
    return Alarm(
        id="cold:ash",
        rule="cold",
        subject="ash",
        priority=priority,
        state=AlarmState.RETURNED if over else AlarmState.UNACKNOWLEDGED,
        since=now - HOUR,
        changed=now,
        title="Cold in ash",
        text="",
        todo="",
        reason="",
        deadline=None if minutes_left is None else now + minutes_left * MINUTE,
    )


def slip(number: int, priority: Priority = Priority.MEDIUM, kind: Kind = Kind.TROUBLE, **more: object) -> Slip:
    made = Slip(number, (f"cold:{number}",), f"rule-{number}", kind, priority, NOON, Cause.GATHERING)
    return replace(made, **more)  # type: ignore[arg-type]


# -- what a letter is about


@pytest.mark.parametrize(
    ("before", "state", "changed", "kind"),
    [
        (AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, NIGHT, Kind.TROUBLE),
        (AlarmState.UNACKNOWLEDGED, AlarmState.UNACKNOWLEDGED, NIGHT - MINUTE, Kind.REPEAT),
        (AlarmState.UNACKNOWLEDGED, AlarmState.UNACKNOWLEDGED, NIGHT, Kind.TROUBLE),  # it has become urgent
        (AlarmState.ACKNOWLEDGED, AlarmState.UNACKNOWLEDGED, NIGHT, Kind.TROUBLE),
        (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED, NIGHT, Kind.OVER),
        (AlarmState.ACKNOWLEDGED, AlarmState.NORMAL, NIGHT, Kind.OVER),
    ],
)
def test_what_a_transition_tells(before: AlarmState, state: AlarmState, changed: Ms, kind: Kind) -> None:
    """Only what was told before and still is the same is a repeat; what became urgent or came back is told anew."""
    moved = replace(alarm(), state=state, changed=changed)
    assert kind_of(Transition(NIGHT, moved, before, notify=True, reason="")) is kind


# -- when one letter may go


@pytest.mark.parametrize(
    ("priority", "now", "until", "cause"),
    [
        (Priority.HIGH, NIGHT, NIGHT + 5 * SECOND, Cause.GATHERING),
        (Priority.MEDIUM, NIGHT, at("2026-02-03 07:00"), Cause.QUIET),
        (Priority.LOW, NIGHT, at("2026-02-03 07:00"), Cause.DAILY),
        (Priority.HIGH, NOON, NOON + 5 * SECOND, Cause.GATHERING),
        (Priority.MEDIUM, NOON, NOON + 5 * SECOND, Cause.GATHERING),
        (Priority.LOW, NOON, at("2026-02-03 07:00"), Cause.DAILY),
        (Priority.MEDIUM, at("2026-02-03 06:59"), at("2026-02-03 07:00"), Cause.QUIET),
        (Priority.MEDIUM, at("2026-02-03 07:00"), at("2026-02-03 07:00") + 5 * SECOND, Cause.GATHERING),
    ],
)
def test_only_what_is_urgent_breaks_the_quiet_hours(priority: Priority, now: Ms, until: Ms, cause: Cause) -> None:
    """Urgent at any hour; by day also medium; the rest waits for the morning, always with a reason."""
    hold = when(Kind.TROUBLE, alarm(priority, now=now), now, HOME, Reach(), told=False)
    assert hold is not None
    assert (hold.until, hold.cause) == (until, cause)
    assert hold.why


def test_the_reason_says_until_when_it_waits() -> None:
    """Whoever asks why the phone was silent finds the hour at which it rings."""
    hold = when(Kind.TROUBLE, alarm(), NIGHT, replace(HOME, quiet_until=6 * 60 + 30), Reach(), told=False)
    assert hold is not None
    assert hold.why == "quiet hours: told at 06:30"


def test_a_keeper_may_be_woken_for_more() -> None:
    """With night = medium, or without quiet hours, a cold snap is told while it can be mended."""
    for manners in (replace(HOME, night=Priority.MEDIUM), replace(HOME, quiet=False)):
        hold = when(Kind.TROUBLE, alarm(), NIGHT, manners, Reach(), told=False)
        assert hold is not None
        assert hold.until == NIGHT + 5 * SECOND


@pytest.mark.parametrize(("minutes_left", "waits"), [(None, 5 * SECOND), (60, 5 * SECOND), (0, 0)])
def test_urgent_letters_wait_for_others_no_longer_than_an_eye_needs(minutes_left: int | None, waits: Ms) -> None:
    """A few seconds at most, and never more than a tenth of what is left."""
    rung = alarm(Priority.HIGH, minutes_left=minutes_left)
    hold = when(Kind.TROUBLE, rung, NIGHT, HOME, Reach(), told=False)
    assert hold is not None
    assert hold.until == NIGHT + waits
    near = replace(rung, deadline=NIGHT + 20 * SECOND)
    hold = when(Kind.TROUBLE, near, NIGHT, HOME, Reach(), told=False)
    assert hold is not None
    assert hold.until == NIGHT + 2 * SECOND


def test_an_end_is_told_where_its_trouble_was_told() -> None:
    """Nobody hears that something is over which they never heard of; whoever got up for it hears at once that it is."""
    assert when(Kind.OVER, alarm(over=True), NOON, HOME, Reach(), told=False) is None
    urgent = when(Kind.OVER, alarm(Priority.HIGH, over=True), NIGHT, HOME, Reach(), told=True)
    medium = when(Kind.OVER, alarm(over=True), NIGHT, HOME, Reach(), told=True)
    assert urgent is not None
    assert medium is not None
    assert (urgent.cause, medium.cause) == (Cause.GATHERING, Cause.QUIET)


@pytest.mark.parametrize(("minutes_left", "waits"), [(None, 5), (60, 5), (15, 5), (6, 2), (0, 0), (-3, 0)])
def test_the_second_channel_waits_for_an_answer(minutes_left: int | None, waits: int) -> None:
    """It is called after its time or a third of what is left, whichever is sooner, and at once when it was called before."""
    second = Reach(after=5 * MINUTE)
    rung = alarm(Priority.HIGH, minutes_left=minutes_left)
    hold = when(Kind.TROUBLE, rung, NIGHT, HOME, second, told=False)
    assert hold is not None
    assert (hold.until, hold.cause) == (NIGHT + waits * MINUTE, Cause.SECOND)
    again = when(Kind.REPEAT, rung, NIGHT, HOME, second, told=True)
    assert again is not None
    assert again.cause is Cause.GATHERING
    assert when(Kind.TROUBLE, alarm(), NOON, HOME, second, told=False) is None


@pytest.mark.parametrize("least", Priority)
@pytest.mark.parametrize("priority", Priority)
def test_a_channel_gets_what_it_is_for(least: Priority, priority: Priority) -> None:
    """Nothing below its least priority."""
    order = [Priority.HIGH, Priority.MEDIUM, Priority.LOW]
    hold = when(Kind.TROUBLE, alarm(priority), NOON, HOME, Reach(least=least), told=False)
    assert (hold is not None) == (order.index(priority) <= order.index(least))


def test_without_manners_all_goes_at_once() -> None:
    """Each letter by itself, whatever its priority and the hour."""
    for priority in Priority:
        hold = when(Kind.TROUBLE, alarm(priority), NIGHT, AT_ONCE, Reach(), told=False)
        assert hold is not None
        assert hold.until == NIGHT


def test_a_hold_of_a_wrong_clock_ends() -> None:
    """A letter that was written while the clock was a year ahead does not wait a year."""
    assert not due(NIGHT + 8 * HOUR, Cause.QUIET, NIGHT)
    assert due(NIGHT, Cause.QUIET, NIGHT)
    assert due(NIGHT + 365 * DAY, Cause.QUIET, NIGHT)
    assert due(NIGHT + HOUR, Cause.GATHERING, NIGHT)


# -- local time


def at_noon_before(time: Ms, timezone: str) -> Ms:
    """Noon of the day before: no clock changes then."""
    day = datetime.fromtimestamp(time / 1000, ZoneInfo(timezone)).date() - timedelta(days=1)
    return at(f"{day.isoformat()} 12:00", timezone)


NIGHTS = [
    (BERLIN, "2026-03-29"),
    (BERLIN, "2026-10-25"),
    ("America/New_York", "2026-03-08"),
    ("America/New_York", "2026-11-01"),
    ("Australia/Lord_Howe", "2026-10-04"),
    ("Australia/Lord_Howe", "2026-04-05"),
]


@pytest.mark.parametrize(("timezone", "day"), NIGHTS)
@pytest.mark.parametrize(
    ("begin", "end"),
    [
        ("22:00", "07:00"),
        ("01:45", "02:45"),
        ("02:15", "06:00"),
        ("22:00", "02:30"),
        ("23:30", "01:30"),
        ("02:10", "02:20"),
    ],
)
def test_quiet_hours_and_digests_in_the_nights_the_clocks_change(timezone: str, day: str, begin: str, end: str) -> None:
    """Walked through minute by minute: one beginning, one end and one digest a day, neither doubled nor skipped."""
    first, last = (int(part[:2]) * 60 + int(part[3:]) for part in (begin, end))
    manners = Manners(timezone=timezone, quiet_from=first, quiet_until=last)
    midnight = at(f"{day} 00:00", timezone)
    three_days = range(at_noon_before(midnight, timezone), at_noon_before(midnight + 3 * DAY + HOUR, timezone), MINUTE)
    quiet = {minute: quiet_end(manners, minute) for minute in (three_days[0] - MINUTE, *three_days)}
    begins = [minute for minute in three_days if quiet[minute] and not quiet[minute - MINUTE]]
    ends = [minute for minute in three_days if quiet[minute - MINUTE] and not quiet[minute]]
    digests = [minute for minute in three_days if next_digest(manners, minute) == minute]
    assert (len(begins), len(ends), len(digests)) == (3, 3, 3)
    assert ends == digests
    assert [quiet[minute] for minute in begins if minute < ends[-1]] == [end for end in ends if end > begins[0]]


@given(st.sampled_from(NIGHTS), st.integers(0, 1439), st.integers(0, 1439), st.integers(-36 * 60, 36 * 60))
def test_the_end_of_the_quiet_hours_is_a_digest(night: tuple[str, str], begin: int, end: int, minute: int) -> None:
    """Whatever the hours and the night: who waits is told at the next digest, at most 25.5 hours away."""
    timezone, day = night
    manners = Manners(timezone=timezone, quiet_from=begin, quiet_until=end)
    time = at(f"{day} 03:00", timezone) + minute * MINUTE
    digest = next_digest(manners, time)
    assert time <= digest <= time + 25 * HOUR + 30 * MINUTE
    until = quiet_end(manners, time)
    if until is not None:
        assert time < until <= time + 25 * HOUR + 30 * MINUTE
        assert quiet_end(manners, until) is None or begin == end
        assert next_digest(manners, until) == until


# -- what goes together


def test_a_shelf_is_one_letter() -> None:
    """Vessels with the same trouble within the gathering time are told together, softer ones too; other rules are not."""
    shelf = [slip(n, Priority.HIGH, rule="air-stopped") for n in (1, 2)]
    late = slip(3, Priority.HIGH, rule="air-stopped", until=NOON + 4 * SECOND)
    later = slip(4, Priority.HIGH, rule="air-stopped", until=NOON + 6 * SECOND)
    other = slip(5, Priority.HIGH)
    soft = slip(6, Priority.MEDIUM, rule="air-stopped", cause=Cause.GATHERING)
    made = plan([*shelf, other, soft], [late, later], [], NOON, HOME)
    assert sorted([sorted(one.id for one in group) for group in made.go]) == [[1, 2, 3, 6], [5]]
    assert made.later == []


def test_the_same_alarm_twice_is_no_shelf() -> None:
    """Two occurrences of one alarm are told one after the other, and what may have been taken stays itself."""
    twice = [slip(n, Priority.HIGH, rule="air-stopped", alarms=("air-stopped:ash",)) for n in (1, 2)]
    tried = [slip(n, Priority.HIGH, rule="hot", tried=True) for n in (3, 4)]
    made = plan([*twice, *tried], [], [], NOON, HOME)
    assert [len(group) for group in made.go] == [1, 1, 1, 1]


def test_the_fourth_push_in_ten_minutes_waits() -> None:
    """Three in any ten minutes, and then all that has come by then in one; ten minutes after the first of the three."""
    pushes = [NOON - 11 * MINUTE, NOON - 9 * MINUTE, NOON - 5 * MINUTE, NOON - MINUTE]
    made = plan([slip(1), slip(2)], [], pushes, NOON, HOME)
    assert made.go == []
    assert [one.id for one in made.later] == [1, 2]
    assert made.again == NOON + MINUTE
    waited = [slip(n, cause=Cause.FLOOD, until=NOON + MINUTE) for n in (1, 2, 3)]
    made = plan([*waited, slip(4, until=NOON + MINUTE)], [], pushes, NOON + MINUTE, HOME)
    assert [[one.id for one in group] for group in made.go] in ([[1, 2, 3, 4]], [[4, 1, 2, 3]])


def test_urgent_trouble_waits_for_nothing() -> None:
    """It goes in the worst storm, told first or told again, since its minutes run; and it counts for the others."""
    pushes = [NOON - MINUTE] * 3
    made = plan([slip(1, Priority.HIGH), slip(2, Priority.HIGH, Kind.REPEAT)], [], pushes, NOON, HOME)
    assert [[one.id for one in group] for group in made.go] == [[1], [2]]
    made = plan([slip(1, Priority.HIGH), slip(2), slip(3)], [], pushes[:1], NOON, HOME)
    assert [[one.id for one in group] for group in made.go] == [[1], [2, 3]]


PRIORITIES = st.sampled_from(Priority)
KINDS = st.sampled_from([Kind.TROUBLE, Kind.REPEAT, Kind.OVER])
ARRIVALS = st.lists(st.tuples(st.integers(0, 3600), PRIORITIES, KINDS, st.integers(1, 3)), max_size=60)


@given(ARRIVALS)
def test_no_storm_gets_through(arrivals: list[tuple[int, Priority, Kind, int]]) -> None:
    """Whatever comes within an hour: nothing is forgotten, and of all but urgent trouble no four in ten minutes."""
    waiting: list[Slip] = []
    pushes: list[Ms] = []
    limited: list[Ms] = []
    told: list[int] = []
    coming = sorted(enumerate(arrivals), key=lambda one: one[1][0])
    for second in range(0, 7200, 5):
        now = NOON + second * SECOND
        while coming and coming[0][1][0] <= second:
            number, (_, priority, kind, rule) = coming.pop(0)
            waiting.append(slip(number, priority, kind, rule=f"rule-{rule}", until=now + 5 * SECOND))
        ready = [one for one in waiting if due(one.until, one.cause, now)]
        made = plan(ready, [one for one in waiting if one not in ready], pushes, now, HOME)
        later = {one.id for one in made.later}
        gone = {one.id for group in made.go for one in group}
        assert not later & gone
        assert later | gone >= {one.id for one in ready}
        pushes += [now] * len(made.go)
        limited += [now for group in made.go if not any(one.pressing for one in group)]
        told += gone
        waiting = [
            replace(one, until=made.again, cause=Cause.FLOOD) if one.id in later else one
            for one in waiting
            if one.id not in gone
        ]
    assert sorted(told) == list(range(len(arrivals)))
    for number, push in enumerate(limited[3:]):
        assert push - limited[number] >= 10 * MINUTE


@pytest.mark.parametrize(
    ("rule", "rings", "goes"),
    [
        ("cold-snap", "2026-02-02 20:00", "2026-02-02 20:30"),
        ("hatch-late", "2026-02-02 20:00", "2026-02-02 20:30"),
        ("ready", "2026-02-02 20:00", "2026-02-02 20:10"),
        ("cold-snap", "2026-02-02 21:45", "2026-02-02 22:00"),
        ("ready", "2026-02-02 21:55", "2026-02-02 22:00"),
        ("cold-snap", "2026-02-02 22:00", "2026-02-03 07:00"),
    ],
)
def test_what_reaches_a_room_slowly_is_gathered_but_not_into_the_night(rule: str, rings: str, goes: str) -> None:
    """Cold waits half an hour for the other vessels, ready ten minutes, and neither so long that it wakes somebody."""
    time = at(rings)
    rung = replace(alarm(now=time), id=f"{rule}:ash", rule=rule)
    hold = when(Kind.TROUBLE, rung, time, Manners("Europe/Berlin"), Reach(), told=False)
    assert hold is not None
    assert hold.until == at(goes)
    assert due(hold.until, hold.cause, time) is False


@pytest.mark.parametrize(
    ("priority", "rings", "known"),
    [
        (Priority.HIGH, "2026-02-02 23:10", "2026-02-02 23:10"),
        (Priority.MEDIUM, "2026-02-02 23:10", "2026-02-03 07:00"),
        (Priority.MEDIUM, "2026-02-02 12:00", "2026-02-02 12:00"),
        (Priority.LOW, "2026-02-02 12:00", "2026-02-03 07:00"),
    ],
)
def test_what_waits_for_the_morning_is_heard_of_then(priority: Priority, rings: str, known: str) -> None:
    """A person has heard of a trouble when its letter goes, not when it rang."""
    assert heard(priority, at(rings), Manners("Europe/Berlin")) == at(known)
    assert heard(priority, at(rings), None) == at(rings)
