"""Broods as the page shows them: sentences and places, nothing to reckon any more."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.core.light import light
from monitor.core.model import DAY, Ms
from monitor.core.wording import whole
from monitor.settings.fish import fish
from monitor.settings.strains import strains
from monitor.web import words
from monitor.web.brood_form import ENDINGS, NAMES
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping

_BARS: Final = 80  # px, the highest bar of the picture
_LEAST: Final[Ms] = 10 * DAY  # a swim-up bar spans at least so much


@light
class Bar:
    """When they swim up, on a line from spawning or now; places in per cent."""

    low: float
    width: float
    mid: float
    now: float


@light
class Card:
    id: str
    fish: str
    larvae: str
    swims: str
    bar: Bar | None
    stage: str  # what they are at, and what follows
    now: str  # needs
    later: str
    fits: str
    ask: bool  # whether somebody should say that they swim


@light
class Fit:
    """Nauplii of a strain or tin against the mouth."""

    name: str
    length: str
    when: str
    x: float  # from when on, per cent of the days until they are weaned
    width: float


@light
class Day:
    label: str
    need: str
    x: float
    y: float
    height: float


@light
class BroodView:
    card: Card
    days: tuple[Day, ...]
    picture: str
    fits: tuple[Fit, ...]
    facts: tuple[tuple[str, str, str], ...]  # figure, value, whence
    counts: tuple[tuple[str, str], ...]
    loss: str


@light
class BroodsView:
    cards: tuple[Card, ...]
    eaters: tuple[tuple[str, str], ...]
    ended: tuple[tuple[str, str], ...]


def make_broods(bench: Mapping[str, Any]) -> BroodsView:
    now, zone = bench["now_ms"], ZoneInfo(bench["timezone"])
    return BroodsView(
        cards=tuple(make_card(one, now, zone) for one in bench.get("broods") or []),
        eaters=tuple((one["id"], _eats(one)) for one in bench.get("eaters") or []),
        ended=tuple(
            (f"{one['id']}, {one['fish_name']}", f"{ENDINGS[one['how']]}, {_day(rfc3339(one['time']), now, zone)}")
            for one in bench.get("ended") or []
        ),
    )


def _eats(eater: Mapping[str, Any]) -> str:
    meals = "at each feeding time" if eater["meals"] is None else _meals(eater["meals"])
    size = "" if eater["largest_um"] is None else f", none longer than {eater['largest_um']:g} µm"
    return f"{whole(eater['nauplii_per_day'])} a day, {meals}{size}"


def _meals(count: int) -> str:
    return "in one meal" if count == 1 else f"in {count} meals"


def make_card(brood: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> Card:
    counted = brood["counted"]
    larvae = f"{whole(brood['larvae'])} larvae"
    larvae += " expected" if counted is None else f", counted {_day(rfc3339(counted), now, zone)}"
    ends = {end: None if text is None else rfc3339(text) for end, text in brood["swim_up"].items()}
    need, later = brood["needs_per_day_now"], brood["needs_per_day_in_7_days"]
    return Card(
        id=brood["id"],
        fish=brood["fish_name"],
        larvae=larvae,
        swims=_swims(brood, ends, now, zone),
        bar=None if brood["swam_up"] else _bar(rfc3339(brood["spawned"]), ends, now),
        stage=_stage(brood, now, zone),
        now=f"{_about(need)} a day, {_meals(brood['meals_a_day'])}" if need else "nothing yet",
        later=f"{_about(later)} a day" if later else "nothing",
        fits=_fitting(brood),
        ask=not brood["swam_up"] and ends["mid"] is not None and now >= ends["mid"],
    )


def _swims(brood: Mapping[str, Any], ends: Mapping[str, Ms | None], now: Ms, zone: ZoneInfo) -> str:
    if brood["swam_up"]:
        return f"Swam up {_day(rfc3339(brood['swam_up']), now, zone)}"
    if ends["mid"] is None:
        return "Its tank is too cold: they do not develop"
    low = "" if ends["lo"] is None else _day(ends["lo"], now, zone)
    high = "not in sight" if ends["hi"] is None else _day(ends["hi"], now, zone)
    mid = _day(ends["mid"], now, zone)
    verb = "Should have swum up" if now >= ends["mid"] else "Swims up about"
    return f"{verb} {mid}" if low == high else f"{verb} {mid} ({low} to {high})"


def _bar(begin: Ms, ends: Mapping[str, Ms | None], now: Ms) -> Bar | None:
    low, mid, high = ends["lo"], ends["mid"], ends["hi"]
    if low is None or mid is None or high is None:
        return None
    first = min(begin, now)
    length = max(high, now, first + _LEAST) - first

    def place(instant: Ms) -> float:
        return round(2 + 96 * (instant - first) / length, 1)

    return Bar(place(low), max(round(place(high) - place(low), 1), 1.0), place(mid), place(now))


def _stage(brood: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> str:
    if brood["eats_from"] is None:
        return ""
    eats, weaned = rfc3339(brood["eats_from"]), rfc3339(brood["weaned_from"])
    if now >= weaned:
        return "They should eat other food by now. Say so, and nothing more is planned for them."
    if now >= eats:
        return f"Young brine shrimp until about {_day(weaned, now, zone)}"
    finer = brood["figures"]["finer_days"]
    if brood["day"] is not None and brood["day"] >= 0:
        return f"Finer food now; young brine shrimp from about {_day(eats, now, zone)}"
    after = f", after {finer:g} days of finer food" if finer else ""
    return f"Young brine shrimp from about {_day(eats, now, zone)}{after}"


def _fitting(brood: Mapping[str, Any]) -> str:
    """Which tins fit by now, and which will; of strains where no tin is known."""
    tins: Mapping[str, float | None] = brood["tins"]
    if not tins:
        return ""
    age = brood["day"] if brood["day"] is not None else 0.0
    fit = [name for name, day in tins.items() if day is not None and day <= max(age, brood["figures"]["finer_days"])]
    later = {name: day for name, day in tins.items() if day is not None and name not in fit}
    never = [name for name, day in tins.items() if day is None]
    parts = [f"{', '.join(fit)}" if fit else "none at first"]
    parts += [f"{name} from day {day:.0f}" for name, day in later.items()]
    parts += [f"{name} is too large" for name in never]
    return "; ".join(parts)


def make_brood(bench: Mapping[str, Any], brood: Mapping[str, Any]) -> BroodView:
    now, zone = bench["now_ms"], ZoneInfo(bench["timezone"])
    days = _days(brood, now, zone)
    told = brood["told"]
    loss = 1 - 2.718281828 ** -brood["loss_per_day"]
    return BroodView(
        card=make_card(brood, now, zone),
        days=days,
        picture=_picture(brood, now, zone),
        fits=_fits(brood, now, zone),
        facts=_facts(brood),
        counts=tuple((_day(rfc3339(one["time"]), now, zone), whole(one["larvae"])) for one in told["counts"]),
        loss=f"About {loss * 100:.0f} % are lost in a day; the forecast goes on so." if loss > 0.005 else "",
    )


def _days(brood: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> tuple[Day, ...]:
    needs = brood["needs"]
    most = max([*needs, 1])
    width = 100 / len(needs)
    return tuple(
        Day(
            label=_day(now + k * DAY, now, zone),
            need=_about(need),
            x=round(k * width + 0.3, 2),
            y=round(4 + _BARS * (1 - need / most), 1),
            height=round(_BARS * need / most, 1),
        )
        for k, need in enumerate(needs)
    )


def _picture(brood: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> str:
    needs = brood["needs"]
    most = max(needs)
    if not most:
        return f"They need no young brine shrimp in the next {len(needs)} days."
    first = next(k for k, need in enumerate(needs) if need)
    begin = "now" if first == 0 else f"from {_day(now + first * DAY, now, zone)}"
    peak = _day(now + needs.index(most) * DAY, now, zone)
    return f"{_about(needs[first])} a day {begin}, at most {_about(most)} a day about {peak}."


def _fits(brood: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> tuple[Fit, ...]:
    table = strains()
    if brood["figures"]["largest_um"] is None:
        return ()  # any fits
    rows: list[tuple[str, float | None, float | None]] = [
        (f"{name}, your tin", None, day) for name, day in brood["tins"].items()
    ]
    rows += [(table[name].name, table[name].length_um, day) for name, day in brood["strains"].items() if name in table]
    return tuple(_fit(name, length, day, brood, now, zone) for name, length, day in rows)


def _fit(name: str, length: float | None, day: float | None, brood: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> Fit:
    until = max(brood["figures"]["wean_days"], 0.1)
    if day is None:
        when, x = "too large until they are weaned", 100.0
    else:
        swims = None if brood["swim_up"]["mid"] is None else rfc3339(brood["swim_up"]["mid"])
        date = "" if swims is None else f", {_day(swims + round(day * DAY), now, zone)}"
        when, x = f"from day {day:.0f}{date}", 100 * day / until
    return Fit(name, "" if length is None else f"{length:g} µm", when, round(x, 1), round(100 - x, 1))


def _facts(brood: Mapping[str, Any]) -> tuple[tuple[str, str, str], ...]:
    known = fish().get(brood["fish"])
    figures, found = brood["figures"], []
    units = {
        "ration": "a day for each",
        "growth_per_day": "% a day",
        "meals": "a day",
        "largest_um": "µm",
        "swim_up_days": f"at {figures['swim_up_c']:g} °C",
        "wean_days": "after swim-up",
    }
    for name, word in NAMES.items():
        value = figures[name]
        own = brood["told"][name] is not None
        figure = None if known is None else known.figures().get(name)
        whence = "as you told" if own else "usual, no source" if figure is None else figure.told
        if value is None:
            text = "at each feeding time" if name == "meals" else "any"
        else:
            text = f"{value * 100 if name == 'growth_per_day' else value:g} {units[name]}"
        found.append((word, text, whence))
    return tuple(found)


def _about(value: float) -> str:
    """To two digits: more would pretend to be exact."""
    digits = max(len(f"{value:.0f}") - 2, 0)
    return whole(round(value / 10**digits) * 10**digits)


def _day(instant: Ms, now: Ms, zone: ZoneInfo) -> str:
    return words.day_word(instant, now, zone)
