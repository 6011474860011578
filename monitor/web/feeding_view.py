"""Who can be fed from what, and how many they need at the next meal. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.core.log_food import Brood, BroodEnded, Eater
from monitor.core.model import HOUR, Ms
from monitor.web import words
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from monitor.core.log import Standing
    from monitor.web.food_typed import Place

LATE: Final[Ms] = 3 * HOUR
"""A meal is still fed, or written down, so long after its time; common practice, no source."""


@light
class Guest:
    """A brood or eater. ``need`` at the next meal, as it is typed; empty when it has none, or nobody knows."""

    id: str
    need: str
    told: str


def guests(food: Mapping[str, Any], entries: Iterable[Standing], place: Place) -> list[Guest]:
    """Those of the food document first, then others that the log knows and that have not ended."""
    broods = food.get("broods") or []
    weaned = {str(one["id"]) for one in broods if one.get("weaned") and rfc3339(one["weaned"]) <= place.now}
    names = [str(one["id"]) for one in (*broods, *(food.get("eaters") or []))]
    names = [name for name in names if name not in weaned]
    names += [name for name in _of_log(entries) if name not in weaned]
    due = [one for one in food.get("meals") or [] if rfc3339(one["time"]) > place.now - LATE and one["need"]["mid"] > 0]
    first = min((rfc3339(one["time"]) for one in due), default=place.now)
    return [_guest(name, [one for one in due if one["eater"] == name], first, place) for name in dict.fromkeys(names)]


def _of_log(entries: Iterable[Standing]) -> list[str]:
    found: dict[str, None] = {}
    for entry in entries:
        if isinstance(entry, Brood):
            found[entry.brood] = None
        elif isinstance(entry, BroodEnded):
            found.pop(entry.brood, None)
        elif isinstance(entry, Eater) and entry.nauplii_per_day > 0:
            found[entry.eater] = None
        elif isinstance(entry, Eater):
            found.pop(entry.eater, None)
    return list(found)


def _guest(name: str, meals: Iterable[Mapping[str, Any]], first: Ms, place: Place) -> Guest:
    """What it needs at the first meal of all stands there already; who eats only later is told, and left empty."""
    meal = min(meals, key=lambda one: rfc3339(one["time"]), default=None)
    if meal is None:
        return Guest(name, "", "")
    time, number = rfc3339(meal["time"]), words.whole(_rounded(meal["need"]["mid"]))
    told = f"needs about {number} at {words.moment(time, place.now, place.zone)}"
    return Guest(name, number if time == first else "", told)


def _rounded(need: float) -> float:
    """To two digits: nobody doles them out more exactly."""
    step = 10.0 ** max(len(str(int(need))) - 2, 0)
    return max(round(need / step) * step, 1.0)


def sources(bench: Mapping[str, Any], place: Place) -> dict[str, str]:
    """By what a form sends: cold stores that hold something, harvests in no store, and somewhere else."""
    found = {
        f"store:{store['id']}": f"{store['id']}, about {words.whole(store['content']['nauplii'])} chilled"
        for store in bench.get("stores") or []
        if store["content"] is not None
    }
    for one in bench.get("harvests") or []:
        when = words.moment(rfc3339(one["harvested"]), place.now, place.zone)
        found[f"batch:{one['batch']}"] = f"{one['batch']}, about {words.whole(one['nauplii'])} harvested {when}"
    return {**found, "": "somewhere else"}
