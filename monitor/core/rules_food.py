"""The alarm about food: a meal of the next day and a half may be short, and no batch that can be started makes up for it.

What a start can mend is the plan's to tell. This is for what it can't: what is left then is to ration, to buy or to borrow.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.alarms import Condition, over
from monitor.core.model import DAY, HOUR, MINUTE, Ms, Priority
from monitor.core.plan_words import listed
from monitor.core.wording import clock, whole

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.food import FoodAhead, MealOutlook
    from monitor.core.state import State

RULE: Final = "food-short"
ALARM: Final = f"{RULE}:site"
AHEAD: Final[Ms] = 36 * HOUR  # a batch takes about that long: what comes later a start can still mend
TELLS: Final[Ms] = 6 * HOUR  # how long a look ahead tells of the present
FORGOTTEN: Final[Ms] = DAY  # after so long nobody looks ahead any more
LIKELY: Final = 0.1  # a batch fails more rarely, and of that alone nobody need hear; common practice, no source
CLEAR_SHARE: Final = 0.5  # of the chance at which it rings
ON_DELAY: Final[Ms] = 20 * MINUTE  # a keeper who writes down a harvest is not done until it is in its store
OFF_DELAY: Final[Ms] = 30 * MINUTE
RATION: Final = "Give a little less at each meal until then, rather than nothing at one; buy or borrow some."
MOST_TOLD: Final = 3  # feeding times
MOST_NAMED: Final = 3  # who is short at one of them


def on_tick(state: State, now: Ms) -> Iterator[Condition | None]:
    """What is looked at as time passes."""
    yield food_short(state, now)


def rings_at(state: State) -> float:
    """The chance of a short meal at which somebody is told."""
    return max(1 - state.site.food_chance, LIKELY)


def food_short(state: State, now: Ms) -> Condition | None:
    """A meal is likely to be short, even if all is started as planned."""
    ahead = state.food_ahead
    if ahead is None or now - ahead.time > FORGOTTEN:
        return None if state.idle(ALARM) else over(ALARM, RULE, "site", Priority.MEDIUM, 0, tell=False)
    if now - ahead.time > TELLS:
        return None  # it may have been made up for since, or not
    coming = [meal for meal in ahead.outlook.meals if now < meal.time <= now + AHEAD]
    worst = max((meal.short for meal in coming), default=0.0)
    short = [meal for meal in coming if meal.short > rings_at(state)]
    if not short and state.idle(ALARM):
        return None
    zone = state.site.timezone
    return Condition(
        id=ALARM,
        rule=RULE,
        subject="site",
        priority=Priority.MEDIUM,
        active=bool(short),
        clear=worst < CLEAR_SHARE * rings_at(state),
        since=now,
        on_delay=ON_DELAY,
        off_delay=OFF_DELAY,
        title=f"Food may be short at {clock(short[0].time, zone, now)}" if short else "",
        text=_text(state, short, now) if short else "",
        todo=_todo(ahead, short, zone, now) if short else "",
    )


def _text(state: State, short: list[MealOutlook], now: Ms) -> str:
    zone = state.site.timezone
    times = sorted({meal.time for meal in short})
    told = [_serving([one for one in short if one.time == time], clock(time, zone, now)) for time in times[:MOST_TOLD]]
    later = len({meal.time for meal in short}) - MOST_TOLD
    more = f" So are {later} later feeding time{'s' if later > 1 else ''}." if later > 0 else ""
    whys = list(dict.fromkeys(meal.why for meal in short if meal.why))[:2]
    return " ".join(told) + more + "".join(f" {why}" for why in whys)


def _serving(meals: list[MealOutlook], time: str) -> str:
    """What is missing of one feeding time, all who are short taken together."""
    worst = max(meal.short for meal in meals)
    how = "will be short" if worst > 0.9 else f"may be short (chance {round(100 * worst)} %)"
    missing, need = (whole(_two(sum(some))) for some in zip(*map(_lacks, meals), strict=True))
    eaters = listed([meal.eater for meal in meals], most=MOST_NAMED)
    return f"The {time} meal of {eaters} {how}: up to {missing} of {need} are missing."


def _lacks(meal: MealOutlook) -> tuple[float, float]:
    """How many are missing, and of how many."""
    need, lo, mid = (value or 0.0 for value in (meal.need.mid, meal.got.lo, meal.got.mid))
    # Half of the time it is less than the middle; where it is seldom short, what is missing is in the bad tenth.
    return max(need - (mid if meal.short > 0.5 else lo), 0.0), need


def _two(number: float) -> float:
    """To two figures."""
    return float(f"{number:.1e}")


def _todo(ahead: FoodAhead, short: list[MealOutlook], zone: str, now: Ms) -> str:
    helps = {one.help: None for one in ahead.plan.unmet if one.help and one.time <= short[-1].time}
    waits = sorted((one for one in ahead.plan.starts if one.start_by > now), key=lambda one: one.start)
    parts = list(helps)[:2] or [RATION]
    if waits:
        first = waits[0]
        when = "now" if first.start <= now else f"at {clock(first.start, zone, now)}"
        parts.append(f"For the meals after it start {first.grams:g} g of {first.lot} in {first.vessel} {when}.")
    return " ".join(parts)
