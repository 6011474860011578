"""The weekly test: when it is due, and the push that asks to be acknowledged."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Final

from monitor.core.alarms import STANDING, Condition, over
from monitor.core.house import WEEKLY_TEST, WeeklyPlan
from monitor.core.model import DAY, HOUR, AlarmState, Learned, Ms, Priority
from monitor.core.wording import clock, duration, meals, zone

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.state import State

ALARM: Final = f"{WEEKLY_TEST}:site"

TEST_LATE: Final[Ms] = 12 * HOUR  # what fell into an hour when the service was down is made up for, but not days later
TEST_UNANSWERED: Final[Ms] = DAY
TEST_AHEAD: Final[Ms] = 8 * DAY  # a plan further ahead was made by a clock that was wrong
WEEKDAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def plan_test(state: State, now: Ms) -> Iterator[Learned]:
    """Let the plan of the weekly test go on; before the rules look. What it gives is kept, so that a restart repeats none."""
    house = state.house
    if house.began is None or house.host is None:
        return  # a replay, or nothing is measured yet
    before = house.test
    house.test = _planned(state, before, now)
    if house.test != before:
        plan = house.test or WeeklyPlan(due=0)
        yield Learned(now, f"house/{WEEKLY_TEST}", plan.document())


def _planned(state: State, plan: WeeklyPlan | None, now: Ms) -> WeeklyPlan | None:
    settings, host = state.site.alarms, state.house.host
    if settings.test_day is None or host is None or not host.channels:  # nobody to ask, or nobody who can be asked
        return None
    rule = f"{WEEKDAYS[settings.test_day]} {settings.test_at} {state.site.timezone}"
    since = None if plan is None else plan.since
    at = state.alarm_state(ALARM)
    if at in (AlarmState.ACKNOWLEDGED, AlarmState.OUT_OF_SERVICE):
        since = None
    if plan is None or plan.rule != rule or plan.due > now + TEST_AHEAD:
        return WeeklyPlan(next_test(state, now), since, rule)  # never at once: the first is a week's day ahead
    if now < plan.due:
        return WeeklyPlan(plan.due, since, rule)
    if at in STANDING and since is not None:
        return WeeklyPlan(
            plan.due, None, rule
        )  # nobody has acknowledged the last: it ends, and the next step begins anew
    begins = now - plan.due <= TEST_LATE and at is not AlarmState.OUT_OF_SERVICE
    return WeeklyPlan(next_test(state, now), plan.due if begins else None, rule)


def next_test(state: State, now: Ms) -> Ms:
    """The first instant after ``now`` at which a weekly test is due.

    A time of day that a clock change skips is due when the old clock would show it, one that comes twice the first time.
    """
    settings, timezone = state.site.alarms, state.site.timezone
    days = meals(timezone, (settings.test_at,), now + 1, now + TEST_AHEAD)
    there = zone(timezone)
    return next(due for due in days if datetime.fromtimestamp(due / 1000, there).weekday() == settings.test_day)


def dues(state: State) -> list[Ms]:
    """When the next weekly test begins, and when the last one has waited long enough."""
    plan = state.house.test
    if plan is None:
        return []
    return [plan.due] if plan.since is None else [plan.due, plan.since + TEST_UNANSWERED]


def weekly_test(state: State, now: Ms) -> Condition | None:
    """A push that asks to be acknowledged, so that a channel that reaches nobody is found before it matters."""
    house = state.house
    since = None if house.test is None else house.test.since
    if since is None:
        waits = house.host is None or house.began is None  # after a restart the plan may still come
        return None if waits or state.idle(ALARM) else over(ALARM, WEEKLY_TEST, "site", Priority.LOW, 0, tell=False)
    late = now - since >= TEST_UNANSWERED
    begun = clock(since, state.site.timezone, now)
    title, text = (
        "Weekly test: please acknowledge",
        ("This is the weekly test. Acknowledge it so that I know alerts reach you. Nothing is wrong."),
    )
    if late:
        title, text = (
            "Nobody acknowledged the weekly test",
            f"The weekly test of {begun} was not acknowledged: alerts may not reach you. Nothing else is wrong.",
        )
    return Condition(
        id=ALARM,
        rule=WEEKLY_TEST,
        subject="site",
        priority=Priority.MEDIUM if late else Priority.LOW,
        active=True,
        clear=False,
        since=since,
        on_delay=0,
        off_delay=0,
        title=title,
        text=text,
        todo="Acknowledge it, here or on the page."
        + (" If a phone stayed silent, find out why: swimup alarm test." if late else ""),
        tell_return=False,
        rises=f"nobody has acknowledged it for {duration(TEST_UNANSWERED)}",
    )
