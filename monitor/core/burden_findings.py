"""Alarms that want work: floods, chattering, stale, frequent, unanswered and long put away; each with what to do about it.

The limits are common practice, no source, where nothing else is said.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from typing import TYPE_CHECKING, Final, Literal

from monitor.core.light import light
from monitor.core.model import DAY, HOUR, AlarmState, Ms
from monitor.core.wording import clock, duration

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from monitor.core.burden import Told
    from monitor.core.occurrences import Hold, Lives, Occurrence

CHATTER: Final = 3
CHATTER_WITHIN: Final[Ms] = HOUR
"""In a plant three times in a minute are chattering (ISA-18.2, restated elsewhere); at home nobody sits in front of it."""
STALE: Final[Ms] = DAY
"""ISA-18.2 calls an alarm stale that has stood for more than 24 h (restated elsewhere)."""
FREQUENT: Final = 5
FREQUENT_SHARE: Final = 0.1
UNANSWERED: Final[Ms] = 2 * HOUR
"""Nobody did anything about it for so long."""
HELD_LONG: Final[Ms] = 7 * DAY

FindingKind = Literal["chattering", "frequent", "stale", "unanswered", "held"]


@light
class Flood:
    """More pushes than a person can take in, one after the other."""

    begin: Ms
    end: Ms
    pushes: int
    alarms: tuple[str, ...]


@light
class Finding:
    kind: FindingKind
    alarms: tuple[str, ...]  # all of one rule; the text names them
    rule: str
    text: str
    advice: str


def most_within(letters: Sequence[Told], within: Ms) -> int:
    """The most pushes in any stretch of this length; ``letters`` in order of time."""
    times = [letter.time for letter in letters]
    return max((bisect_left(times, time + within) - n for n, time in enumerate(times)), default=0)


def floods(letters: Sequence[Told], allowed: int, within: Ms) -> tuple[Flood, ...]:
    """Stretches in which more than ``allowed`` pushes came ``within`` a time; those that touch are one flood."""
    times = [letter.time for letter in letters]
    found: list[tuple[int, int]] = []
    for n, time in enumerate(times):
        end = bisect_left(times, time + within)
        if end - n <= allowed:
            continue
        if found and n < found[-1][1]:
            found[-1] = found[-1][0], end
        else:
            found.append((n, end))
    return tuple(_flood(letters[begin:end]) for begin, end in found)


def _flood(letters: Sequence[Told]) -> Flood:
    named = dict.fromkeys(alarm for letter in letters for alarm in letter.alarms)
    return Flood(letters[0].time, letters[-1].time, len(letters), tuple(named))


def findings(
    life: Lives, rang: Sequence[Occurrence], begin: Ms, now: Ms, timezone: str, hints: Mapping[str, str]
) -> tuple[Finding, ...]:
    """What wants work, the loudest first."""
    of: dict[str, list[Occurrence]] = defaultdict(list)
    of_rule: dict[str, list[Occurrence]] = defaultdict(list)
    for one in rang:
        of[one.alarm].append(one)
        of_rule[one.rule].append(one)
    found: list[Finding] = []
    for alarm in sorted(of, key=lambda alarm: (-len(of[alarm]), alarm)):
        found += _loud(of[alarm], len(rang), hints)
    for rule in sorted(of_rule, key=lambda rule: (-len(of_rule[rule]), rule)):
        found += _unanswered(of_rule[rule], now, timezone)
    seen = [one for one in life.occurrences if one.over is None or one.over >= begin]
    found += _stale(seen, now)
    found += _held(life.holds, begin, now)
    return tuple(found)


def _loud(ones: Sequence[Occurrence], of: int, hints: Mapping[str, str]) -> list[Finding]:
    """Chattering, or at least frequent: one of the two is enough to say."""
    first = ones[0]
    advice = hints.get(first.rule, "Mend what is behind it.")
    times = sorted(one.rang for one in ones)
    most = max(bisect_left(times, time + CHATTER_WITHIN) - n for n, time in enumerate(times))
    if most >= CHATTER:
        text = f"{first.alarm} rang {_times(len(ones))}, {_times(most)} within {duration(CHATTER_WITHIN)}"
        return [Finding("chattering", (first.alarm,), first.rule, f"{text}.", advice)]
    if len(ones) >= FREQUENT and len(ones) > FREQUENT_SHARE * of:
        share = round(100 * len(ones) / of)
        text = f"{first.alarm} rang {_times(len(ones))}, {share} % of all alarms."
        return [Finding("frequent", (first.alarm,), first.rule, text, advice)]
    return []


def _times(count: int) -> str:
    return f"{count} time{'' if count == 1 else 's'}"


def _unanswered(ones: Sequence[Occurrence], now: Ms, timezone: str) -> list[Finding]:
    late = [one for one in ones if (now if one.answered is None else one.answered) - one.rang >= UNANSWERED]
    missed = [one for one in late if one.answered is None]
    if not missed:
        return []
    last = missed[-1]
    alarms = tuple(sorted({one.alarm for one in missed}))
    text = (
        f"Nobody acknowledged {', '.join(alarms)}: {len(missed)} of {_times(len(ones))} that it rang, "
        f"last {clock(last.rang, timezone, now)}."
    )
    advice = (
        "If it needs a person, see that its letters arrive (`swimup alarm test`). "
        "If it does not, change its limit or take it out of service with a reason."
    )
    return [Finding("unanswered", alarms, last.rule, text, advice)]


def _stale(ones: Sequence[Occurrence], now: Ms) -> list[Finding]:
    longest: dict[str, Occurrence] = {}
    for one in ones:
        if one.stood(now) > STALE and (one.alarm not in longest or one.stood(now) > longest[one.alarm].stood(now)):
            longest[one.alarm] = one
    found = []
    for alarm in sorted(longest, key=lambda name: (-longest[name].stood(now), name)):
        one = longest[alarm]
        verb = "has stood" if one.over is None else "stood"
        advice = "Mend the cause, or take it out of service with a reason until it is mended."
        found.append(Finding("stale", (alarm,), one.rule, f"{alarm} {verb} for {duration(one.stood(now))}.", advice))
    return found


def _held(holds: Sequence[Hold], begin: Ms, now: Ms) -> list[Finding]:
    held: dict[tuple[str, AlarmState], Ms] = defaultdict(int)
    rules, standing = {}, set()
    for one in holds:
        end = now if one.end is None else one.end
        if end < begin:
            continue
        key = one.alarm, one.state
        held[key] += end - (one.begin if one.end is None else max(one.begin, begin))
        rules[one.alarm] = one.rule
        if one.end is None:
            standing.add(key)
    found = []
    for key, length in sorted(held.items(), key=lambda item: (-item[1], item[0])):
        if length < HELD_LONG:
            continue
        alarm, state = key
        verb = "has been" if key in standing else "was"
        text = f"{alarm} {verb} {state.value.replace('-', ' ')} for {duration(length)} in all."
        advice = "Nothing watches this. Put it back, or change its limits until it can stay."
        found.append(Finding("held", (alarm,), rules[alarm], text, advice))
    return found
