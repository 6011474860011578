"""Supply against demand for the coming days: what each meal will need and get, how likely it is short, and what is in hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.feeding import course, times_of
from monitor.core.food import InHand, MealOutlook, Outlook
from monitor.core.model import DAY, HOUR, Span
from monitor.core.outlook_why import Causes, short_rows
from monitor.core.wording import meals

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.food import Demand, Feeding, Pantry, Source
    from monitor.core.hatch import Array

FRESH: Final = 8 * HOUR
"""After rinsing; what is older then is chilled (first to second stage about 8 h at 25-28 C, Ghent course, restated)."""
NEGLIGIBLE: Final = 0.01
"""A chance of which no reason is told."""


def outlook(pantry: Pantry, demand: Demand, sources: Sequence[Source], feeding: Feeding) -> Outlook:
    """What comes of feeding so."""
    short = short_rows(demand.need, feeding.got)
    chances = short.mean(axis=0) if len(short) else np.zeros(len(demand.meals))
    causes = Causes(pantry, demand, sources, feeding.got)
    told = tuple(
        MealOutlook(
            time=meal.time,
            eater=meal.eater,
            need=span(demand.need[:, place]),
            got=span(feeding.got[:, place]),
            short=float(chances[place]),
            why=causes.why(place) if chances[place] >= NEGLIGIBLE else "",
            largest_um=meal.largest_um,
        )
        for place, meal in enumerate(demand.meals)
    )
    return Outlook(
        time=pantry.now,
        until=pantry.now + pantry.days * DAY,
        meals=told,
        in_hand=in_hand(pantry, demand, sources),
    )


def span(values: Array) -> Span:
    """10, 50 and 90 % of equally likely values."""
    lo, mid, hi = np.quantile(values, (0.1, 0.5, 0.9)) if len(values) else (0.0, 0.0, 0.0)
    return Span(float(lo), float(mid), float(hi))


def in_hand(pantry: Pantry, demand: Demand, sources: Sequence[Source]) -> tuple[InHand, ...]:
    """What could be fed at each feeding time, before anybody eats then."""
    times = meals(pantry.timezone, pantry.feeding_times, pantry.now, pantry.now + pantry.days * DAY)
    if not sources:
        nothing = Span(0.0, 0.0, 0.0)
        return tuple(InHand(time=time, fresh=nothing, chilled=nothing) for time in times)
    _, taken = course(demand, sources)
    before = np.concatenate([np.zeros((len(taken), 1, len(sources))), np.cumsum(taken, axis=1)], axis=1)
    since = np.stack([one.since for one in sources], axis=1)
    until = np.stack([one.until for one in sources], axis=1)
    held = np.stack([one.nauplii for one in sources], axis=1)
    fed_at = np.array(times_of(demand), dtype=float)
    stored = np.array([one.kind == "store" for one in sources])
    found = []
    for time in times:
        left = np.maximum(held - before[:, int(np.searchsorted(fed_at, time))], 0.0)
        there = np.where((since <= time) & (time < until), left, 0.0)
        cold = stored | (time - since >= FRESH)
        fresh, chilled = np.where(cold, 0.0, there).sum(axis=1), np.where(cold, there, 0.0).sum(axis=1)
        found.append(InHand(time=time, fresh=span(fresh), chilled=span(chilled)))
    return tuple(found)
