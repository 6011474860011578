"""The form of a brood: what it holds at first, and what was typed."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.core.log_food import Brood
from monitor.settings.errors import Unfit
from monitor.settings.units import split
from monitor.web.brood_bodies import OWN, fish_word
from monitor.web.given import invalid
from monitor.web.when import NotAnInstant, checked, rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.core.model import Ms

ENDINGS: Final = {"weaned": "They eat other food now", "lost": "They died", "moved": "They went to somebody else"}
NAMES: Final = {
    "ration": "Ration",
    "growth_per_day": "Growth of the ration",
    "meals": "Meals",
    "largest_um": "Longest they take",
    "swim_up_days": "Days to swim-up",
    "wean_days": "Days to weaning",
}
_NOON: Final = 12
TAKEN: Final = ("new", "eaters")
"""What stands in an address where a brood's name would."""


def given_of(bench: Mapping[str, Any], brood: Mapping[str, Any] | None) -> dict[str, str]:
    """What the fields hold before anything was typed."""
    today = _day(bench["now_ms"], bench["timezone"])
    usual = {
        "brood": "",
        "fish": "",
        "larvae": "",
        "spawned": today,
        "tank": "",
        "swam_up": "",
        "count": "",
        "when": "now",
        "how": "weaned",
        **dict.fromkeys(OWN, ""),
    }
    if brood is None:
        return usual
    told, zone = brood["told"], bench["timezone"]
    return {
        **usual,
        "brood": brood["id"],
        "fish": brood["fish"],
        "larvae": f"{told['larvae']:g}" if told["larvae"] < 1e6 else f"{told['larvae']:.0f}",
        "spawned": _day(rfc3339(told["time"]), zone),
        "tank": brood["tank"],
        "swam_up": "" if brood["swam_up"] is None else _day(rfc3339(brood["swam_up"]), zone),
        **{name: "" if told[name] is None else f"{_shown(name, told[name]):g}" for name in OWN},
    }


def read_brood(given: Mapping[str, str], bench: Mapping[str, Any], before: Mapping[str, Any] | None) -> Brood:
    """Raises Trouble that names the field."""
    name = own_name("Name", given.get("brood", ""))
    fish = given.get("fish", "").strip()
    if not fish:
        raise invalid("Fish: say which kind it is; one of the list, or a word of your own with its figures.")
    larvae = number("Larvae", given.get("larvae", ""))
    if larvae is None:
        raise invalid("Larvae: say about how many there are, or will be; a guess is better than none.")
    told = None if before is None else before["told"]["time"]
    seen = given.get("swam_up", "").strip()
    own = {name: number(NAMES[name], given.get(name, "")) for name in OWN}
    growth, meals = own["growth_per_day"], own["meals"]
    return Brood(
        time=day_of_form("Spawned", given.get("spawned", ""), bench, told),
        logged=bench["now_ms"],
        brood=name,
        fish=fish_word(fish),
        larvae=larvae,
        tank=given.get("tank", "").strip()[:64],
        swam_up=day_of_form("Swam up", seen, bench, None if before is None else before["swam_up"]) if seen else None,
        ration=own["ration"],
        growth_per_day=None if growth is None else growth / 100,
        meals=None if meals is None else round(meals),
        largest_um=own["largest_um"],
        swim_up_days=own["swim_up_days"],
        wean_days=own["wean_days"],
    )


def day_of_form(field: str, text: str, bench: Mapping[str, Any], before: str | None) -> Ms:
    """Noon of a day, or now when that is still to come; the very instant that was told before when the day is the same.

    Raises Trouble.
    """
    now: Ms = bench["now_ms"]
    zone = bench["timezone"]
    if before is not None and text.strip() == _day(rfc3339(before), zone):
        return rfc3339(before)
    try:
        day = (
            date.fromisoformat(text.strip())
            if text.strip()
            else datetime.fromtimestamp(now / 1000, ZoneInfo(zone)).date()
        )
        noon = datetime(day.year, day.month, day.day, _NOON, tzinfo=ZoneInfo(zone))
        if f"{day}" == _day(now, zone):
            return min(round(noon.timestamp()) * 1000, now)
        return checked(round(noon.timestamp()) * 1000, now)
    except NotAnInstant as problem:
        raise invalid(f"{field}: {problem}") from problem
    except (ValueError, OverflowError):
        raise invalid(f'{field}: "{text[:40]}" is no day; allowed is one such as 2026-03-02.') from None


def number(field: str, text: str) -> float | None:
    """A number of 0 or more; blanks between its thousands are fine. None when empty. Raises Trouble."""
    said = text.replace("\N{NO-BREAK SPACE}", "").replace(" ", "").replace("%", "")
    if not said:
        return None
    try:
        value, unit = split(said)
    except Unfit:
        value, unit = -1.0, ""
    if unit or not 0 <= value <= 1e9:
        raise invalid(f'{field}: "{text[:40]}" is not understood; allowed is a number of 0 or more.')
    return float(value)


def own_name(field: str, text: str) -> str:
    """A name that can stand in an address. Raises Trouble."""
    name = text.strip()
    if not name or len(name) > 64 or "/" in name or not name.isprintable():
        raise invalid(f"{field}: give it a short name such as killi-3, at most 64 letters and no slash.")
    if name in TAKEN:
        raise invalid(f"{field}: {name} is the name of a page; give another name.")
    return name


def _shown(name: str, value: float) -> float:
    return value * 100 if name == "growth_per_day" else value


def _day(instant: Ms, zone: str) -> str:
    return datetime.fromtimestamp(instant / 1000, ZoneInfo(zone)).date().isoformat()
