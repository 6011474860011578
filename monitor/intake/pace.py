"""How often a probe reports, and which of its values are its own time and its own count of messages."""

from __future__ import annotations

from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING, Final

from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Ms
from monitor.intake.hints import SEQUENCES, TIMES
from monitor.intake.proposal import Part
from monitor.intake.unreadable import Unreadable, shown
from monitor.intake.values import CLOCK_WAS_SET, own_time, sequence

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from monitor.intake.places import Heard, Place

ROUND: Final = (
    *(n * SECOND for n in (1, 2, 3, 5, 10, 15, 20, 30)),
    *(n * MINUTE for n in (1, 2, 3, 5, 10, 15, 20, 30)),
    *(n * HOUR for n in (1, 2, 6, 12)),
)
"""Periods that people set. One that is within an eighth of such a one is taken for it; common practice, no source."""
AN_EIGHTH: Final = 0.125
UNEVEN: Final = 2.5  # times the median; a longer gap says that it does not report at a period
AHEAD: Final = 2 * MINUTE
LATE: Final = 1 * HOUR
"""A time of its own further from the arrival is that of something else, or of a clock that is wrong."""
COUNTED: Final = 3  # messages, before a number is believed to count them
DEFAULT: Final = 60 * SECOND


def period(heard: Sequence[Heard]) -> Part:
    """Milliseconds between messages: the median of the gaps, which a lost message or two do not move."""
    gaps = [later - earlier for earlier, later in pairwise(_live(heard))]
    gaps = [gap for gap in gaps if gap > 0]
    if not gaps:
        return Part(DEFAULT, check="not heard often enough, so this is the default; say how often it reports")
    middle = median(gaps)
    every = next((whole for whole in ROUND if abs(middle - whole) <= AN_EIGHTH * whole), None)
    if every is None:
        every = -(-int(middle) // SECOND) * SECOND
    every = min(max(every, SECOND), DAY)
    told = f"{_seconds(middle)} is the middle of {len(gaps)} gaps" if len(gaps) > 1 else ""
    if max(gaps) > UNEVEN * middle:
        return Part(every, told, f"but one was {_seconds(max(gaps))}; give the longest that is usual")
    return Part(every, told, "only one gap was heard" if len(gaps) == 1 else "")


def time_place(places: Iterable[Place], heard: Sequence[Heard]) -> tuple[Place | None, Part | None, str]:
    """The place of the probe's own time with its part, or why there is none."""
    why_not = ""
    for place in places:
        if not _called(place, TIMES):
            continue
        try:
            times = [own_time(found) for found in place.found]
        except Unreadable:
            if isinstance(place.found[-1], str):
                why_not = f"{shown(place.found[-1])} at {place.pointer} is no time with a zone, so it is not used"
            continue
        if not _looks_like_time(place):
            continue
        if any(time is None for time in times):
            return place, Part(place.pointer, "its own time", "its clock was not set when it was heard"), ""
        off = _off(times, heard)
        if off is not None:
            why_not = f"the time at {place.pointer} is {_seconds(abs(off))} {'ahead' if off > 0 else 'behind'}, so it is not used"
            continue
        if len({one.payload for one in heard}) > 1 and len(set(times)) == 1:
            why_not = f"the time at {place.pointer} never moved, so it is not used"
            continue
        only_kept = "only a retained message was heard" if not _live(heard) else ""
        return place, Part(place.pointer, "its own time", only_kept), ""
    return None, None, why_not


def sequence_place(places: Iterable[Place], heard: Sequence[Heard]) -> tuple[Place | None, Part | None]:
    """The place of its own count, only where it was seen to count: a number that stands still would make all readings one."""
    live = [index for index, one in enumerate(heard) if not one.retained]
    if len(live) < COUNTED:
        return None, None
    for place in places:
        if not _called(place, SEQUENCES):
            continue
        try:
            counts = [sequence(place.found[index]) for index in live]
        except Unreadable:
            continue
        steps = [later - earlier for earlier, later in pairwise(counts) if earlier is not None and later is not None]
        if len(steps) == len(live) - 1 and all(1 <= step <= COUNTED for step in steps):
            return place, Part(place.pointer, "it counts its messages")
    return None, None


def _called(place: Place, words: frozenset[str]) -> bool:
    return place.decoder == "json" and bool(place.levels) and not words.isdisjoint(place.levels[0].words)


def _live(heard: Sequence[Heard]) -> list[Ms]:
    return [one.arrived for one in heard if not one.retained]


def _looks_like_time(place: Place) -> bool:
    """A temperature may be called "t" as well: a number is a time only from 2001 on, or when it is a clock's first days."""
    found = place.found[-1]
    if isinstance(found, str):
        return True
    clock = any(len(word) > 2 for word in place.levels[0].words if word in TIMES)
    return found >= CLOCK_WAS_SET / SECOND or (clock and 0 <= found < 30 * DAY / SECOND)


def _off(times: Sequence[Ms | None], heard: Sequence[Heard]) -> Ms | None:
    """How far the time of a live message is from its arrival, where that is too far."""
    for time, one in zip(times, heard, strict=True):
        if time is not None and not one.retained and not -LATE <= time - one.arrived <= AHEAD:
            return time - one.arrived
    return None


def _seconds(milliseconds: float) -> str:
    if milliseconds >= 2 * DAY:
        return f"{milliseconds / DAY:.0f} d"
    if milliseconds >= 2 * HOUR:
        return f"{milliseconds / HOUR:.1f} h"
    return f"{milliseconds / SECOND:.3g} s" if milliseconds < 10 * MINUTE else f"{milliseconds / MINUTE:.3g} min"
