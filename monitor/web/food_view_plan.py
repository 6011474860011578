"""The planned starts of the page "Food": when, what, where, what comes of it and why. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.core.model import HOUR, Ms
from monitor.web import words
from monitor.web.food_view_words import about_when, chance, grams, listed, money, sentence, some, some_range, spread
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from zoneinfo import ZoneInfo

_AHEAD: Final[Ms] = HOUR
"""A batch that was begun so long before the plan was made may be the one that it asks for: entries are told later."""


@light
class StartView:
    id: str
    vessel: str
    lot: str
    strain: str
    grams: str
    recipe: str  # "1 L of water and 25 g of salt (25 g/L)"
    due: str  # "now", "today" or "later"
    when: str  # "now, by 07:00", "Wed 19:00 to 21:00"
    by: str  # "before 07:00"; "now" when it is late
    harvest: str
    gives: str
    feeds: str
    feeds_from: Ms
    surplus: str
    cost: str
    reason: str
    backup: bool
    done: str  # that it was started meanwhile; "" while it was not
    pressing: bool  # it is to be made within the hour, or late
    blocked: str  # the batch that is still in the vessel; "" when it is free

    @property
    def title(self) -> str:
        return f"{self.grams} of {self.lot} in {self.vessel}"


def make_starts(food: Mapping[str, Any], bench: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> tuple[StartView, ...]:
    """By time. A plan is made anew some time after a start: until then the bench tells that it was made."""
    plan = food["plan"]
    inside = {vessel["id"]: vessel.get("batch") for vessel in bench["vessels"]}
    return tuple(_start(start, plan, inside.get(start["vessel"]), now, zone) for start in plan["starts"])


def _start(
    start: Mapping[str, Any], plan: Mapping[str, Any], batch: Mapping[str, Any] | None, now: Ms, zone: ZoneInfo
) -> StartView:
    begun = batch is not None and batch["lot"] == start["lot"] and _is_it(batch, start, plan)
    by = words.about(rfc3339(start["start_by"]), -1)
    same_day = words.day_word(by, now, zone) == "today"
    last = words.clock(by, zone) if same_day else words.moment(by, now, zone)
    return StartView(
        id=start["id"],
        vessel=start["vessel"],
        lot=start["lot"],
        strain=start["strain"],
        grams=grams(start["grams"]),
        recipe=(
            f"{words.number(start['litres'], 2)} L of water and {words.number(start['salt_g'], 0)} g of salt "
            f"({words.number(start['salinity_g_l'], 0)} g/L)"
        ),
        due=start["due"],
        when=_when(start, now, zone),
        by="now" if by <= now else f"before {last}",
        harvest=f"{about_when(start['harvest'], now, zone)} ({spread(start['harvest'], now, zone)})",
        gives=f"{some(start['nauplii']['mid'] or 0.0)} ({some_range(start['nauplii'])})",
        feeds=_feeds(start, now, zone),
        feeds_from=rfc3339(start["feeds_from"]),
        surplus=f"into {start['store']}" if start["store"] else "",
        cost=money(start["cost"], plan["currency"]) if start["cost"] else "",
        reason=sentence(start["reason"]),
        backup=start["backup"],
        done=f"Started {words.moment(rfc3339(batch['start']), now, zone)} as {batch['id']}." if begun and batch else "",
        pressing=by <= now + HOUR,
        blocked="" if batch is None or begun else batch["id"],
    )


def _is_it(batch: Mapping[str, Any], start: Mapping[str, Any], plan: Mapping[str, Any]) -> bool:
    """Whether this batch is the planned start, made since: the plan did not know of it, or it would not ask for it."""
    made, began = rfc3339(plan["made"]), rfc3339(batch["start"])
    return began >= made - _AHEAD and start["due"] != "later"


def _when(start: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> str:
    begin, by = (words.about(rfc3339(start[end]), -1) for end in ("start", "start_by"))
    if by <= now:
        return "as soon as you can"
    if begin <= now:
        return f"now, by {words.moment(by, now, zone)}"
    return words.between(begin, by, now, zone) if by > begin else words.moment(begin, now, zone)


def _feeds(start: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> str:
    return words.between(rfc3339(start["feeds_from"]), rfc3339(start["feeds_until"]), now, zone)


def unmet_texts(unmet: Sequence[Mapping[str, Any]], least: float, now: Ms, zone: ZoneInfo) -> tuple[str, ...]:
    """Feeding times that nothing makes full, why, and what would help; those with the same words are told together.

    ``least`` is the chance with which a meal is to be full: one that reaches it is not told of.
    """
    found: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for one in unmet:
        if one["chance"] > 1 - least:
            found.setdefault((one["why"], one["help"]), []).append(one)
    return tuple(_unmet(why, help_, meals, now, zone) for (why, help_), meals in found.items())


def _unmet(why: str, help_: str, meals: Sequence[Mapping[str, Any]], now: Ms, zone: ZoneInfo) -> str:
    times = sorted({rfc3339(meal["time"]) for meal in meals})
    told = words.moment(times[0], now, zone)
    if len(times) > 1:
        told = f"{len(times)} feeding times from {words.between(times[0], times[-1], now, zone)}"
    eaters = listed(list(dict.fromkeys(meal["eater"] for meal in meals)))
    worst = chance(max(meal["chance"] for meal in meals))
    text = f"{told} may be short for {eaters} all the same ({worst}). {sentence(why)} {sentence(help_)}".strip()
    return text[0].upper() + text[1:]
