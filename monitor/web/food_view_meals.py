"""The meals of the page "Food": by day, by feeding time, with what each eater needs and why it may be short. Pure."""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby, zip_longest
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.web import words
from monitor.web.food_view_words import chance, sentence, some

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from typing import Any
    from zoneinfo import ZoneInfo

    from monitor.core.model import Ms
    from monitor.web.food_chart import Serving

_SHARES: Final = 0.01
"""A chance below this is told of nobody."""


@light
class EaterMeal:
    eater: str
    need: str
    short: str  # "may be short (1 chance in 4)"; "" when it is as full as the keeper wants
    why: str


@light
class ServingView:
    clock: str
    need: str
    in_hand: str
    meals: tuple[EaterMeal, ...]
    troubled: bool


@light
class MealDay:
    name: str  # "today", "Tue 3 Mar"
    need: str
    short: str  # how many may be short, "" when none
    servings: tuple[ServingView, ...]


@light
class Row:
    """One line of the table beside the picture."""

    when: str
    need: str
    fresh: str
    chilled: str
    short: str
    troubled: bool


def rows(served: Sequence[Serving], now: Ms, zone: ZoneInfo) -> tuple[Row, ...]:
    return tuple(
        Row(
            when=words.moment(one.time, now, zone),
            need=some(one.need),
            fresh=_ranged(one.fresh),
            chilled=_ranged(one.chilled),
            short=chance(one.short),
            troubled=one.troubled,
        )
        for one in served
    )


def _ranged(ends: tuple[float, float, float]) -> str:
    low, mid, high = (some(end) for end in ends)
    return mid if low == mid == high else f"{mid} ({low} to {high})"


def days_of_meals(served: Sequence[Serving], now: Ms, zone: ZoneInfo) -> tuple[MealDay, ...]:
    found = []
    for name, group in groupby(served, key=lambda one: _day(one.time, now, zone)):
        there = list(group)
        troubled = sum(one.troubled for one in there)
        found.append(
            MealDay(
                name=name,
                need=some(sum(one.need for one in there)),
                short="" if not troubled else "1 may be short" if troubled == 1 else f"{troubled} may be short",
                servings=tuple(_serving(one, zone) for one in there),
            )
        )
    return tuple(found)


def _day(instant: Ms, now: Ms, zone: ZoneInfo) -> str:
    there = words.local(instant, zone)
    date = f"{there:%a} {there.day} {there:%b}"
    return f"Today, {date}" if there.date() == words.local(now, zone).date() else date


def _serving(one: Serving, zone: ZoneInfo) -> ServingView:
    return ServingView(
        clock=words.clock(one.time, zone),
        need=some(one.need),
        in_hand=_in_hand(one),
        meals=tuple(_reasons_once([_meal(meal, troubled=one.troubled) for meal in one.meals])),
        troubled=one.troubled,
    )


def _reasons_once(meals: list[EaterMeal]) -> Iterator[EaterMeal]:
    """A reason that the next eater has as well is told there: three times in a row nobody reads it."""
    for meal, after in zip_longest(meals, meals[1:]):
        yield replace(meal, why="") if after is not None and after.why == meal.why else meal


def _in_hand(one: Serving) -> str:
    parts = [
        f"{some(ends[1])} {kind}" for ends, kind in ((one.fresh, "fresh"), (one.chilled, "chilled")) if ends[1] >= 1
    ]
    return " and ".join(parts) if parts else "nothing"


def _meal(meal: Mapping[str, Any], *, troubled: bool) -> EaterMeal:
    """Told where its feeding time is short more often than the keeper wants, of each who shares in that."""
    told = troubled and meal["short"] >= _SHARES
    return EaterMeal(
        eater=meal["eater"],
        need=some(meal["need"]["mid"] or 0.0),
        short=f"may be short ({chance(meal['short'])})" if told else "",
        why=sentence(meal["why"]) if told else "",
    )
