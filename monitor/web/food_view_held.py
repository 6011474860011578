"""What there is, for the page "Food": tins with days left, cold stores with life left, broods in short. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.core.model import DAY, HOUR, Ms
from monitor.web import words
from monitor.web.food_view_words import about_when, grams, instant, money, sentence, some, span, spread

if TYPE_CHECKING:
    from collections.abc import Mapping
    from zoneinfo import ZoneInfo

KEPT: Final = {"room": "kept at room temperature", "cool": "kept cool", "frozen": "kept frozen"}
_LIFE_SHOWN: Final[Ms] = 96 * HOUR
"""What a bar of life spans at least: about as long as young brine shrimp keep at best in the cold."""


@light
class TinView:
    id: str
    strain: str
    left: str
    lasts: str
    facts: str  # "hatches 84 %, 1.85 EUR per million young"
    kept: str
    caution: str


@light
class Life:
    """A bar from now on: surely alive until ``low``, perhaps until ``high``, most likely until ``mid``; per cent."""

    low: float
    mid: float | None
    high: float
    hours: int


@light
class StoreView:
    key: str
    id: str
    nauplii: str
    until: str
    spread: str
    why: str
    life: Life | None


@light
class BroodView:
    id: str
    fish: str
    larvae: str
    stage: str
    needs: str
    fits: str


def tin_view(tin: Mapping[str, Any], currency: str, now: Ms) -> TinView:
    facts = []
    if tin["hatch_share"] is not None:
        facts.append(f"hatches {words.percent(tin['hatch_share'])}")
    if tin["per_million"]:
        facts.append(f"{money(tin['per_million'], currency)} per million young")
    opened = instant(tin["opened"])
    kept = [f"opened {_days_ago(opened, now)}" if opened is not None else "", KEPT.get(tin["kept"], "")]
    return TinView(
        id=tin["id"],
        strain=tin["strain"],
        left="" if tin["left_g"] is None else f"{grams(tin['left_g'])} left",
        lasts=f"enough for {tin['lasts']}" if tin["lasts"] else "",
        facts=", ".join(facts),
        kept=", ".join(part for part in kept if part),
        caution="Fewer hatch than before." if tin["falling"] else "",
    )


def _days_ago(instant_: Ms, now: Ms) -> str:
    days = max(0, round((now - instant_) / DAY))
    return "today" if days == 0 else f"{days} day{'' if days == 1 else 's'} ago"


def store_view(number: int, store: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> StoreView:
    return StoreView(
        key=f"life-{number}",
        id=store["id"],
        nauplii=some(store["nauplii"]),
        until=about_when(store["until"], now, zone),
        spread=spread(store["until"], now, zone),
        why=sentence(store["why"]),
        life=_life(store["until"], now),
    )


def _life(until: Mapping[str, str | None], now: Ms) -> Life | None:
    low, mid, high = span(until)
    if low is None and mid is None:
        return None
    known = [end for end in (low, mid, high) if end is not None]
    reach = max(_LIFE_SHOWN, max(known) - now)

    def place(instant_: Ms | None) -> float:
        return 100.0 if instant_ is None else round(100 * min(1.0, max(0.0, (instant_ - now) / reach)), 1)

    return Life(place(low), None if mid is None else place(mid), place(high), round(reach / HOUR))


def brood_view(brood: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> BroodView:
    swam, needs = instant(brood["swam_up"]), brood["needs_per_day_now"]
    if swam is not None:
        stage = f"Swims since {words.moment(swam, now, zone)}"
    else:
        mid = span(brood["swim_up"])[1]
        stage = f"Swims up about {about_when(brood['swim_up'], now, zone)} ({spread(brood['swim_up'], now, zone)})"
        if mid is not None and mid <= now:
            stage = "Should swim by now: say so when you see it"
    weaned, peak = instant(brood["weaned"]), brood["needs_per_day_peak"]
    told = [f"{some(needs)} a day now" if needs else "nothing yet"]
    if peak and peak > needs:
        told.append(f"at most {some(peak)}")
    if weaned is not None:
        told.append(f"until {words.day_word(weaned, now, zone)}")
    return BroodView(
        id=brood["id"],
        fish=brood["fish_name"] or brood["fish"],
        larvae=some(brood["larvae"]),
        stage=stage,
        needs=", ".join(told),
        fits=", ".join(brood["fits"]),
    )
