"""Marks on the time axis and the states of air, in words. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.core.log import Chill, Discard, Emptied, Harvest, Lapse, Seen, Settle, Start, Undo, Work
from monitor.core.log_food import Correct
from monitor.core.model import MINUTE, AlarmState, Ms
from monitor.web import words
from monitor.web.food_words import told_food

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from monitor.core.log import LogEntry
    from monitor.core.model import Transition
    from monitor.store.record import Point, Trend

GAP: Final = 3
"""Usual distances between readings after which nobody knows any more."""
_LEAST_GAP: Final[Ms] = 2 * MINUTE
_PLACES: Final = 90
"""How many marks of a kind there is room for, side by side."""


@light
class Mark:
    """Something that happened, or several things that are too near each other to be drawn apart."""

    time: Ms
    shape: str  # "meal", "log", "high", "medium", "low"
    text: str
    count: int = 1


@light
class Stretch:
    """How the air was from ``begin`` to ``end``: the worst of it, and what share of its readings said so."""

    begin: Ms
    end: Ms
    state: str  # running, weak, stopped
    share: float


def gap_of(trend: Trend) -> Ms:
    """How far apart two points may be before the line between them would be a guess."""
    if trend.width:
        return GAP * trend.width
    steps = sorted(after.time - before.time for before, after in zip(trend.points, trend.points[1:], strict=False))
    usual = steps[len(steps) // 2] if steps else 0
    return max(GAP * usual, _LEAST_GAP)


def stretches(trend: Trend) -> tuple[Stretch, ...]:
    """A trend of air as stretches of one state; where nobody knows there is none."""
    found: list[Stretch] = []
    longest = gap_of(trend)
    told = [point for point in trend.points if point.count]
    for n, point in enumerate(told):
        after = told[n + 1].time if n + 1 < len(told) else point.time + (trend.width or longest // GAP)
        end = min(after, point.time + (trend.width or longest))
        state, share = _worst(point)
        last = found[-1] if found else None
        if last is not None and last.end == point.time and (last.state, last.share) == (state, share):
            found[-1] = Stretch(last.begin, end, state, share)
        else:
            found.append(Stretch(point.time, end, state, share))
    return tuple(found)


def _worst(point: Point) -> tuple[str, float]:
    for state, count in (("stopped", point.stopped), ("weak", point.weak)):
        if count:
            return state, round(count / point.count, 2)
    return "running", 1.0


def told_entry(entry: LogEntry) -> str:
    """One line of the keeper's log."""
    match entry:
        case Start():
            return f"{entry.batch} started: {words.number(entry.cysts_g, 2)} g of {entry.lot}"
        case Seen():
            counted = "" if entry.fraction is None else f", counted {words.percent(entry.fraction)}"
            return f"{entry.batch}: {words.SIGHTS[entry.what]}{counted}"
        case Harvest():
            counted = "" if entry.nauplii is None else f", {words.whole(entry.nauplii)} counted"
            return f"{entry.batch} harvested{counted}"
        case Discard():
            return f"{entry.batch} thrown away{f': {entry.reason}' if entry.reason else ''}"
        case Lapse():
            return f"{entry.batch} taken to be over"
        case Settle():
            return f"{entry.vessel} settles"
        case Work():
            return f"work on {entry.vessel}" if entry.until > entry.time else f"work on {entry.vessel} done"
        case Chill():
            return f"{words.whole(entry.nauplii)} into {entry.store}"
        case Emptied():
            return f"{entry.store} emptied"
        case Undo() | Correct():
            return ""
        case _:
            return told_food(entry)


def log_marks(entries: Iterable[LogEntry]) -> list[Mark]:
    return [Mark(entry.time, "log", text) for entry in entries if (text := told_entry(entry))]


def alarm_marks(transitions: Iterable[Transition]) -> list[Mark]:
    """Where an alarm began to ring; that it was told again, seen or over is in its own story."""
    return [
        Mark(one.time, one.alarm.priority.value, one.alarm.title)
        for one in transitions
        if one.alarm.state is AlarmState.UNACKNOWLEDGED
        and one.before in (AlarmState.NORMAL, AlarmState.RETURNED, AlarmState.SUPPRESSED)
    ]


_RANK: Final = {"high": 0, "medium": 1, "low": 2}


def apart(marks: Sequence[Mark], since: Ms, until: Ms) -> tuple[Mark, ...]:
    """The same marks with those put together that would lie on each other; the gravest shape stays."""
    near = (until - since) / _PLACES
    found: list[Mark] = []
    for mark in sorted(marks, key=lambda mark: mark.time):
        last = found[-1] if found else None
        if last is None or mark.time - last.time >= near:
            found.append(mark)
            continue
        shape = min(last.shape, mark.shape, key=lambda shape: _RANK.get(shape, 9))
        text = last.text if last.count >= 4 else f"{last.text}; {mark.text}"
        found[-1] = Mark(last.time, shape, text, last.count + 1)
    return tuple(found)


def mark_document(mark: Mark) -> dict[str, Any]:
    return {"time": mark.time, "shape": mark.shape, "text": mark.text, "count": mark.count}
