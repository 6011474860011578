"""How a batch's water and air went: spells of cold and heat, times without air or with little of it. Pure.

What is told is coarser than what was read: a trend of the record is enough. Celsius; times in ms.
"""

from __future__ import annotations

from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

from monitor.core.light import light
from monitor.core.model import HOUR, MINUTE, Ms

if TYPE_CHECKING:
    from collections.abc import Sequence

OFF_C: Final = 1.5  # so far from its usual water a spell begins; common practice, no source
BACK_C: Final = 1.0  # nearer than this it is over
LEAST_SPELL: Final[Ms] = 30 * MINUTE
ONE_SPELL: Final[Ms] = HOUR  # apart by less than this two spells are one
LEAST_STOP: Final[Ms] = MINUTE
LEAST_WEAK: Final[Ms] = 10 * MINUTE
SILENCE: Final[Ms] = HOUR  # without a reading; longer is worth a word
_GAP: Final = 3  # usual distances between readings, after which nobody knows


class Level(NamedTuple):
    """The water in an interval that begins at ``time``."""

    time: Ms
    low: float
    mean: float
    high: float


class AirLevel(NamedTuple):
    """What so many usable readings of the air said in an interval that begins at ``time``."""

    time: Ms
    heard: int
    stopped: int
    weak: int


class Summed(NamedTuple):
    """The water of a whole life."""

    low: float
    mean: float
    high: float


@light
class Spell:
    """The water was away from its usual from ``begin`` to ``end``, at the furthest ``extreme``."""

    kind: Literal["cold", "warm"]
    begin: Ms
    end: Ms
    extreme: float
    usual: float
    from_start: bool  # it was so from the first reading on
    over: bool  # it came back


@light
class Stop:
    """Air stopped, or was weak, some time from ``begin`` to ``end``; ``length`` is what of it the readings say.

    Not ``over``: so it was by the last reading.
    """

    kind: Literal["stopped", "weak"]
    begin: Ms
    end: Ms
    length: Ms
    over: bool


def summed(levels: Sequence[Level]) -> Summed | None:
    """None without any reading."""
    if not levels:
        return None
    mean = sum(one.mean for one in levels) / len(levels)
    return Summed(min(one.low for one in levels), mean, max(one.high for one in levels))


def spells(levels: Sequence[Level]) -> list[Spell]:
    """Cold and warm ones in order of time, against the median of all that was read."""
    if not levels:
        return []
    usual = median(one.mean for one in levels)
    found = [*_spells(levels, usual, "cold"), *_spells(levels, usual, "warm")]
    return sorted(found, key=lambda spell: (spell.begin, spell.kind))


def _spells(levels: Sequence[Level], usual: float, kind: Literal["cold", "warm"]) -> list[Spell]:
    sign = -1 if kind == "cold" else 1
    runs: list[tuple[int, int]] = []  # first place, and the place where it is over
    begin = None
    for n, one in enumerate(levels):
        away = sign * (one.mean - usual)
        if begin is None and away > OFF_C:
            near = runs and one.time - levels[runs[-1][1]].time < ONE_SPELL
            begin = runs.pop()[0] if near else n
        elif begin is not None and away < BACK_C:
            runs.append((begin, n))
            begin = None
    if begin is not None:
        runs.append((begin, len(levels)))
    found = []
    for first, behind in runs:
        inside = levels[first:behind]
        over = behind < len(levels)
        end = levels[behind].time if over else levels[-1].time
        extreme = min(one.low for one in inside) if kind == "cold" else max(one.high for one in inside)
        if end - inside[0].time >= LEAST_SPELL:
            found.append(Spell(kind, inside[0].time, end, extreme, usual, first == 0, over))
    return found


def silences(levels: Sequence[Level], begin: Ms, end: Ms | None) -> list[tuple[Ms, Ms]]:
    """Spans without any reading, of ``SILENCE`` or more. ``end`` None: it goes on, and what will come is not missed."""
    if not levels:
        return []
    times = [begin, *(one.time for one in levels)]
    if end is not None:
        times.append(max(end, times[-1]))
    usual = _usual([one.time for one in levels])
    return [(before, after) for before, after in pairwise(times) if after - before >= max(SILENCE, _GAP * usual)]


def stops(levels: Sequence[AirLevel], kind: Literal["stopped", "weak"]) -> list[Stop]:
    """In order of time; those that touch are one."""
    known = [one for one in levels if one.heard]
    usual = _usual([one.time for one in known])
    found: list[Stop] = []
    for n, one in enumerate(known):
        share = getattr(one, kind) / one.heard
        if not share:
            continue
        after = known[n + 1].time if n + 1 < len(known) else one.time + usual
        lasted = min(after - one.time, _GAP * usual)
        last = found[-1] if found else None
        begin, before = one.time, 0
        if last is not None and one.time - last.end <= usual:
            found.pop()
            begin, before = last.begin, last.length
        over = n + 1 < len(known)
        found.append(Stop(kind, begin, one.time + lasted, before + round(share * lasted), over))
    least = LEAST_STOP if kind == "stopped" else LEAST_WEAK
    return [one for one in found if one.length >= least]


def _usual(times: Sequence[Ms]) -> Ms:
    """The usual distance between neighbours."""
    steps = [after - before for before, after in pairwise(times)]
    return round(median(steps)) if steps else MINUTE
