"""When a letter about an alarm may go, through which channel, and why then: pure, like the decision to tell at all.

Three things make a person switch a monitor off: being woken for what can wait, a storm of pushes, and hearing the same from
every vessel of a shelf. So what is not urgent waits for the morning, what comes together is told together, and whatever a
channel has been given too much of goes as one digest. What is urgent goes at once, whatever the hour.
"""

from __future__ import annotations

from dataclasses import field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from monitor.core.house import WEEKLY_TEST
from monitor.core.light import light
from monitor.core.model import DAY, HOUR, MINUTE, SECOND, AlarmState, Priority
from monitor.core.wording import clock, duration, zone

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from monitor.core.model import Alarm, Ms, Transition

RANK: Final = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}
"""The most pressing first."""


CALM: Final = frozenset(
    {"cold-snap", "hatch-late", "ready", "best-ending", "past-best", "probe-silent", "probe-suspect"}
)
"""Rules whose troubles come to the vessels of a room within minutes of each other, and are no matter of minutes."""
SLOW: Final = frozenset({"cold-snap", "hatch-late"})
"""Of these those that are no matter of half an hour: a room that cools reaches one vessel after the other."""


TIMELY: Final = frozenset({"start-due"})
"""Rules that only remind of what a keeper wants to do anyway, at an hour: by the digest of the next morning it would be too
late. So they are put off like medium priority, never in the quiet hours, and lose nothing else of what low is: one letter, told
once, never repeated, and to no channel that takes only what weighs more."""


class Kind(StrEnum):
    """What a letter is about."""

    TROUBLE = "trouble"
    REPEAT = "repeat"  # the same trouble again, since nobody has acknowledged it
    OVER = "over"
    DIGEST = "digest"  # several alarms, or one that is over by now
    TEST = "test"


class Cause(StrEnum):
    """What a letter waits for."""

    NOW = "now"
    GATHERING = "gathering"  # a few seconds, for others of the same kind
    QUIET = "quiet-hours"
    DAILY = "daily-digest"
    SECOND = "second-channel"
    FLOOD = "flood"


FOR_A_DIGEST: Final = frozenset({Cause.QUIET, Cause.DAILY, Cause.FLOOD})
"""What has waited for one of these goes together."""


@light
class Manners:
    """How a site wants to be told. Times of day are minutes after local midnight. All are common practice, no source.

    ``gather`` is as long as an eye needs to see that it is the whole shelf, and short beside the minutes that are left;
    ``gather_calm`` is for what comes to all vessels of a room one after the other, and costs nothing if told so much later;
    ``gather_slow`` for cold, by which the hatch comes hours later.
    ``most`` pushes ``within`` that time to one channel, first tellings of urgent trouble apart. ``bound`` letters wait for
    one channel before the oldest become a digest.
    """

    timezone: str = "UTC"
    quiet: bool = True
    quiet_from: int = 22 * 60
    quiet_until: int = 7 * 60
    night: Priority = Priority.HIGH  # the least priority that breaks the quiet hours
    daily: bool = True  # low priority waits for the digest at ``quiet_until``
    gather: Ms = 5 * SECOND
    gather_calm: Ms = 10 * MINUTE
    gather_slow: Ms = 30 * MINUTE
    most: int = 3
    within: Ms = 10 * MINUTE
    bound: int = 50


AT_ONCE: Final = Manners(quiet=False, daily=False, gather=0, gather_calm=0, gather_slow=0, most=1_000_000)
"""Each letter by itself and at once."""


@light
class Reach:
    """What a channel is for. With ``after`` it is a second one: urgent letters that nobody acknowledged so long."""

    after: Ms = 0
    least: Priority = Priority.LOW


@light
class Hold:
    """A letter may go at ``until``; ``why`` then."""

    until: Ms
    cause: Cause
    why: str


def kind_of(transition: Transition) -> Kind:
    """What a letter about this transition is. A trouble that has become urgent, or comes back, is told anew."""
    alarm = transition.alarm
    if alarm.over:
        return Kind.OVER
    same = transition.before is alarm.state is AlarmState.UNACKNOWLEDGED
    return Kind.REPEAT if same and alarm.changed != transition.time else Kind.TROUBLE


# -- local times


def _instant(timezone: str, day: date, minute: int) -> Ms:
    """A local time of day as an instant, each exactly once a day.

    One that a clock change skips is when the old clock would show it; one that comes twice is the first.
    """
    local = datetime(day.year, day.month, day.day, minute // 60, minute % 60, tzinfo=zone(timezone))
    return int(local.timestamp() * 1000)


def _day(manners: Manners, time: Ms) -> date:
    return datetime.fromtimestamp(time / 1000, zone(manners.timezone)).date()


def _night(manners: Manners, time: Ms) -> tuple[Ms, Ms] | None:
    """Begin and end of the quiet hours in which ``time`` lies; ``None`` when it lies in none."""
    if not manners.quiet:
        return None
    nights = timedelta(days=1 if manners.quiet_until <= manners.quiet_from else 0)
    today = _day(manners, time)
    for evening in (today - timedelta(days=1), today):
        begin = _instant(manners.timezone, evening, manners.quiet_from)
        end = _instant(manners.timezone, evening + nights, manners.quiet_until)
        if begin <= time < end:
            return begin, end
    return None


def quiet_end(manners: Manners, time: Ms) -> Ms | None:
    """When the quiet hours end in which ``time`` lies; ``None`` when it lies in none."""
    night = _night(manners, time)
    return None if night is None else night[1]


def next_digest(manners: Manners, time: Ms) -> Ms:
    """The first daily digest at or after ``time``."""
    today = _day(manners, time)
    days = (today + timedelta(days=ahead) for ahead in range(-1, 3))
    return next(at for day in days if (at := _instant(manners.timezone, day, manners.quiet_until)) >= time)


def _put_off(priority: Priority, time: Ms, manners: Manners) -> tuple[Ms, Cause] | None:
    """Until when, and for what, something of this priority waits that rings at ``time``; ``None`` when it goes at once."""
    if priority is Priority.LOW and manners.daily:
        return next_digest(manners, time), Cause.DAILY
    end = quiet_end(manners, time)
    if end is None or RANK[priority] <= RANK[manners.night]:
        return None
    return end, Cause.QUIET


def heard(priority: Priority, time: Ms, manners: Manners | None) -> Ms:
    """When a person hears of what rings at ``time``: what waits for the morning is not known before."""
    if manners is None or priority is Priority.HIGH:
        return time
    put_off = _put_off(priority, time, manners)
    return time if put_off is None else put_off[0]


# -- one letter


def when(kind: Kind, alarm: Alarm, now: Ms, manners: Manners, reach: Reach, *, told: bool) -> Hold | None:
    """When a letter about an alarm may go to a channel; ``None`` when it is not for that channel.

    ``told``: somebody was told of this trouble there. That it is over is told only then.
    """
    urgent = alarm.priority is Priority.HIGH
    if alarm.rule == WEEKLY_TEST and kind is not Kind.OVER:
        return _test(alarm, now, manners, reach)
    if RANK[alarm.priority] > RANK[reach.least] or (reach.after and not urgent) or (kind is Kind.OVER and not told):
        return None
    if reach.after and not told:
        return _second(alarm, now, reach)
    soon = now + _gathering(alarm, now, manners)
    if urgent and kind is Kind.OVER:
        return Hold(soon, Cause.GATHERING, "its trouble was urgent, and whoever is up for it may rest: told at once")
    if urgent:
        return Hold(soon, Cause.GATHERING, "urgent: told at once, whatever the hour")
    weighs = Priority.MEDIUM if alarm.rule in TIMELY and not alarm.over and not urgent else alarm.priority
    put_off = _put_off(weighs, now, manners)
    if put_off is None:
        return Hold(soon, Cause.GATHERING, "told at once")
    until, cause = put_off
    why = "low priority: told in the digest of" if cause is Cause.DAILY else "quiet hours: told at"
    return Hold(until, cause, f"{why} {clock(until, manners.timezone, until)}")


def _test(alarm: Alarm, now: Ms, manners: Manners, reach: Reach) -> Hold | None:
    """What tests the channels spares none, but whoever is called second only when the first did not answer."""
    if reach.after and alarm.priority is Priority.LOW:
        return None
    return Hold(now + manners.gather, Cause.GATHERING, "the weekly test: told through every channel, at its own hour")


def _second(alarm: Alarm, now: Ms, reach: Reach) -> Hold:
    """A third of what is left at least, since whoever is called second must still get there."""
    wait = reach.after if alarm.deadline is None else min(reach.after, max(alarm.deadline - now, 0) // 3)
    return Hold(now + wait, Cause.SECOND, f"told here when nobody has acknowledged it within {duration(wait)}")


def _gathering(alarm: Alarm, now: Ms, manners: Manners) -> Ms:
    if alarm.rule in CALM and alarm.priority is not Priority.HIGH:
        slow = alarm.rule in SLOW and not alarm.over
        return _awake(manners, now, manners.gather_slow if slow else manners.gather_calm)
    if alarm.deadline is None or alarm.over:
        return manners.gather
    return min(manners.gather, max(alarm.deadline - now, 0) // 10)


def _awake(manners: Manners, now: Ms, wait: Ms) -> Ms:
    """So much of a wait as does not lead into the quiet hours, for what would have been told before them."""
    night = _night(manners, now + wait)
    return wait if night is None or night[0] <= now else night[0] - now


LONGEST_HOLD: Final = {
    Cause.NOW: 0,
    Cause.GATHERING: 45 * MINUTE,
    Cause.QUIET: DAY + 2 * HOUR,  # the longest day is 25 h
    Cause.DAILY: DAY + 2 * HOUR,
    Cause.SECOND: DAY,
    Cause.FLOOD: HOUR,
}


def due(until: Ms, cause: Cause, now: Ms) -> bool:
    """Whether a letter may go. One that would have to wait longer than any can was written while the clock was wrong."""
    return until <= now or until - now > LONGEST_HOLD[cause]


# -- what goes together


@light
class Slip:
    """What needs to be known of a letter that waits. ``tried``: it may have been taken, so it stays what it is if it can."""

    id: int
    alarms: tuple[str, ...]
    rule: str
    kind: Kind
    priority: Priority
    until: Ms
    cause: Cause
    tried: bool = False

    @property
    def pressing(self) -> bool:
        """Urgent trouble waits for nothing, told first or told again: its minutes run."""
        return self.priority is Priority.HIGH and self.kind in (Kind.TROUBLE, Kind.REPEAT)


@light(frozen=False)
class Plan:
    """``go``: groups of letters; those of more than one become one letter. ``later``: letters that wait until ``again``."""

    go: list[tuple[Slip, ...]] = field(default_factory=list)
    later: list[Slip] = field(default_factory=list)
    again: Ms = 0


def plan(ready: Sequence[Slip], coming: Sequence[Slip], pushes: Iterable[Ms], now: Ms, manners: Manners) -> Plan:
    """What goes to one channel at ``now``. ``ready`` may go; of ``coming`` only what can be gathered is taken along.

    ``pushes``: when letters went to that channel lately.
    """
    made = Plan()
    along = _along(ready, coming)
    made.go += _shelves(
        [slip for slip in ready if slip.pressing or slip.id in along],
        [slip for slip in coming if slip.pressing or slip.id in along],
        now,
        manners,
    )
    rest = [slip for slip in ready if not slip.pressing and slip.id not in along]
    digest = tuple(slip for slip in rest if slip.cause in FOR_A_DIGEST)
    single = [slip for slip in rest if slip.cause not in FOR_A_DIGEST]
    units = _shelves(
        single, [slip for slip in coming if not slip.pressing and slip.id not in along], now, manners, calm=True
    )
    if digest:
        units.append(digest)
    if not units:
        return made
    recent = sorted(push for push in pushes if now - manners.within < push <= now) + [now] * len(made.go)
    free = manners.most - len(recent)
    if free <= 0:
        made.later = [slip for unit in units for slip in unit]
        made.again = recent[-manners.most] + manners.within
        return made
    units.sort(key=lambda unit: min(RANK[slip.priority] for slip in unit))
    if len(units) > free:
        units[free - 1 :] = [tuple(slip for unit in units[free - 1 :] for slip in unit)]
    made.go += units
    return made


def _along(ready: Sequence[Slip], coming: Sequence[Slip]) -> set[int]:
    """Softer trouble of the rule that is urgent in another vessel goes in the same letter: it has the same cause."""
    rules = {
        slip.rule for slip in ready if slip.pressing and slip.rule and slip.kind is Kind.TROUBLE and not slip.tried
    }
    return {
        slip.id
        for slip in (*ready, *coming)
        if slip.rule in rules
        and slip.kind is Kind.TROUBLE
        and not (slip.pressing or slip.tried)
        and slip.cause is Cause.GATHERING
    }


def _shelves(
    ready: Sequence[Slip], coming: Sequence[Slip], now: Ms, manners: Manners, *, calm: bool = False
) -> list[tuple[Slip, ...]]:
    """Letters of one rule and kind are one; what comes within the gathering time, however long where ``calm``, is taken along."""
    groups: dict[tuple[str, ...], list[Slip]] = {}
    soon = now + manners.gather
    near = [
        slip
        for slip in coming
        if slip.cause not in FOR_A_DIGEST and (slip.until <= soon or (slip.cause is Cause.GATHERING and calm))
    ]
    taken = {slip.id for slip in ready}
    for slip in [*ready, *near]:
        alone = slip.tried or not slip.rule or not manners.gather
        key = (str(slip.id),) if alone else (slip.rule, slip.kind.value, slip.priority.value if calm else "")
        group = groups.setdefault(key, [])
        if any(set(slip.alarms) & set(other.alarms) for other in group):
            group = groups.setdefault((str(slip.id),), [])  # the same alarm twice is two occurrences, not a shelf
        group.append(slip)
    return [tuple(group) for group in groups.values() if any(slip.id in taken for slip in group)]
