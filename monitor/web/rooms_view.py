"""What the page says of each room: what needs somebody there, what is ready next, and how old the news is. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.core.light import light
from monitor.core.model import MINUTE, SECOND, Ms
from monitor.core.summary import WAITING
from monitor.web import words
from monitor.web.bench_alarms import URGENCY
from monitor.web.bench_measured import instant_of
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

JUST_NOW: Final[Ms] = 90 * SECOND
MOST_LINES: Final = 6
"""Vessels told of on one card; who wants more opens the page of that room."""
_DONE: Final = ("ready", "past", "lost")
_QUIET: Final = {
    "silent": "No news has come since. The link between the rooms may be down, or its monitor stands still. Look there.",
    "lost": "Its broker has lost its monitor: power, network, or the monitor itself. Look there.",
    "stopped": "Its monitor was stopped on purpose. Nobody watches there.",
    "never": "Does its monitor run, and does its news come to our broker?",
}
_RANKS: Final = {"high": 0, "quiet": 1, "medium": 2, "low": 3, "": 4}


@light
class Line:
    """One vessel or cold store."""

    name: str
    main: str  # "ready today 05:10 to 08:30"
    more: str  # "24.1 °C, air running"


@light
class RoomView:
    site: str
    own: bool
    mark: str  # priority of what needs somebody, "quiet" when it is not heard, "" when all is well
    head: str
    text: str
    lines: tuple[Line, ...]
    rest: str  # what is not told line by line
    heard: str  # how old the news is; "" where the head says it
    stale: bool
    as_of: str  # "As it was today 06:40" over what is no longer known to be so
    page: str
    badge: str

    @property
    def troubled(self) -> bool:
        return self.mark in ("high", "medium", "quiet")


@light
class RoomsView:
    clock: str
    headline: str
    mark: str
    rooms: tuple[RoomView, ...]
    notices: tuple[str, ...]
    shown: bool


def make_rooms(document: Mapping[str, Any]) -> RoomsView:
    """The rooms that need somebody first, then by name."""
    now, zone = rfc3339(document["now"]), ZoneInfo(document["timezone"])
    rooms = sorted(
        (_room(one, now, zone) for one in document["rooms"]), key=lambda one: (_RANKS[one.mark], not one.own, one.site)
    )
    return RoomsView(
        clock=words.clock(now, zone),
        headline=_headline(rooms),
        mark=rooms[0].mark if rooms and rooms[0].troubled else "",
        rooms=tuple(rooms),
        notices=tuple(_notices(document)),
        shown=document["shown"],
    )


def _headline(rooms: Sequence[RoomView]) -> str:
    urgent = [room.site for room in rooms if room.mark == "high"]
    quiet = [room.site for room in rooms if room.mark == "quiet"]
    soon = [room.site for room in rooms if room.mark == "medium"]
    if urgent:
        return f"Act now in {_listed(urgent)}"
    if quiet:
        return f"{_listed(quiet)} {'is' if len(quiet) == 1 else 'are'} not heard"
    if soon:
        return f"Act soon in {_listed(soon)}"
    return "Nothing urgent in any room" if len(rooms) > 1 else "Nothing urgent here"


def _listed(names: Sequence[str]) -> str:
    told = list(names[:3]) + ([f"{len(names) - 3} more"] if len(names) > 3 else [])
    return told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"


def _notices(document: Mapping[str, Any]) -> list[str]:
    found = [document["problem"]] if document["problem"] else []
    if document["problem"]:
        found[0] += " What you see of other rooms is from before."
    if document["doubled"]:
        site = document["rooms"][0]["site"]
        found.append(
            f"Another monitor calls itself {site} as well, and what is kept at the broker is a mix of both. Give each room an id "
            "of its own under [site]."
        )
    if document["beyond"]:
        found.append("More rooms are heard than can be shown. Name yours in sites under [rooms].")
    return found


def _room(one: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> RoomView:
    state, told = one["state"], one["told"]
    heard = instant_of(one["heard"])
    since = "" if heard is None else words.moment(heard, now, zone)
    stale = state not in ("here", "heard")
    if stale:
        mark, head, text = "quiet", *_quiet(state, since, one["reason"])
    else:
        mark, head, text = _needs(told, now, zone)
    lines = [] if told is None else _vessels(told, now, zone)
    return RoomView(
        site=one["site"],
        own=state == "here",
        mark=mark,
        head=head,
        text=text,
        lines=tuple(lines[:MOST_LINES]) + (() if told is None else tuple(_stores(told, now, zone))),
        rest="" if told is None else _rest(told, len(lines) - MOST_LINES),
        heard="This room" if state == "here" else "" if stale or heard is None else _heard(heard, now),
        stale=stale,
        as_of=f"As it was {since}" if stale and told is not None else "",
        page=one["page"] or "",
        badge="Simulated time" if told is not None and told["simulated"] else "",
    )


def _quiet(state: str, since: str, reason: str) -> tuple[str, str]:
    if state == "unreadable":
        return "What it tells cannot be read", f"Its summary at the broker: {reason}."
    if state == "never":
        return "Nothing was heard of it yet", _QUIET[state]
    if state == "stopped":
        return f"Stopped; last heard {since}" if since else "Stopped", _QUIET[state]
    return f"Not heard since {since}" if since else "Not heard", _QUIET[state]


def _needs(told: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> tuple[str, str, str]:
    waiting = [alarm for alarm in told["alarms"] if alarm["state"] in WAITING]
    if waiting:
        first, others = waiting[0], max(told["waiting"] - 1, 0)
        more = f" {others} more alarm{'' if others == 1 else 's'} there." if others else ""
        text = f"Since {words.moment(rfc3339(first['since']), now, zone)}.{more}"
        return first["priority"], f"{URGENCY[first['priority']]}: {first['title']}", text
    if not told["linked"]:
        return (
            "medium",
            "Not watching: no link to its probes",
            "Its monitor runs but hears no probe. Look at its broker.",
        )
    if told["alarms"]:
        names = "; ".join(alarm["title"] for alarm in told["alarms"][:2])
        return "", "Nothing new needs you", f"Somebody knows of: {names}."
    return "", "Nothing needs you", ""


def _vessels(told: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> list[Line]:
    """Those with a batch, the one that is ready first before the others."""
    full = [vessel for vessel in told["vessels"] if vessel["batch"] is not None]

    def order(vessel: Mapping[str, Any]) -> tuple[bool, Ms]:
        mid = instant_of(vessel["batch"]["ready"]["mid"])
        return mid is None, mid or 0

    return [
        Line(vessel["id"], _ready(vessel["batch"], now, zone), _water_and_air(vessel))
        for vessel in sorted(full, key=order)
    ]


def _ready(batch: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> str:
    if batch["stage"] in _DONE:
        return words.STAGES[batch["stage"]]
    low, high = instant_of(batch["ready"]["lo"]), instant_of(batch["ready"]["hi"])
    ends = words.between(
        None if low is None else words.about(low, -1), None if high is None else words.about(high, 1), now, zone
    )
    return f"ready {ends}" if (low, high) != (None, None) else f"{words.STAGES[batch['stage']]}, ready {ends}"


def _water_and_air(vessel: Mapping[str, Any]) -> str:
    parts = [_temperature(vessel["water"])]
    air = vessel["air"]
    if air is not None:
        parts.append(f"air {'not known' if air['value'] == 'unknown' else air['value']}{_old(air)}")
    return ", ".join(parts)


def _temperature(item: Mapping[str, Any] | None) -> str:
    if item is None or not isinstance(item["value"], int | float):
        return "no reading"
    return f"{words.number(float(item['value']))}{words.DEGREE}{_old(item)}"


def _old(item: Mapping[str, Any]) -> str:
    return "" if item["fresh"] else " (old)"


def _stores(told: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> list[Line]:
    found = []
    for store in told["stores"]:
        content = store["content"]
        if content is not None:
            mid = instant_of(content["good_until"]["mid"])
            until = "" if mid is None else f", good until about {words.moment(words.about(mid), now, zone)}"
            number = f"{words.whole(content['nauplii'])} young brine shrimp"
            found.append(Line(store["id"], f"{number}{until}", _temperature(store["temperature"])))
    return found


def _rest(told: Mapping[str, Any], beyond: int) -> str:
    empty = [vessel["id"] for vessel in told["vessels"] if vessel["batch"] is None]
    parts = [f"{beyond} more with a batch"] if beyond > 0 else []
    if empty:
        parts.append(f"Empty: {', '.join(empty[:MOST_LINES])}{' …' if len(empty) > MOST_LINES else ''}")
    return ". ".join(parts)


def _heard(heard: Ms, now: Ms) -> str:
    age = max(now - heard, 0)
    if age < JUST_NOW:
        return "Heard just now"
    return f"Heard {words.duration(age - age % MINUTE)} ago"
