"""What rang in that month, held against what was made to happen."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from monitor.core.dispatch import Kind
from monitor.core.model import HOUR, MINUTE, SECOND, AlarmState, Ms, Priority
from tests.month.scenario import ZONE

if TYPE_CHECKING:
    from tests.month.run import Month, Pushed
    from tests.month.scenario import Trouble

WINDOW: Final[Ms] = 10 * MINUTE
AT_MOST: Final = 3
LATE: Final[Ms] = 4 * HOUR  # after a trouble has ended, what it did may still be told: a hatch that comes late
HIGH_SHARE: Final = 0.05
HIGH_A_MONTH: Final = 2


@dataclass(slots=True)
class Report:
    """Findings and broken promises, in words."""

    troubles: list[tuple[str, str, int, str]]
    kinds: Counter[str]
    alarms: Counter[tuple[str, str]]
    busiest: int
    days: int
    broken: list[str] = field(default_factory=list)
    others: list[str] = field(default_factory=list)

    def markdown(self) -> str:
        """As tables."""
        lines = ["| trouble | begins | pushes that told it | the first |", "|---|---|---:|---|"]
        lines += [f"| {name} | {begins} | {told} | {first} |" for name, begins, told, first in self.troubles]
        lines += ["", "| pushes | number |", "|---|---:|"]
        lines += [f"| {kind} | {number} |" for kind, number in sorted(self.kinds.items())]
        lines += [f"| most within any 10 min | {self.busiest} |"]
        lines += ["", "| alarm | priority | begun |", "|---|---|---:|"]
        lines += [f"| {rule} | {priority} | {number} |" for (rule, priority), number in sorted(self.alarms.items())]
        lines += [""] + [f"- broken: {one}" for one in self.broken] + [f"- beside: {one}" for one in self.others]
        return "\n".join(lines)


def local(time: Ms) -> str:
    """Day of the month and time of day where the room is."""
    return datetime.fromtimestamp(time / 1000, UTC).astimezone(ZONE).strftime("%d %b %H:%M")


def busiest(times: list[Ms]) -> int:
    """Most pushes in any window."""
    return max((sum(1 for other in times if 0 <= other - time < WINDOW) for time in times), default=0)


def of(month: Month) -> Report:
    """The findings about a month that was run."""
    begun: Counter[tuple[str, str]] = Counter()
    for move in month.moves:
        first = move.alarm.state is AlarmState.UNACKNOWLEDGED and move.before not in (
            AlarmState.UNACKNOWLEDGED,
            AlarmState.ACKNOWLEDGED,
        )
        if move.notify and (first or move.reason == "it has become urgent"):
            begun[move.alarm.rule, move.alarm.priority.value] += 1
    found = Report([], Counter(), begun, busiest([push.time for push in month.pushed]), month.days)
    rest = [push for push in month.pushed if not _allowed(push, found)]
    for trouble in month.troubles:
        rest = _tell(trouble, month, rest, found)
    found.others = [f"{local(push.time)} {push.letter.title}" for push in rest]
    if rest:
        found.broken.append(f"{len(rest)} pushes for nothing that was made to happen")
    if found.busiest > AT_MOST:
        found.broken.append(f"{found.busiest} pushes within 10 min")
    alarms = sum(number for (rule, _), number in begun.items() if rule != "ready")
    high = sum(number for (_, priority), number in begun.items() if priority == Priority.HIGH.value)
    if high > HIGH_A_MONTH and high > HIGH_SHARE * max(alarms, 100):
        found.broken.append(f"{high} of {alarms} alarms were urgent")
    return found


def _allowed(push: Pushed, found: Report) -> bool:
    """Ready, and digests of low priority, may always come."""
    letter = push.letter
    if all(alarm.startswith("ready:") for alarm in letter.alarms):
        found.kinds["ready"] += 1
        return True
    if letter.priority is Priority.LOW and letter.kind is Kind.DIGEST:
        found.kinds["low digest"] += 1
        return True
    return False


def _tell(trouble: Trouble, month: Month, rest: list[Pushed], found: Report) -> list[Pushed]:
    begins = month.start + trouble.begins_s * SECOND
    ends = month.start + trouble.ends_s * SECOND + LATE
    mine = [
        push
        for push in rest
        if begins <= push.time <= ends and all(alarm.startswith(trouble.alarms) for alarm in push.letter.alarms)
    ]
    told = [push for push in mine if push.letter.kind is Kind.TROUBLE]
    first = f"{local(told[0].time)} {told[0].letter.title}" if told else "never"
    found.troubles.append((trouble.name, local(begins), len(told), first))
    for push in mine:
        found.kinds[push.letter.kind.value] += 1
    if len(told) != 1:
        found.broken.append(
            f"{trouble.name} was told {len(told)} times: "
            + "; ".join(f"{local(p.time)} {p.letter.title}" for p in told)
        )
    return [push for push in rest if push not in mine]
