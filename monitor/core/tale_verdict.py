"""How good was what was told of a batch, and all of its story in three sentences. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from monitor.core.lives import off_by, off_middle, verdict
from monitor.core.log import Discard, Harvest, Lapse
from monitor.core.model import HOUR, MINUTE, Ms
from monitor.core.tale_log import harvest_count
from monitor.core.tale_told import expected
from monitor.core.wording import about, clock, day_and_clock, duration, length, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.lives import Life, ReadyTold
    from monitor.core.log import Start
    from monitor.core.tale_courses import Stop, Summed

AT_ONCE: Final[Ms] = HOUR
"""What is told so soon after the start is what was told at the start."""
NOT_SEEN: Final = "Nobody saw most of them swim, so what was told can't be held against it."


class Air(NamedTuple):
    """When it stopped, and when it was weak."""

    stops: Sequence[Stop]
    weak: Sequence[Stop]


def told_at_once(start: Start, first: ReadyTold) -> bool:
    """Whether what was told first was told at the start; it was not when that was written down late."""
    return first.time - start.time <= AT_ONCE


def came_words(life: Life, timezone: str, now: Ms) -> str:
    """``Most swam between Fri 18:10 and 19:15``: what is known of when it was ready; empty when nothing is."""
    after, by = life.came()
    if by is None:
        return ""
    harvested = isinstance(life.end, Harvest) and by == life.end.time
    if after is None:
        return f"{'It was harvested' if harvested else 'Most swam by'} {clock(by, timezone, now)}"
    first, last = clock(after, timezone, now), clock(by, timezone, after)
    if harvested:
        return f"It was ready some time between the look at {first} and the harvest at {last}"
    return f"Most swam some time between {first} and {last}"


def against_first(life: Life, first: ReadyTold | None) -> str:
    """``35 min later than told at the start, inside the range``; empty when there is nothing to compare."""
    after, by = life.came()
    gap = None if by is None or first is None else off_middle(first, after, by)
    if by is None or first is None or gap is None:
        return ""
    when = "at the start" if told_at_once(life.start, first) else "at first"
    said = f"as told {when}"
    if abs(gap) >= 5 * MINUTE:
        said = f"{length(about(abs(gap)))} {'later' if gap > 0 else 'earlier'} than told {when}"
    return f"{said}, {'inside' if off_by(first, after, by) == 0 else 'outside'} the range"


def how_good(life: Life, told: Sequence[ReadyTold], first: ReadyTold | None, timezone: str, now: Ms) -> str:
    """The closing sentences. They take what came as it is known: between two looks."""
    came = came_words(life, timezone, now)
    after, by = life.came()
    if by is None:
        return f"How good was it? {NOT_SEEN}"
    found = verdict(told, after, by)
    compared = against_first(life, first)
    said = f"How good was it? {came}{f', {compared}' if compared else ''}."
    if not found.judged:
        return f"{said} Nothing was told before that."
    each = (
        f"{_of(found.agreed, found.judged)} estimates told before that held it in their range"
        if found.judged > 1
        else f"The one estimate told before that {'held' if found.agreed else 'did not hold'} it in its range"
    )
    return f"{said} {each}; the range promises 8 in 10."


def _of(agreed: int, judged: int) -> str:
    return f"All {judged}" if agreed == judged else f"{agreed or 'None'} of the {judged}"


def summary(
    life: Life,
    told: Sequence[ReadyTold],
    first: ReadyTold | None,
    water: Summed | None,
    air: Air | None,
    timezone: str,
) -> list[str]:
    """Three sentences at most: what became of it, how good the forecast was, how water and air were."""
    return [
        line
        for line in (_became(life, timezone), _forecast(life, told, first, timezone), _conditions(water, air))
        if line
    ]


def _became(life: Life, timezone: str) -> str:
    start = life.start
    begun = f"{number(start.cysts_g, 2)} g of {start.lot} in {start.vessel}"
    if life.end is None:
        return f"{begun}, started {day_and_clock(start.time, timezone)}, is under way."
    after = duration(life.end.time - start.time)
    when = day_and_clock(start.time, timezone)
    match life.end:
        case Harvest():
            return f"{begun}, started {when}, was harvested after {after}{harvest_count(life.end)}."
        case Discard():
            why = f": {life.end.reason.rstrip('.')}" if life.end.reason else ""
            return f"{begun}, started {when}, was thrown away after {after}{why}."
        case Lapse():
            return f"{begun}, started {when}; nobody wrote down how it ended."


def _forecast(life: Life, told: Sequence[ReadyTold], first: ReadyTold | None, timezone: str) -> str:
    _, by = life.came()
    if by is not None:
        compared = against_first(life, first)
        came = came_words(life, timezone, life.start.time)
        return f"{came}{f', {compared}' if compared else ''}."
    if life.end is not None:
        return NOT_SEEN
    if not told:
        return ""
    said = expected(told[-1], timezone, life.start.time)
    if not said:
        return "By the newest forecast on record ready is not in sight."
    tense = "was" if told[-1].time > (told[-1].mid or 0) else "is"
    return f"By the newest forecast on record it {tense} ready about {said}."


def _conditions(water: Summed | None, air: Air | None) -> str:
    warm = "No water temperature is on record"
    if water is not None:
        low, mean, high = (number(value) for value in water)
        warm = f"The water was {low} to {high} °C, {mean} °C on average"
    if air is None:
        return f"{warm}."
    together = length(sum(one.length for one in air.stops))
    times = "never stopped"
    if air.stops:
        times = (
            f"stopped for {together}" if len(air.stops) == 1 else f"stopped {len(air.stops)} times, {together} together"
        )
    weak = sum(one.length for one in air.weak)
    also = f" {'and' if air.stops else 'but'} was weak for {length(weak)}" if weak else ""
    return f"{warm}, and the air {times}{also}."
