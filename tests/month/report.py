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
    from monitor.store.letters import Part
    from tests.month.run import Month, Pushed
    from tests.month.scenario import Trouble

WINDOW: Final[Ms] = 10 * MINUTE
AT_MOST: Final = 3
LATE: Final[Ms] = 4 * HOUR  # after a trouble has ended, what it did may still be told: a hatch that comes late
HIGH_SHARE: Final = 0.05
ENOUGH: Final = 100  # alarms, for a share of them to mean something
HIGH_A_MONTH: Final = 2
JUST_BEFORE: Final[Ms] = 2 * MINUTE  # silence begins with the last word before it


@dataclass(slots=True)
class Report:
    """Findings and broken promises, in words."""

    troubles: list[tuple[str, str, int, int, str]]  # name, begins, told, told again, the first
    kinds: Counter[str]
    alarms: Counter[tuple[str, str]]
    busiest: int
    busiest_repeats: int  # counted with what only tells again
    days: int
    broken: list[str] = field(default_factory=list)
    others: list[str] = field(default_factory=list)

    def markdown(self) -> str:
        """As tables."""
        lines = ["| trouble | begins | told | again | the first push |", "|---|---|---:|---:|---|"]
        lines += [f"| {' | '.join(map(str, row))} |" for row in self.troubles]
        lines += ["", "| pushes | number |", "|---|---:|"]
        lines += [f"| {kind} | {number} |" for kind, number in sorted(self.kinds.items())]
        lines += [f"| most within any 10 min (repeats counted too) | {self.busiest} ({self.busiest_repeats}) |"]
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
    # A push that only tells again what nobody has answered is a repeat, and those are counted apart.
    new = [push for push in month.pushed if push.letter.kind is not Kind.REPEAT]
    most, most_repeats = (busiest([push.time for push in some]) for some in (new, month.pushed))
    found = Report([], Counter(), begun, most, most_repeats, month.days)
    stories = [Story(trouble, month.start) for trouble in month.troubles]
    for push in month.pushed:
        _place(push, stories, found)
    for story in stories:
        opening = f"{local(story.told[0].time)} {story.told[0].letter.title}" if story.told else "never"
        begins = local(story.begins)
        found.troubles.append((story.trouble.name, begins, len(story.told), len(story.again), opening))
        if len(story.told) != 1:
            listed = "; ".join(f"{local(push.time)} {push.letter.title}" for push in story.told)
            found.broken.append(f"{story.trouble.name} was told {len(story.told)} times: {listed}")
    if found.others:
        found.broken.append(f"{len(found.others)} pushes for nothing that was made to happen")
    if found.busiest > AT_MOST:
        found.broken.append(f"{found.busiest} pushes within 10 min")
    alarms = sum(number for (rule, _), number in begun.items() if rule != "ready")
    high = sum(number for (_, priority), number in begun.items() if priority == Priority.HIGH.value)
    if high > (HIGH_SHARE * alarms if alarms >= ENOUGH else HIGH_A_MONTH):
        found.broken.append(f"{high} of {alarms} alarms were urgent")
    return found


@dataclass(slots=True)
class Story:
    """A trouble that was made to happen, and the pushes that tell it for the first time or again."""

    trouble: Trouble
    start: Ms
    told: list[Pushed] = field(default_factory=list)
    again: list[Pushed] = field(default_factory=list)
    known: set[tuple[str, Ms]] = field(default_factory=set)

    @property
    def begins(self) -> Ms:
        """When it was made to happen."""
        return self.start + self.trouble.begins_s * SECOND

    def is_of(self, part: Part) -> bool:
        """Whether this is what it did: while it lasts and for a few hours after it, which of its end may come much later."""
        ends = self.start + self.trouble.ends_s * SECOND + LATE
        return part.alarm.startswith(self.trouble.alarms) and self.begins - JUST_BEFORE <= part.begun <= ends

    def take(self, push: Pushed, parts: list[Part]) -> None:
        """Told: the push names trouble of this that no push had named. That it is over is neither."""
        fresh = {(part.alarm, part.begun) for part in parts} - self.known
        standing = [part for part in parts if part.ended is None]
        if fresh:
            self.told.append(push)
        elif standing:
            self.again.append(push)
        self.known |= fresh


def _place(push: Pushed, stories: list[Story], found: Report) -> None:
    """Each part of a push is of a trouble, or a batch that is ready, or of low priority in a digest; else it is beside."""
    letter = push.letter
    rest = list(letter.parts)
    for story in stories:
        mine = [part for part in rest if story.is_of(part)]
        if mine:
            story.take(push, mine)
            rest = [part for part in rest if part not in mine]
    ready = [part for part in rest if part.rule == "ready"]
    low = [part for part in rest if part.priority is Priority.LOW and letter.kind is Kind.DIGEST]
    beside = [part for part in rest if part not in ready and part not in low]
    if beside:
        found.others.append(f"{local(push.time)} {letter.title} ({', '.join(part.alarm for part in beside)})")
    if ready and len(ready) == len(letter.parts):
        found.kinds["ready"] += 1
    elif low and len(low) == len(letter.parts):
        found.kinds["digest, low priority"] += 1
    else:
        found.kinds[letter.kind.value] += 1
