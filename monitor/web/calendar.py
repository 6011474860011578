"""The plan as a calendar (RFC 5545): what to start, what to harvest, and each meal with all that eat then. All times are UTC.

UIDs are those of the planned starts and of the feeding times, so that a program that looks again moves events and doubles none.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import groupby
from typing import TYPE_CHECKING, Any, Final

from icalendar import Calendar, Event

from monitor.core.model import DAY
from monitor.core.plan_words import figure, grams, odds
from monitor.core.wording import clock
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from monitor.core.model import Ms

REFRESH: Final = timedelta(minutes=30)
MEALS_AHEAD: Final[Ms] = 5 * DAY  # further ahead a meal says nothing that a keeper does not know
STARTING: Final = timedelta(minutes=20)
HARVESTING: Final = timedelta(minutes=30)
FEEDING: Final = timedelta(minutes=10)
TELLS: Final = 0.005  # a smaller chance of a short meal is not worth a word


def calendar(food: Mapping[str, Any], site: str, now: Ms) -> bytes:
    """The whole feed; empty but valid before anything is planned."""
    feed = Calendar()
    feed.add("prodid", "-//swimup//food plan//EN")
    feed.add("version", "2.0")
    feed.add("method", "PUBLISH")
    feed.add("name", f"Food, {site}")
    feed.add("x-wr-calname", f"Food, {site}")
    feed.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    feed.add("x-published-ttl", "PT30M")
    plan = food.get("plan") or {}
    made = rfc3339(plan["made"]) if plan.get("made") else now
    zone = str(food.get("timezone", "UTC"))
    for start in plan.get("starts", []):
        feed.add_component(_start(start, site, made, zone, now))
        if start["harvest"]["mid"] is not None:
            feed.add_component(_harvest(start, site, made, zone, now))
    for event in _meals(food, site, made, now):
        feed.add_component(event)
    return bytes(feed.to_ical())


def _event(uid: str, site: str, made: Ms, begin: Ms, lasts: timedelta, title: str, text: str) -> Event:
    event = Event()
    event.add("uid", f"{uid}@{site}.swimup")
    event.add("dtstamp", _utc(made))
    event.add("last-modified", _utc(made))
    event.add("sequence", made // 60_000 % 2**31)  # grows with each plan, whatever ran before
    event.add("dtstart", _utc(begin))
    event.add("dtend", _utc(begin) + lasts)
    event.add("summary", title)
    event.add("description", text)
    event.add("transp", "TRANSPARENT")
    return event


def _utc(time: Ms) -> datetime:
    return datetime.fromtimestamp(time // 1000, UTC)


def _start(start: Mapping[str, Any], site: str, made: Ms, zone: str, now: Ms) -> Event:
    begin, last = rfc3339(start["start"]), rfc3339(start["start_by"])
    until = f"It can wait until {clock(last, zone, now)}. " if last > begin else ""
    text = f"{start['salt_g']:g} g of salt in {start['litres']:g} L. {until}{_sentence(start['reason'])}"
    title = f"Start {grams(start['grams'])} of {start['lot']} in {start['vessel']}"
    return _event(f"start-{start['id']}", site, made, begin, STARTING, title, text)


def _harvest(start: Mapping[str, Any], site: str, made: Ms, zone: str, now: Ms) -> Event:
    span, nauplii = start["harvest"], start["nauplii"]
    low, high = (None if span[end] is None else clock(rfc3339(span[end]), zone, now) for end in ("lo", "hi"))
    when = f"Between {low} and {high or 'much later'}, most likely at {clock(rfc3339(span['mid']), zone, now)}. "
    count = nauplii["mid"] or 0
    gives = f"About {figure(count)} young brine shrimp. " if count >= 1 else ""
    chill = f"What is left over goes into {start['store']}." if start["store"] else ""
    title = f"Harvest {start['vessel']} ({start['lot']})"
    begin = rfc3339(span["mid"])
    return _event(f"harvest-{start['id']}", site, made, begin, HARVESTING, title, f"{when}{gives}{chill}".strip())


def _meals(food: Mapping[str, Any], site: str, made: Ms, now: Ms) -> Iterable[Event]:
    for time, group in groupby(food.get("meals", []), key=lambda meal: meal["time"]):
        begin, meals = rfc3339(time), list(group)
        if not now <= begin < now + MEALS_AHEAD:
            continue
        lines = [f"{meal['eater']}: {figure(meal['need']['mid'] or 0)}{_short(meal)}" for meal in meals]
        title = f"Feed {', '.join(dict.fromkeys(meal['eater'] for meal in meals))}"
        yield _event(f"meal-{begin // 1000}", site, made, begin, FEEDING, title, "\n".join(lines))


def _short(meal: Mapping[str, Any]) -> str:
    if meal["short"] < TELLS:
        return ""
    why = f", {meal['why']}" if meal["why"] else ""
    return f" (short: {odds(meal['short'])}{why})"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}." if text else ""
