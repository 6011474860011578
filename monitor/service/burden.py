"""The burden report as a document: from what the store tells of the last weeks. Runs in any thread."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.burden import APART, READY, Burden, Kind, Told, begin_of, burden
from monitor.core.dispatch import Kind as LetterKind
from monitor.core.model import DAY, Priority, Refused
from monitor.core.wording import rfc3339
from monitor.guide import HINTS
from monitor.store import StoreError
from monitor.store.past import PastLetter, read_past

if TYPE_CHECKING:
    from monitor.core.model import Ms
    from monitor.service.clock import Clock

LONGEST: Final = 30
"""Days: letters are not kept for longer."""
BEFORE: Final[Ms] = 14 * DAY
"""What rang before the first day and stood until then is looked for so far back."""
_KINDS: Final[dict[LetterKind, Kind]] = {
    LetterKind.TROUBLE: "alarm",
    LetterKind.REPEAT: "repeat",
    LetterKind.OVER: "return",
    LetterKind.DIGEST: "digest",
    LetterKind.TEST: "test",
}


class Reporter:
    """Asked by the page; ``report`` may take a moment, and holds up nobody."""

    def __init__(self, store_path: str, timezone: str, clock: Clock) -> None:
        self._path = store_path
        self._timezone = timezone
        self._clock = clock

    def report(self, days: int) -> dict[str, Any]:
        """Raises Refused when the store cannot be read just now."""
        now = self._clock.now()
        begin = begin_of(days, now, self._timezone)
        try:
            past = read_past(self._path, begin - BEFORE, begin)
        except StoreError as error:
            raise Refused(f"The record cannot be read just now: {error}") from error
        begin = begin_of(days, now, self._timezone, past.begun)
        told = [_told(letter) for letter in past.letters]
        found = burden(past.transitions, told, past.standing, begin, now, self._timezone, HINTS)
        return document(found, days, self._timezone)


def _told(letter: PastLetter) -> Told:
    return Told(letter.went, letter.channel, _kind(letter), letter.priority, letter.alarms)


def _kind(letter: PastLetter) -> Kind:
    rules = {alarm.partition(":")[0] for alarm in letter.alarms}
    if rules == {READY}:
        return "ready"
    return "test" if rules <= APART else _KINDS[letter.kind]


def document(found: Burden, days: int, timezone: str) -> dict[str, Any]:
    """Ready for JSON. Lengths are in seconds, shares between 0 and 1."""
    high = Priority.HIGH
    return {
        "days_asked": days,
        "timezone": timezone,
        "begin": rfc3339(found.begin),
        "end": rfc3339(found.end),
        "channel": found.channel,
        "alarms": found.alarms,
        "pushes": found.pushes,
        "repeats": sum(day.repeats for day in found.days),
        "ready": sum(day.ready for day in found.days),
        "returns": found.returns,
        "priorities": {priority.value: count for priority, count in found.priorities.items()},
        "high_share": found.priorities[high] / found.alarms if found.alarms else None,
        "targets": [
            {"name": one.name, "target": one.target, "found": one.found, "kept": one.kept} for one in found.verdicts
        ],
        "days": [
            {
                "date": one.date,
                "alarms": one.alarms,
                "pushes": one.pushes,
                "repeats": one.repeats,
                "ready": one.ready,
            }
            for one in found.days
        ],
        "rules": [
            {
                "rule": one.rule,
                "alarms": one.alarms,
                "share": round(one.share, 4),
                "told": one.told,
                "acknowledged_after_s": _seconds(one.answered_after),
                "length_s": _seconds(one.length),
            }
            for one in found.rules
        ],
        "worst": [
            {"alarm": one.alarm, "rule": one.rule, "alarms": one.alarms, "told": one.told} for one in found.worst
        ],
        "floods": [
            {
                "begin": rfc3339(one.begin),
                "end": rfc3339(one.end),
                "pushes": one.pushes,
                "alarms": list(one.alarms),
            }
            for one in found.floods
        ],
        "findings": [
            {"kind": one.kind, "alarms": list(one.alarms), "rule": one.rule, "text": one.text, "advice": one.advice}
            for one in found.findings
        ],
    }


def _seconds(length: Ms | None) -> int | None:
    return None if length is None else length // 1000
