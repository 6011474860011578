"""What letters say: one about one transition, one about a whole shelf, and a digest with a line for each alarm."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from monitor.core.dispatch import RANK, Kind, kind_of
from monitor.core.model import MINUTE, Priority
from monitor.core.wording import clock, duration, how_often
from monitor.store import Draft, Part
from monitor.store.letters import TOKENS_KEPT, common_todo

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from monitor.core.model import Ms, Transition
    from monitor.store import Letter

TITLES_NAMED: Final = 2
SUBJECTS_NAMED: Final = 6


def draft(transition: Transition, now: Ms | None = None) -> Draft:
    """What to tell about a transition: the trouble and what to do, or that it is over.

    ``now`` is when the letter is written, where that is not the transition's time because time is simulated.
    """
    alarm = transition.alarm
    kind = kind_of(transition)
    part = Part(
        alarm=alarm.id,
        rule=alarm.rule,
        subject=alarm.subject,
        priority=alarm.priority,
        title=alarm.title,
        text=alarm.text,
        todo=alarm.todo,
        reason=transition.reason,
        begun=alarm.since,
        time=transition.time,
        ended=transition.time if alarm.over else None,
        deadline=None if alarm.over else alarm.deadline,
    )
    written = transition.time if now is None else now
    return _single(part, kind, written)


def _single(part: Part, kind: Kind, written: Ms) -> Draft:
    if part.ended is not None:
        lasted = duration(part.ended - part.begun)
        body = f"It lasted {lasted}; nothing needs doing about it now."
        title = f"Over: {part.title}"
        return Draft(part.alarm, title, body, Priority.LOW, written, kind=Kind.OVER, parts=(part,))
    body = "\n".join(line for line in (part.text, part.todo) if line)
    return Draft(
        part.alarm, part.title, body, part.priority, written, part.todo, part.deadline, kind=kind, parts=(part,)
    )


# -- several in one


def together(letters: Sequence[Letter], now: Ms, written: Ms, timezone: str) -> Draft:
    """One letter in the place of several, which have one channel. ``now`` is the engine's time, ``written`` real time.

    Of one rule and kind they are a shelf; all else is a digest. Its token is made of theirs: the same letters make the same one.
    """
    kinds = {letter.kind for letter in letters}
    rules = {letter.rule for letter in letters}
    alarms = [alarm for letter in letters for alarm in letter.alarms]
    shelf = len(kinds) == 1 and len(rules) == 1 and "" not in rules and len(set(alarms)) == len(alarms)
    kind = kinds.pop() if shelf and Kind.DIGEST not in kinds else Kind.DIGEST
    parts = _folded(letters)
    identity = "+".join(sorted(letter.token for letter in letters))
    made = _digest(parts, now, timezone) if kind is Kind.DIGEST else _shelf(parts, kind, now)
    return replace(made, created=written, parts=parts, identity=identity)


def _folded(letters: Sequence[Letter]) -> tuple[Part, ...]:
    """One part an alarm, with all that was to be told of it; what presses most comes first."""
    found: dict[str, Part] = {}
    # By time and not by letter: a digest is younger than what it tells.
    told = [(part.time, letter.id, part, letter.token) for letter in letters for part in letter.parts]
    for _, _, part, token in sorted(told, key=lambda one: one[:2]):
        before = found.get(part.alarm)
        tokens = (*(() if before is None else before.tokens), *part.tokens, token)
        found[part.alarm] = replace(part if before is None else _fold(before, part), tokens=tokens[-TOKENS_KEPT:])
    return tuple(sorted(found.values(), key=lambda part: (part.ended is not None, RANK[part.priority], part.begun)))


def _fold(before: Part, part: Part) -> Part:
    again = part.times if part.begun != before.begun else part.times - 1
    return replace(part, begun=min(before.begun, part.begun), times=before.times + again)


def _minutes(deadline: Ms, now: Ms) -> str:
    left = max(deadline - now, 0) // MINUTE
    return f"act within {left} min" if left else "act now"


def _first_deadline(parts: Iterable[Part]) -> Ms | None:
    """Of urgent trouble only: nothing else is a matter of minutes."""
    return min(
        (part.deadline for part in parts if part.deadline is not None and _urgent(part)),
        default=None,
    )


def _urgent(part: Part) -> bool:
    return part.priority is Priority.HIGH and part.ended is None


def _shelf(parts: tuple[Part, ...], kind: Kind, now: Ms) -> Draft:
    title = _common_title(parts)
    first = parts[0]
    if kind is Kind.OVER:
        lines = [f"{part.subject}: it lasted {duration((part.ended or now) - part.begun)}." for part in parts]
        body = "\n".join([*lines, "Nothing needs doing about it now."])
        return Draft(first.alarm, f"Over: {title}", body, Priority.LOW, now, kind=kind)
    deadline = _first_deadline(parts)
    if deadline is not None:
        title += f": {_minutes(deadline, now)}"
    todo = common_todo(parts, kind)
    # The nearest deadline comes first: that vessel is the one to go to.
    ordered = sorted(parts, key=lambda part: (part.deadline is None, part.deadline or 0))
    lines = [f"{part.subject}: {' '.join(filter(None, (part.text, '' if todo else part.todo)))}" for part in ordered]
    body = "\n".join([*lines, *([todo] if todo else [])])
    soonest = min((part.deadline for part in parts if part.deadline is not None), default=None)
    return Draft(first.alarm, title, body, first.priority, now, todo, soonest, kind=kind)


def _common_title(parts: Sequence[Part]) -> str:
    """``Air stopped in ash, birch and cedar``, where the titles differ in the subject only."""
    subjects = sorted(part.subject for part in parts)
    patterns = {re.sub(rf"(?<![\w-]){re.escape(part.subject)}(?![\w-])", "\0", part.title) for part in parts}
    if len(patterns) == 1 and "\0" in (pattern := patterns.pop()):
        pattern = re.sub(r"^\0 (is|has)\b", lambda verb: f"\0 {'are' if verb[1] == 'is' else 'have'}", pattern)
        return pattern.replace("\0", _listed(subjects, SUBJECTS_NAMED))
    return _listed([part.title for part in parts], TITLES_NAMED)


def _listed(names: Sequence[str], most: int) -> str:
    if len(names) > most + 1:
        names = [*names[:most], f"{len(names) - most} more"]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _digest(parts: tuple[Part, ...], now: Ms, timezone: str) -> Draft:
    lines = [_line(part, now, timezone) for part in parts]
    urgent = [part for part in parts if _urgent(part)]
    first = parts[0]
    priority = first.priority if first.ended is None else Priority.LOW
    if len(parts) == 1:
        title = lines[0] if first.ended is not None else first.title
    elif urgent:
        left = _first_deadline(urgent)
        title = first.title + ("" if left is None else f": {_minutes(left, now)}") + f"; {len(parts) - 1} more"
    else:
        named = [part.title if part.ended is None else f"{part.title} (over)" for part in parts]
        title = f"{len(parts)} alarms: {_listed(named, TITLES_NAMED)}"
    return Draft(first.alarm, title, "\n".join(lines), priority, now, "", _first_deadline(urgent), kind=Kind.DIGEST)


def _line(part: Part, now: Ms, timezone: str) -> str:
    """``02:10-03:40 Cold in ash, over``; what still stands says what to do."""
    begun = clock(part.begun, timezone, now)
    often = f", {how_often(part.times)}" if part.times > 1 else ""
    if part.ended is not None:
        return f"{begun}-{clock(part.ended, timezone, now)} {part.title}{often}, over"
    left = f": {_minutes(part.deadline, now)}" if part.deadline is not None and _urgent(part) else ""
    return f"{begun} {part.title}{left}{often}" + (f". {part.todo}" if part.todo else "")
