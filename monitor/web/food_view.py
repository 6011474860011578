"""What the page "Food" says: the document of the coming days turned into words and places. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.core.light import light
from monitor.core.model import HOUR, MINUTE, Ms
from monitor.web import words
from monitor.web.food_chart import Picture, Serving, pictures, servings
from monitor.web.food_view_held import BroodView, StoreView, TinView, brood_view, store_view, tin_view
from monitor.web.food_view_meals import MealDay, Row, days_of_meals, rows
from monitor.web.food_view_plan import StartView, make_starts, unmet_texts
from monitor.web.food_view_words import chance, instant, is_short, money, sentence, some
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

OLD: Final[Ms] = 2 * HOUR
"""The look ahead is made each hour: one older than this was missed."""
SOON: Final[Ms] = 48 * HOUR
"""Meals that are told one by one; later ones are folded away by day."""

WAITING: Final = "The first look ahead is not there yet"
SHOWN: Final = 3
COMES_SOON: Final = "It is made half a minute after the monitor has started. Open this page again then."
NOBODY: Final = "Nobody to feed yet"
OFF: Final = "No plan is made"


@light
class FoodView:
    clock: str
    headline: str
    mark: str  # "medium" where a meal may be short, "low" where something is to be started, "" when all is well
    then: str  # the line under it
    notices: tuple[str, ...]
    begin: bool  # nobody eats yet: what to do first
    due: StartView | None  # the one start that is to be made now
    starts: tuple[StartView, ...]  # the others
    pictures: tuple[Picture, ...]
    rows: tuple[Row, ...]
    near: tuple[MealDay, ...]
    far: tuple[MealDay, ...]
    far_told: str  # "24 from Wed 07:00 on, 2 may be short"
    changed: tuple[str, ...]
    shown: int  # so many starts, reasons and changes are told at once, others are folded away
    unmet: tuple[str, ...]
    cost: str
    made: str
    chance: str
    tins: tuple[TinView, ...]
    stores: tuple[StoreView, ...]
    broods: tuple[BroodView, ...]
    eaters: tuple[tuple[str, str], ...]


def make_food(food: Mapping[str, Any], bench: Mapping[str, Any]) -> FoodView:
    """Everything the page shows, for the instant at which the bench was published."""
    zone, now = ZoneInfo(bench["timezone"]), int(bench["now_ms"])
    if not food:
        return _blank(words.clock(now, zone))
    served = servings(food, now)
    starts = make_starts(food, bench, now, zone)
    due = next((one for one in starts if one.due == "now" and not one.done), None)
    headline, mark, then = _head(food, served, starts, due, now, zone)
    plan = food["plan"]
    begin = food.get("on", True) and not (food["broods"] or food["eaters"] or served)
    later = [one for one in served if one.time >= now + SOON]
    undone = [start for start, one in zip(plan["starts"], starts, strict=True) if not one.done]
    return FoodView(
        clock=words.clock(now, zone),
        headline=headline,
        mark=mark,
        then=then,
        notices=_notices(food, now, zone),
        begin=begin,
        due=due,
        starts=tuple(one for one in starts if one is not due),
        pictures=pictures(served, undone, now, zone),
        rows=rows(served, now, zone),
        near=days_of_meals([one for one in served if one.time < now + SOON], now, zone),
        far=days_of_meals(later, now, zone),
        far_told=_far_told(later, now, zone),
        changed=tuple(plan["changed"]),
        shown=SHOWN,
        unmet=(
            *_also_short(food, served, due, now, zone),
            *unmet_texts(_unmet(food, served, due), food["chance"], now, zone),
        ),
        cost=_cost(plan, now, zone),
        made=_made(food, now),
        chance=words.percent(food["chance"]),
        tins=tuple(tin_view(tin, plan["currency"], now) for tin in food["tins"]),
        stores=tuple(store_view(n, store, now, zone) for n, store in enumerate(food["stores"]) if store["nauplii"] > 0),
        broods=tuple(brood_view(brood, now, zone) for brood in food["broods"]),
        eaters=tuple((eater["id"], f"{some(eater['nauplii_per_day'])} a day") for eater in food["eaters"]),
    )


def food_line(food: Mapping[str, Any], bench: Mapping[str, Any]) -> str:
    """For the bench: what is to be started now, or the next meal that may be short; empty when neither is so."""
    if not food:
        return ""
    zone, now = ZoneInfo(bench["timezone"]), int(bench["now_ms"])
    for one in make_starts(food, bench, now, zone):
        if one.due == "now" and not one.done:
            return f"Food: start {one.title} {one.by}"
    short = next((one for one in servings(food, now) if one.troubled and one.time < now + SOON), None)
    return "" if short is None else f"Food: {_may_be_short(short, now, zone)}"


def _blank(clock: str) -> FoodView:
    return FoodView(
        clock=clock, headline=WAITING, mark="", then=COMES_SOON, notices=(), begin=False, due=None, starts=(), pictures=(),
        rows=(), near=(), far=(), far_told="", changed=(), shown=SHOWN,
        unmet=(), cost="", made="", chance="", tins=(), stores=(), broods=(),
        eaters=(),
    )  # fmt: skip


def _head(
    food: Mapping[str, Any],
    served: Sequence[Serving],
    starts: Sequence[StartView],
    due: StartView | None,
    now: Ms,
    zone: ZoneInfo,
) -> tuple[str, str, str]:
    """Headline, mark and the line under it: what to do first, else what will be missing, else until when there is enough."""
    if not food.get("on", True):
        return OFF, "", "Planning is switched off: plan = false stands under [food] in the configuration."
    if not (food["broods"] or food["eaters"] or served):
        return NOBODY, "", "Tell of a brood, and from then on this page says what to start, when, and why."
    short = next((one for one in served if one.troubled), None)
    if due is not None:
        return f"Start {due.title} {due.by}", "medium" if due.pressing else "low", _without(food, due, now, zone)
    if short is not None:
        return _capital(_may_be_short(short, now, zone)), "medium", f"{_why(short)} {_help(food, short)}".strip()
    ahead = next((one for one in starts if not one.done), None)
    following = "" if ahead is None else f"Next: start {ahead.title}, {ahead.when}."
    if not food["planned_at"]:
        if not food["trouble"]:
            return WAITING, "", COMES_SOON
        return "No look ahead has succeeded yet", "medium", "Why is told below. It is tried again by itself."
    if not served:
        return "Nobody needs young brine shrimp yet", "", following
    bare = _bare_short(food, now)
    if bare is not None:
        until = words.moment(_time_of(bare), now, zone)
        return f"Food for every meal until {until}", "", following or "From then on more is to be started."
    return f"Food for every meal until {words.moment(served[-1].time, now, zone)}", "", following


def _time_of(meal: Mapping[str, Any]) -> Ms:
    return rfc3339(meal["time"])


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _bare_short(food: Mapping[str, Any], begin: Ms) -> Mapping[str, Any] | None:
    """The first meal from ``begin`` on that is not covered by what is under way alone."""
    ahead = (meal for meal in food["bare"] if _time_of(meal) >= begin and is_short(meal, food["chance"]))
    return min(ahead, key=_time_of, default=None)


def _without(food: Mapping[str, Any], due: StartView, now: Ms, zone: ZoneInfo) -> str:
    """What comes of it when nothing is started: of the meals that this start is for, the first that may be short."""
    meal = _bare_short(food, max(now, due.feeds_from))
    if due.backup:
        return "It is a backup, in case another batch fails."
    if meal is None:
        return ""
    time = words.moment(_time_of(meal), now, zone)
    return f"Without it {time} may be short for {meal['eater']} ({chance(meal['short'])})."


def _also_short(
    food: Mapping[str, Any], served: Sequence[Serving], due: StartView | None, now: Ms, zone: ZoneInfo
) -> tuple[str, ...]:
    """The next meal that may be short, where the headline is about a start instead and the plan does not tell of it."""
    short = next((one for one in served if one.troubled), None)
    if due is None or short is None or any(rfc3339(one["time"]) == short.time for one in food["plan"]["unmet"]):
        return ()
    return (f"{_capital(_may_be_short(short, now, zone))}. {_why(short)}".strip(),)


def _may_be_short(one: Serving, now: Ms, zone: ZoneInfo) -> str:
    return f"{words.moment(one.time, now, zone)} may be short for {one.short_for} ({chance(one.short)})"


def _why(one: Serving) -> str:
    worst = max(one.meals, key=lambda meal: float(meal["short"]))
    return sentence(worst["why"])


def _help(food: Mapping[str, Any], one: Serving) -> str:
    return next((sentence(lack["help"]) for lack in food["plan"]["unmet"] if rfc3339(lack["time"]) == one.time), "")


def _unmet(food: Mapping[str, Any], served: Sequence[Serving], due: StartView | None) -> list[Mapping[str, Any]]:
    """Without those of the meal that the headline is about."""
    first = next((one.time for one in served if one.troubled), None) if due is None else None
    return [lack for lack in food["plan"]["unmet"] if rfc3339(lack["time"]) != first]


def _notices(food: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> tuple[str, ...]:
    at = instant(food["planned_at"])
    found = []
    if food["trouble"]:
        told = f"The newest look ahead failed: {food['trouble']}".rstrip(".")
        old = "" if at is None else f" What stands here was reckoned {words.moment(at, now, zone)}, {_ago(at, now)}."
        found.append(f"{told}.{old}")
    elif at is not None and now - at > OLD:
        found.append(
            f"Reckoned {words.moment(at, now, zone)}, {_ago(at, now)}: what has been noted since is not in it yet."
        )
    return tuple(found)


def _ago(at: Ms, now: Ms) -> str:
    return f"{words.duration(now - at)} ago" if now - at >= MINUTE else "just now"


def _made(food: Mapping[str, Any], now: Ms) -> str:
    at = instant(food["planned_at"])
    return "" if at is None else f"Reckoned {_ago(at, now)}"


def _far_told(later: Sequence[Serving], now: Ms, zone: ZoneInfo) -> str:
    if not later:
        return ""
    troubled = sum(one.troubled for one in later)
    short = f", {troubled} may be short" if troubled else ""
    return f"{len(later)} feeding times from {words.moment(later[0].time, now, zone)} on{short}"


def _cost(plan: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> str:
    until = instant(plan["until"])
    count = len(plan["starts"])
    if until is None or not (plan["cost"] or count):
        return ""
    batches = "1 batch" if count == 1 else f"{count} batches"
    if plan["cost"] is None:
        return f"{batches} until {words.moment(until, now, zone)}. No tin has a price, so the cost is not known."
    told = f"{batches} until {words.moment(until, now, zone)}, about {money(plan['cost'], plan['currency'])} in all."
    if plan["gap"] >= 0.01:
        told += f" A plan up to {words.percent(plan['gap'])} cheaper may exist; there was no time to find it."
    return told
