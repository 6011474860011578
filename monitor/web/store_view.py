"""What the page says of a cold store. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.web import words
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping
    from zoneinfo import ZoneInfo

    from monitor.core.model import Ms
    from monitor.web.bench_measured import Measured

KEPT: Final = {
    "aerated": "open, with slight aeration",
    "still": "open, without aeration",
    "air": "closed over air",
    "oxygen": "closed over oxygen",
}


@light
class ContentView:
    about: str  # how many, in how much water, kept how
    since: str
    lead: str  # "Good until about"
    main: str  # "Wed 09:00"
    spread: str
    why: str
    caution: str


@light
class StoreView:
    id: str
    key: str
    temperature: Measured
    air: Measured | None  # None where nothing tells of it, or nothing hangs on it
    content: ContentView | None
    mark: str  # priority of its gravest open alarm, "" for none
    limits: str


def store_view(
    store: Mapping[str, Any], key: str, temperature: Measured, air: Measured, mark: str, now: Ms, zone: ZoneInfo
) -> StoreView:
    content = store["content"]
    aerated = content is None or content["aerated"]
    return StoreView(
        id=store["id"],
        key=key,
        temperature=temperature,
        air=air if store["air_probe"] and aerated else None,
        content=None if content is None else _content(content, temperature, now, zone),
        mark=mark,
        limits=f"{words.number(store['cold_below'], 2)} to {words.number(store['warm_above'], 2)}{words.DEGREE}",
    )


def _content(content: Mapping[str, Any], temperature: Measured, now: Ms, zone: ZoneInfo) -> ContentView:
    low, mid, high = (_instant(content["good_until"][end]) for end in ("lo", "mid", "hi"))
    early = None if low is None else words.about(low, -1)
    late = None if high is None else words.about(high, 1)
    past = mid is not None and mid <= now
    return ContentView(
        about=_about(content),
        since=words.moment(rfc3339(content["since"]), now, zone),
        lead="Was good until about" if past else "Good until about",
        main="not known" if mid is None else words.moment(words.about(mid), now, zone),
        spread=f"Somewhere from {words.between(early, late, now, zone)}",
        why=f"{content['why'][:1].upper()}{content['why'][1:]}.",
        caution="" if temperature.fresh else _guessed(temperature),
    )


def _guessed(temperature: Measured) -> str:
    if temperature.time is None:
        return "No temperature of it is known: this is reckoned for a refrigerator."
    return "Its temperature is old, so this is too."


def _about(content: Mapping[str, Any]) -> str:
    way = content["gas"] if content["gas"] != "open" else "aerated" if content["aerated"] else "still"
    gas = f" ({words.number(content['gas_l'], 2)} L)" if content["gas_l"] else ""
    water = words.number(content["litres"], 2)
    return f"about {words.whole(content['nauplii'])} nauplii in {water} L, {KEPT[way]}{gas}"


def _instant(text: str | None) -> Ms | None:
    return rfc3339(text) if text else None
