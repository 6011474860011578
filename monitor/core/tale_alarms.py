"""The alarms that rang about a batch, each time told once: when it rang, when somebody answered, when it was over. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.model import AlarmState, Ms, Priority
from monitor.core.occurrences import lives
from monitor.core.wording import clock, length

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from monitor.core.model import Transition
    from monitor.core.occurrences import Occurrence

EACH: Final = 2
"""An alarm that rang more often is told once for all its times."""
MOST: Final = 7
"""Alarms that are told one by one; of more only the number."""
_RANK: Final = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


@light
class Ring:
    """One alarm, and the times it rang."""

    rule: str
    title: str
    priority: Priority
    times: tuple[Occurrence, ...]

    @property
    def rang(self) -> Ms:
        return self.times[0].rang


def rings(moves: Iterable[Transition], about: Collection[str]) -> list[Ring]:
    """Of alarms about any of ``about``, in order of time."""
    mine = [move for move in moves if move.alarm.subject in about]
    titles = {(m.alarm.id, m.time): m.alarm.title for m in mine if m.alarm.state is AlarmState.UNACKNOWLEDGED}
    by_alarm: dict[str, list[Occurrence]] = {}
    for one in lives(mine).occurrences:
        by_alarm.setdefault(one.alarm, []).append(one)
    found = []
    for alarm, times in by_alarm.items():
        groups = [[one] for one in times] if len(times) <= EACH else [times]
        for group in groups:
            first = group[0]
            title = titles.get((alarm, first.rang), alarm)
            found.append(Ring(first.rule, title, first.priority, tuple(group)))
    return sorted(found, key=lambda ring: (ring.rang, ring.title))


def gravest(of: Sequence[Ring]) -> tuple[list[Ring], list[Ring]]:
    """Those to tell one by one, and the rest."""
    told = sorted(of, key=lambda ring: (_RANK[ring.priority], ring.rang, ring.title))[:MOST]
    return [ring for ring in of if ring in told], [ring for ring in of if ring not in told]


def ring_words(ring: Ring, timezone: str) -> str:
    """Such as ``Alarm: Air stopped in birch. Answered after 5 min, over after 1 h``, without its last stop."""
    first = ring.times[0]
    if len(ring.times) > 1:
        last = clock(ring.times[-1].rang, timezone, first.rang)
        return f"Alarm, {len(ring.times)} times up to {last}: {ring.title}"
    return f"Alarm: {ring.title}. {_course(first)}"


def answered(ring: Ring, timezone: str, now: Ms) -> str:
    """``The alarm rang at 04:13; answered after 5 min.``: beside a sentence that says already what it was about."""
    first = ring.times[0]
    when = clock(first.rang, timezone, now)
    if len(ring.times) > 1:
        return f"The alarm rang {len(ring.times)} times, at {when} first."
    if first.answered is None:
        return f"The alarm rang at {when}."
    return f"The alarm rang at {when}, answered after {length(first.answered - first.rang)}."


def _course(one: Occurrence) -> str:
    parts = []
    if one.answered is not None and (one.over is None or one.answered < one.over):
        parts.append(f"answered after {length(one.answered - one.rang)}")
    if one.over is not None:
        parts.append(f"over after {length(one.over - one.rang)}")
    said = ", ".join(parts) or "nobody has answered it"
    return f"{said[0].upper()}{said[1:]}"
