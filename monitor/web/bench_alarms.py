"""What the bench says of its alarms: the gravest to acknowledge first. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.web import words
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from zoneinfo import ZoneInfo

    from monitor.core.model import Ms

_TO_DO: Final = ("unacknowledged", "returned-unacknowledged")
HARVEST_RULES: Final = ("ready", "best-ending", "past-best")
STATES: Final = {
    "unacknowledged": "",
    "acknowledged": "acknowledged",
    "returned-unacknowledged": "over by itself",
    "shelved": "shelved",
    "suppressed-by-design": "held back on purpose",
    "out-of-service": "out of service",
}
URGENCY: Final = {"high": "Act now", "medium": "Act soon", "low": "When you can"}


@light
class AlarmView:
    id: str
    anchor: str
    urgency: str
    priority: str
    title: str
    text: str
    todo: str
    since: str
    state: str
    to_acknowledge: bool
    to_harvest: bool  # it asks for a harvest
    guide: str  # where the guide explains it: it has an entry for every rule
    about: str  # the vessel or cold store it is about, "" for one about the house
    place: str  # where that stands on the page


def alarm_views(bench: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> tuple[AlarmView, ...]:
    def order(alarm: Mapping[str, Any]) -> tuple[bool, int, str, str]:
        return (
            alarm["state"] not in _TO_DO,
            words.RANKS.get(alarm["priority"], 9),
            alarm["since"],
            alarm["id"],
        )

    places = _places(bench)
    standing = sorted((alarm for alarm in bench["alarms"] if alarm["state"] != "normal"), key=order)
    return tuple(
        AlarmView(
            id=alarm["id"],
            anchor=f"alarm-{index}",
            urgency=URGENCY.get(alarm["priority"], "Act"),
            priority=alarm["priority"],
            title=alarm["title"],
            text=alarm["text"],
            todo=alarm["todo"],
            since=words.moment(rfc3339(alarm["since"]), now, zone),
            state=STATES.get(alarm["state"], alarm["state"]),
            to_acknowledge=alarm["state"] in _TO_DO,
            to_harvest=alarm["rule"] in HARVEST_RULES,
            guide=f"/guide#{alarm['rule']}",
            about=places.get(alarm["subject"], ("", ""))[0],
            place=places.get(alarm["subject"], ("", ""))[1],
        )
        for index, alarm in enumerate(standing)
    )


def _places(bench: Mapping[str, Any]) -> dict[str, tuple[str, str]]:
    """By what an alarm can be about (vessel, cold store, batch, probe): whose it is, and its place on the page."""
    found: dict[str, tuple[str, str]] = {}
    for key in ("stores", "vessels"):
        for index, one in enumerate(bench.get(key, [])):
            found[one["id"]] = one["id"], f"{key[:-1]}-{index}"
    for vessel in bench["vessels"]:
        if vessel.get("batch"):
            found.setdefault(vessel["batch"]["id"], found[vessel["id"]])
    for probe in bench.get("probes", []):
        owner = probe.get("vessel") or probe.get("store")
        if owner in found:
            found.setdefault(probe["id"], found[owner])
    return found


def mark_of(alarms: Sequence[Mapping[str, Any]], subjects: set[str]) -> str:
    ranks = sorted(
        (words.RANKS.get(alarm["priority"], 9), alarm["priority"])
        for alarm in alarms
        if alarm["subject"] in subjects and alarm["state"] in (*_TO_DO, "acknowledged")
    )
    return ranks[0][1] if ranks else ""
