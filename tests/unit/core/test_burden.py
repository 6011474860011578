from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.burden import Burden, Told, begin_of, burden
from monitor.core.burden_findings import floods, most_within
from monitor.core.model import DAY, HOUR, MINUTE, Alarm, AlarmState, Ms, Priority, Transition
from monitor.core.occurrences import lives

BERLIN = "Europe/Berlin"
NORMAL, RINGS, SEEN = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED
RETURNED, SHELVED, OUT = AlarmState.RETURNED, AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE
HINTS = {"cold-snap": "Raise its deadband or lower cold_below."}


def local(text: str, timezone: str = BERLIN) -> Ms:
    return int(datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(timezone)).timestamp() * 1000)


NOW = local("2026-03-30T12:00")
BEGIN = local("2026-03-01T00:00")


def alarm(name: str, state: AlarmState, since: Ms, priority: Priority = Priority.MEDIUM) -> Alarm:
    rule, _, subject = name.partition(":")
    return Alarm(name, rule, subject, priority, state, since, since, name, "", "", "")


def move(
    time: Ms,
    name: str,
    before: AlarmState,
    after: AlarmState,
    *,
    since: Ms | None = None,
    priority: Priority = Priority.MEDIUM,
    notify: bool | None = None,
) -> Transition:
    told = after in (RINGS, RETURNED) if notify is None else notify
    return Transition(time, alarm(name, after, time if since is None else since, priority), before, told, "")


def rang(name: str, at: Ms, *, for_: Ms = 20 * MINUTE, priority: Priority = Priority.MEDIUM) -> list[Transition]:
    """A whole life: rings, is acknowledged after five minutes, is over."""
    return [
        move(at, name, NORMAL, RINGS, priority=priority),
        move(at + 5 * MINUTE, name, RINGS, SEEN, since=at, priority=priority),
        move(at + for_, name, SEEN, NORMAL, since=at, priority=priority),
    ]


def push(at: Ms, name: str = "cold-snap:ash", kind: str = "alarm", channel: str = "phone") -> Told:
    return Told(at, channel, kind, Priority.MEDIUM, (name,))  # type: ignore[arg-type]


def report(
    moves: list[Transition], told: list[Told] | None = None, standing: list[Alarm] | None = None, begin: Ms = BEGIN
) -> Burden:
    ordered = sorted(moves, key=lambda one: one.time)
    return burden(ordered, told or [], standing or [], begin, NOW, BERLIN, HINTS)


def verdict(found: Burden, name: str) -> bool | None:
    return next(one.kept for one in found.verdicts if one.name == name)


def test_a_quiet_month_keeps_every_target() -> None:
    """Nothing rang and nothing was told: all is kept, and every day stands in the list."""
    found = report([])
    assert len(found.days) == 30
    assert [one.kept for one in found.verdicts] == [True, True, True, True]
    assert (found.alarms, found.pushes, found.findings, found.floods) == (0, 0, (), ())


def test_repeats_and_ready_are_counted_apart() -> None:
    """An alarm told again and a ready notice are neither alarms nor pushes of the targets."""
    at = BEGIN + 5 * DAY
    moves = [
        move(at, "air-stopped:birch", NORMAL, RINGS, priority=Priority.HIGH),
        *[move(at + n * MINUTE, "air-stopped:birch", RINGS, RINGS, priority=Priority.HIGH) for n in (2, 4, 6, 8)],
        move(at + 9 * MINUTE, "air-stopped:birch", RINGS, SEEN, priority=Priority.HIGH),
        *rang("ready:ash", at + HOUR),
    ]
    told = [push(at, "air-stopped:birch"), push(at + HOUR, "ready:ash", "ready")]
    told += [push(at + n * MINUTE, "air-stopped:birch", "repeat") for n in (2, 4, 6, 8)]
    found = report(moves, told)
    assert (found.alarms, found.pushes) == (1, 1)
    day = found.days[5]
    assert (day.date, day.alarms, day.pushes, day.repeats, day.ready) == ("2026-03-06", 1, 1, 4, 1)
    assert found.priorities == {Priority.HIGH: 1, Priority.MEDIUM: 0, Priority.LOW: 0}
    assert found.floods == ()


def test_an_alarm_that_became_urgent_is_one_alarm_of_high_priority() -> None:
    """Its beginning and its turn are one occurrence."""
    at = BEGIN + DAY
    moves = [
        move(at, "air-weak:ash", NORMAL, RINGS),
        move(at + HOUR, "air-weak:ash", RINGS, RINGS, priority=Priority.HIGH),
    ]
    found = report(moves)
    assert found.priorities[Priority.HIGH] == found.alarms == 1


def test_pushes_are_those_of_the_busiest_channel() -> None:
    """One person with two channels is pushed once, not twice."""
    at = BEGIN + DAY
    told = [push(at), push(at + HOUR), push(at, channel="mail")]
    found = report([], told)
    assert (found.channel, found.pushes) == ("phone", 2)


def test_a_calm_week_is_the_calmest_of_all_and_needs_seven_days() -> None:
    """One good week is found among bad ones; a shorter record is not judged."""
    busy = [push(BEGIN + n * DAY + hour * HOUR) for n in range(30) if not 10 <= n < 17 for hour in (1, 5, 9)]
    found = report([], [*busy, *(push(BEGIN + n * DAY + HOUR) for n in range(10, 17))])
    assert verdict(found, "A calm week") is True
    assert (
        verdict(report([], [push(BEGIN + n * DAY + h * HOUR) for n in range(30) for h in (1, 5)]), "A calm week")
        is False
    )
    assert verdict(report([], begin=local("2026-03-25T00:00")), "A calm week") is None


def test_a_seventh_push_makes_a_day_too_bad() -> None:
    """Six are allowed on one local day, seven are not."""
    six = [push(BEGIN + n * 3 * HOUR) for n in range(6)]
    assert verdict(report([], six), "A bad day") is True
    found = report([], [*six, push(BEGIN + 20 * HOUR)])
    assert verdict(found, "A bad day") is False
    assert any("7 on Sun 1 Mar" in one.found for one in found.verdicts)


def test_a_fourth_push_within_ten_minutes_is_a_flood_and_a_digest_is_not() -> None:
    """The flood says when it was and what it was about; the digest that ends a burst is part of the deal."""
    at = BEGIN + DAY
    three = [push(at + n * MINUTE, f"cold-snap:{name}") for n, name in enumerate(("ash", "birch", "cedar"))]
    assert report([], [*three, push(at + 4 * MINUTE, "cold-snap:oak", "digest")]).floods == ()
    found = report([], [*three, push(at + 9 * MINUTE, "too-hot:ash")])
    (flood,) = found.floods
    assert (flood.begin, flood.end, flood.pushes) == (at, at + 9 * MINUTE, 4)
    assert flood.alarms == ("cold-snap:ash", "cold-snap:birch", "cold-snap:cedar", "too-hot:ash")
    assert verdict(found, "Ten minutes") is False
    assert report([], [*three, push(at + 10 * MINUTE, "too-hot:ash")]).floods == ()


@given(st.lists(st.integers(0, 120 * MINUTE), max_size=40), st.integers(1, 5))
def test_there_is_a_flood_exactly_when_some_stretch_has_too_many(minutes: list[int], allowed: int) -> None:
    """Floods never overlap, each has too many, and none is missed."""
    letters = [push(time) for time in sorted(minutes)]
    found = floods(letters, allowed, 10 * MINUTE)
    assert bool(found) == (most_within(letters, 10 * MINUTE) > allowed)
    assert all(flood.pushes > allowed for flood in found)
    assert all(one.end <= other.begin for one, other in pairwise(found))
    assert sum(flood.pushes for flood in found) <= len(letters)


@pytest.mark.parametrize(("high", "of", "kept"), [(2, 3, True), (3, 59, False), (3, 60, True), (0, 0, True)])
def test_high_priority_is_rare_or_few(high: int, of: int, kept: bool) -> None:
    """A twentieth of all, or two however few the others are."""
    moves = [
        step
        for n in range(of)
        for step in rang(f"cold-snap:v{n}", BEGIN + n * HOUR, priority=Priority.HIGH if n < high else Priority.LOW)
    ]
    assert verdict(report(moves), "High priority") is kept


def test_what_chatters_is_named_with_what_quietens_it() -> None:
    """Three times within an hour; the advice is the rule's own."""
    at = BEGIN + DAY
    moves = [step for n in range(3) for step in rang("cold-snap:ash", at + n * 25 * MINUTE, for_=10 * MINUTE)]
    (finding,) = report(moves).findings
    assert (finding.kind, finding.alarms[0]) == ("chattering", "cold-snap:ash")
    assert "3 times" in finding.text
    assert finding.advice == HINTS["cold-snap"]
    slower = [step for n in range(3) for step in rang("cold-snap:ash", at + n * 31 * MINUTE, for_=10 * MINUTE)]
    assert report(slower).findings == ()


def test_what_rings_often_is_named_though_it_never_chatters() -> None:
    """Fourteen nights in a row are one thing to change."""
    moves = [step for n in range(14) for step in rang("cold-snap:ash", BEGIN + n * DAY)]
    (finding,) = report(moves).findings
    assert finding.kind == "frequent"
    assert "cold-snap:ash rang 14 times, 100 %" in finding.text


def test_what_stands_for_more_than_a_day_is_stale_also_when_it_began_long_ago() -> None:
    """Whether it is over or stands yet, and whether its beginning is known or only that it stands."""
    past = rang("probe-silent:ash-air", BEGIN + DAY, for_=25 * HOUR)
    old = alarm("too-hot:birch", SEEN, BEGIN - 9 * DAY)
    brief = rang("cold-snap:cedar", BEGIN + DAY, for_=23 * HOUR)
    found = [one for one in report([*past, *brief], standing=[old]).findings if one.kind == "stale"]
    assert [one.alarms[0] for one in found] == ["too-hot:birch", "probe-silent:ash-air"]
    assert "has stood for 38 days" in found[0].text
    assert "stood for 25 h" in found[1].text


def test_what_nobody_acknowledged_is_said_and_what_a_person_answered_late_is_not() -> None:
    """Shelving it is an answer too; what rang just now may still be answered."""
    lost = [
        move(BEGIN + DAY, "cold-snap:ash", NORMAL, RINGS),
        move(BEGIN + DAY + HOUR, "cold-snap:ash", RINGS, RETURNED),
    ]
    shelved = [move(BEGIN, "too-hot:ash", NORMAL, RINGS), move(BEGIN + 5 * HOUR, "too-hot:ash", RINGS, SHELVED)]
    young = [move(NOW - HOUR, "air-weak:ash", NORMAL, RINGS)]
    found = report([*lost, *shelved, *young])
    assert [(one.kind, one.alarms[0]) for one in found.findings if one.kind == "unanswered"] == [
        ("unanswered", "cold-snap:ash")
    ]
    late = [*lost, move(BEGIN + 2 * DAY, "cold-snap:ash", RETURNED, NORMAL)]
    assert report(late).findings == ()


def test_what_is_put_away_for_a_week_is_said() -> None:
    """Out of service since before the month began, or shelved again and again."""
    gone = replace(alarm("probe-silent:ash-air", OUT, BEGIN), changed=BEGIN - 3 * DAY)
    shelves = [
        step
        for n in range(4)
        for step in (
            move(BEGIN + n * 3 * DAY, "cold-snap:ash", NORMAL, SHELVED),
            move(BEGIN + n * 3 * DAY + 2 * DAY, "cold-snap:ash", SHELVED, NORMAL),
        )
    ]
    found = report(shelves, standing=[gone]).findings
    assert [(one.kind, one.alarms[0]) for one in found] == [("held", "probe-silent:ash-air"), ("held", "cold-snap:ash")]
    assert "has been out of service for 32 days" in found[0].text
    assert "was shelved for 8 days in all" in found[1].text


def test_each_rule_has_its_share_and_its_medians() -> None:
    """How often, how much of all, how soon answered, how long."""
    moves = [
        *rang("cold-snap:ash", BEGIN, for_=HOUR),
        *rang("cold-snap:birch", BEGIN + DAY, for_=3 * HOUR),
        *rang("cold-snap:ash", BEGIN + 2 * DAY, for_=2 * HOUR),
        move(BEGIN + 3 * DAY, "broker-lost:site", NORMAL, RINGS),
    ]
    told = [push(BEGIN), push(BEGIN + DAY, "cold-snap:birch"), push(BEGIN + 3 * DAY, "broker-lost:site")]
    cold, broker = report(moves, told).rules
    assert (cold.rule, cold.alarms, cold.share, cold.told) == ("cold-snap", 3, 0.75, 2)
    assert (cold.answered_after, cold.length) == (5 * MINUTE, 2 * HOUR)
    assert (broker.rule, broker.answered_after) == ("broker-lost", None)
    worst = report(moves, told).worst[0]
    assert (worst.alarm, worst.alarms) == ("cold-snap:ash", 2)


@pytest.mark.parametrize(
    ("timezone", "night"),
    [
        ("Europe/Berlin", "2026-03-29"),
        ("Europe/Berlin", "2026-10-25"),
        ("America/New_York", "2026-03-08"),
        ("America/New_York", "2026-11-01"),
        ("Australia/Lord_Howe", "2026-04-05"),
        ("Australia/Lord_Howe", "2026-10-04"),
    ],
)
def test_a_day_is_a_local_day_also_when_it_has_23_or_25_hours(timezone: str, night: str) -> None:
    """No day is doubled or skipped, and what was told in its last hour counts for it."""
    now = local(f"{night}T23:45", timezone)
    begin = begin_of(7, now, timezone)
    late = local(f"{night}T23:30", timezone)
    found = burden([], [push(late), push(local(f"{night}T00:10", timezone))], [], begin, now, timezone, {})
    dates = [day.date for day in found.days]
    assert len(set(dates)) == len(dates) == 7
    assert dates[-1] == night
    assert [day.pushes for day in found.days] == [0, 0, 0, 0, 0, 0, 2]


def test_days_before_there_was_a_record_are_no_quiet_days() -> None:
    """A monitor set up yesterday has two days to be judged by, not thirty."""
    begin = begin_of(30, NOW, BERLIN, known_since=NOW - DAY)
    assert [day.date for day in report([], begin=begin).days] == ["2026-03-29", "2026-03-30"]


def test_an_alarm_that_rings_from_a_return_is_a_new_one_and_one_answer_serves_both() -> None:
    """Nobody has to acknowledge twice what one look has settled."""
    found = lives(
        [
            move(0, "cold-snap:ash", NORMAL, RINGS),
            move(HOUR, "cold-snap:ash", RINGS, RETURNED),
            move(2 * HOUR, "cold-snap:ash", RETURNED, RINGS),
            move(3 * HOUR, "cold-snap:ash", RINGS, SEEN),
        ]
    )
    assert [(one.rang, one.over, one.answered) for one in found.occurrences] == [
        (0, HOUR, 3 * HOUR),
        (2 * HOUR, None, 3 * HOUR),
    ]
