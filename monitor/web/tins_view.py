"""What the pages say of a tin. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.core.light import light
from monitor.settings import strains
from monitor.web import words
from monitor.web.ledger_fields import STORED
from monitor.web.problems import Trouble
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.web.food_typed import Place


@light
class TinView:
    id: str
    strain: str
    left: str  # "41.5 g"; empty when nobody told what was in it
    share: float | None  # of what was in it when it was new, per cent
    lasts: str  # "about 9 to 14 days at the pace of the last batches"
    caution: str
    facts: tuple[tuple[str, str], ...]
    story: str


def tins_of(bench: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    return list(bench.get("tins") or [])


def find_tin(bench: Mapping[str, Any], name: str) -> Mapping[str, Any] | None:
    return next((tin for tin in tins_of(bench) if tin["id"] == name), None)


def known_tin(bench: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    """Raises Trouble naming the tins there are."""
    tin = find_tin(bench, name)
    if tin is None:
        known = ", ".join(str(one["id"]) for one in tins_of(bench)) or "none yet"
        raise Trouble(404, f'There is no tin "{name[:64]}"; there are: {known}.')
    return tin


def tin_view(tin: Mapping[str, Any], place: Place) -> TinView:
    left, grams = tin["left_g"], tin["grams"]
    return TinView(
        id=tin["id"],
        strain=strains.full_name(tin["strain"]),
        left="" if left is None else f"{words.number(left, 2)} g",
        share=None if left is None or not grams else round(99 * min(left / grams, 1.0), 1),
        lasts=f"lasts about {tin['lasts']} at the pace of its last batches" if tin["lasts"] else "",
        caution=_caution(tin),
        facts=tuple((name, text) for name, text in _facts(tin, place) if text),
        story=tin["story"],
    )


def _caution(tin: Mapping[str, Any]) -> str:
    if tin["disagrees"]:
        return "More was started from it than it held: weigh it, then it counts right again."
    if tin["falling"]:
        return "Its last batches hatched worse than those before: sow more of it, or open another."
    return ""


def _facts(tin: Mapping[str, Any], place: Place) -> list[tuple[str, str]]:
    label, per_g = tin["label_hatch_percent"], tin["price_per_g"]
    money = f" {tin['currency']}" if tin["currency"] else ""
    million = tin["per_million"]
    return [
        ("Hatches", _hatches(tin)),
        ("On the label", "" if label is None else f"{words.number(label, 2)} %"),
        ("A million young", "" if million is None else f"{words.number(million, 2)}{money}"),
        ("A gram", "" if per_g is None else f"{words.number(per_g, 2)}{money}"),
        ("Opened", _day(tin["opened"], place)),
        ("Kept", STORED[tin["kept"]]),
        ("Used last", _day(tin["last_used"], place) or "not yet"),
    ]


def _hatches(tin: Mapping[str, Any]) -> str:
    share, batches = tin["hatch_share"], tin["batches"]
    low, high = words.percent(share["lo"]), words.percent(share["hi"])
    learned = (
        f"learned from {batches} batch{'' if batches == 1 else 'es'}"
        if batches
        else "a guess until it has hatched here"
    )
    return f"{words.percent(share['mid'])}, {low[:-2]} to {high}; {learned}"


def _day(text: str | None, place: Place) -> str:
    if text is None:
        return ""
    there, here = words.local(rfc3339(text), place.zone), words.local(place.now, place.zone)
    return f"{there.day} {there:%b}{'' if there.year == here.year else f' {there.year}'}"
