"""How much the alarms ask of a person, against what a person can bear. The words are those of ISA-18.2 / IEC 62682.

The targets are made for a home, not for a plant: common practice, no source. An alarm is counted each time it rings. Told again
because nobody acknowledged it, told that it is over, and told that a batch is ready are counted apart.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import date, datetime, timedelta
from statistics import median
from typing import TYPE_CHECKING, Final, Literal

from monitor.core.burden_findings import Finding, Flood, findings, floods, most_within
from monitor.core.house import WEEKLY_TEST
from monitor.core.light import light
from monitor.core.model import MINUTE, Ms, Priority
from monitor.core.occurrences import Occurrence, lives
from monitor.core.wording import zone

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from monitor.core.model import Alarm, Transition

CALM_DAY: Final = 1.0
"""Pushes a day in a calm week."""
BAD_DAY: Final = 6
"""Pushes on a bad day."""
BURST: Final = 3
"""Pushes in ten minutes; what comes beyond waits for one digest."""
BURST_WITHIN: Final[Ms] = 10 * MINUTE
HIGH_SHARE: Final = 0.05
HIGH_FEW: Final = 2
"""So many alarms of high priority are no burden, however few others there are."""
WEEK: Final = 7
WORST: Final = 10
READY: Final = "ready"
APART: Final = frozenset({READY, WEEKLY_TEST})
"""What the keeper asked to be told is no burden."""

Kind = Literal["alarm", "repeat", "return", "ready", "digest", "test"]


@light
class Told:
    """One letter that reached a channel: a push. ``alarms`` are the ids it names, the gravest first."""

    time: Ms
    channel: str
    kind: Kind
    priority: Priority
    alarms: tuple[str, ...]


@light
class Day:
    """``pushes`` are alarms, returns and digests; repeats and ready notices stand apart."""

    date: str  # ISO, where the site is
    alarms: int
    pushes: int
    repeats: int
    ready: int


@light
class RuleLoad:
    rule: str
    alarms: int
    share: float  # of all alarms, 0..1
    told: int  # pushes that name it
    answered_after: Ms | None  # median from ringing to the first thing a person did about it; None: nobody did
    length: Ms | None  # median of how long its trouble lasted


@light
class AlarmLoad:
    alarm: str
    rule: str
    alarms: int
    told: int


@light
class Verdict:
    """One target. ``kept`` is None when there is too little to judge by."""

    name: str
    target: str
    found: str
    kept: bool | None


@light
class Burden:
    begin: Ms
    end: Ms
    channel: str  # the busiest one: a person has all of them, but is told by each of the same; "" when nothing was told
    days: tuple[Day, ...]
    priorities: dict[Priority, int]  # of alarms; an alarm that became urgent is of high priority
    returns: int
    rules: tuple[RuleLoad, ...]
    worst: tuple[AlarmLoad, ...]
    floods: tuple[Flood, ...]
    verdicts: tuple[Verdict, ...]
    findings: tuple[Finding, ...]

    @property
    def alarms(self) -> int:
        return sum(day.alarms for day in self.days)

    @property
    def pushes(self) -> int:
        return sum(day.pushes for day in self.days)


def begin_of(days: int, now: Ms, timezone: str, known_since: Ms | None = None) -> Ms:
    """Local midnight that begins the last ``days`` days, today among them; not before the day of ``known_since``."""
    there = zone(timezone)
    first = _date(now, timezone) - timedelta(days=days - 1)
    if known_since is not None:
        first = max(first, min(_date(known_since, timezone), _date(now, timezone)))
    return int(datetime(first.year, first.month, first.day, tzinfo=there).timestamp() * 1000)


def burden(
    moves: Sequence[Transition],
    told: Iterable[Told],
    standing: Iterable[Alarm],
    begin: Ms,
    now: Ms,
    timezone: str,
    hints: Mapping[str, str],
) -> Burden:
    """What the alarms asked from ``begin`` to ``now``.

    ``moves`` in their order, may begin earlier (what rang before and still stood is judged too); ``hints`` say for a rule how it
    is made quieter.
    """
    life = lives(moves, standing)
    rang = [one for one in life.occurrences if begin <= one.rang <= now and one.rule not in APART]
    channel, letters = _busiest([letter for letter in told if begin <= letter.time <= now])
    pushes = [letter for letter in letters if letter.kind in ("alarm", "return", "digest")]
    single = [letter for letter in pushes if letter.kind != "digest"]
    days = _days(rang, letters, begin, now, timezone)
    bursts = floods(single, BURST, BURST_WITHIN)
    priorities = {priority: sum(one.priority is priority for one in rang) for priority in Priority}
    return Burden(
        begin=begin,
        end=now,
        channel=channel,
        days=days,
        priorities=priorities,
        returns=sum(begin <= move.time <= now for move in life.returns),
        rules=_rules(rang, letters, now),
        worst=_worst(rang, letters),
        floods=bursts,
        verdicts=_verdicts(days, priorities, most_within(single, BURST_WITHIN), len(pushes)),
        findings=findings(life, rang, begin, now, timezone, hints),
    )


def _date(time: Ms, timezone: str) -> date:
    return datetime.fromtimestamp(time / 1000, zone(timezone)).date()


def _said(iso: str) -> str:
    """``Wed 25 Feb``."""
    day = date.fromisoformat(iso)
    return f"{day:%a} {day.day} {day:%b}"


def _busiest(letters: Sequence[Told]) -> tuple[str, list[Told]]:
    counted = Counter(letter.channel for letter in letters)
    if not counted:
        return "", []
    busiest = min(counted, key=lambda channel: (-counted[channel], channel))
    return busiest, sorted((letter for letter in letters if letter.channel == busiest), key=lambda one: one.time)


def _days(rang: Sequence[Occurrence], letters: Sequence[Told], begin: Ms, now: Ms, timezone: str) -> tuple[Day, ...]:
    alarms = Counter(_date(one.rang, timezone) for one in rang)
    told: dict[date, Counter[str]] = defaultdict(Counter)
    for letter in letters:
        told[_date(letter.time, timezone)][letter.kind] += 1
    first, last = _date(begin, timezone), _date(now, timezone)
    found = []
    for n in range((last - first).days + 1):
        day = first + timedelta(days=n)
        kinds = told[day]
        pushes = kinds["alarm"] + kinds["return"] + kinds["digest"]
        found.append(Day(day.isoformat(), alarms[day], pushes, kinds["repeat"], kinds["ready"]))
    return tuple(found)


def _rule_of(alarm: str) -> str:
    return alarm.partition(":")[0]


def _rules(rang: Sequence[Occurrence], letters: Sequence[Told], now: Ms) -> tuple[RuleLoad, ...]:
    of: dict[str, list[Occurrence]] = defaultdict(list)
    for one in rang:
        of[one.rule].append(one)
    told = Counter(rule for letter in letters for rule in {_rule_of(alarm) for alarm in letter.alarms})
    found = []
    for rule in {*of, *(rule for rule in told if rule)}:
        ones = of.get(rule, [])
        answers = [one.answered - one.rang for one in ones if one.answered is not None]
        found.append(
            RuleLoad(
                rule,
                len(ones),
                len(ones) / len(rang) if rang else 0.0,
                told[rule],
                int(median(answers)) if answers else None,
                int(median(one.length(now) for one in ones)) if ones else None,
            )
        )
    return tuple(sorted(found, key=lambda load: (-load.alarms, -load.told, load.rule)))


def _worst(rang: Sequence[Occurrence], letters: Sequence[Told]) -> tuple[AlarmLoad, ...]:
    counted = Counter(one.alarm for one in rang)
    told = Counter(alarm for letter in letters for alarm in letter.alarms)
    ranked = sorted(counted, key=lambda alarm: (-counted[alarm], -told[alarm], alarm))[:WORST]
    return tuple(AlarmLoad(alarm, _rule_of(alarm), counted[alarm], told[alarm]) for alarm in ranked)


def _verdicts(days: Sequence[Day], priorities: Mapping[Priority, int], most: int, pushes: int) -> tuple[Verdict, ...]:
    worst = max(days, key=lambda day: day.pushes)
    return (
        _calm(days),
        Verdict(
            "A bad day",
            f"at most {BAD_DAY} pushes",
            f"{worst.pushes} on {_said(worst.date)}" if worst.pushes else "none",
            worst.pushes <= BAD_DAY,
        ),
        Verdict(
            "Ten minutes",
            f"at most {BURST} pushes, then one digest",
            f"{most} at most" if pushes else "none",
            most <= BURST,
        ),
        _high(priorities),
    )


def _calm(days: Sequence[Day]) -> Verdict:
    name, target = "A calm week", f"at most {CALM_DAY:g} push a day"
    if len(days) < WEEK:
        return Verdict(name, target, f"{len(days)} of {WEEK} days are known", None)
    sums = [sum(day.pushes for day in days[n : n + WEEK]) for n in range(len(days) - WEEK + 1)]
    calmest = min(range(len(sums)), key=sums.__getitem__)
    found = f"{sums[calmest] / WEEK:.1f} a day in the calmest one, from {_said(days[calmest].date)} on"
    return Verdict(name, target, found, sums[calmest] / WEEK <= CALM_DAY)


def _high(priorities: Mapping[Priority, int]) -> Verdict:
    high, of = priorities[Priority.HIGH], sum(priorities.values())
    target = f"at most {HIGH_SHARE:.0%} of all alarms, or {HIGH_FEW}".replace("%", " %")
    found = f"{high} of {of}" + (f", {100 * high / of:.0f} %" if of else "")
    return Verdict("High priority", target, found, high <= max(HIGH_FEW, HIGH_SHARE * of))
