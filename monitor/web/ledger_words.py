"""Lines of the ledger in a keeper's words. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.log import Chill, Discard, Emptied, Harvest, Start
from monitor.core.log_food import Brood, BroodEnded, Counted, Drawn, Eater, Fed, Tin, Weighed
from monitor.core.wording import day_of
from monitor.settings import strains
from monitor.web import words
from monitor.web.ledger_fields import ENDINGS, FIELDS, STORED
from monitor.web.store_view import KEPT

if TYPE_CHECKING:
    from monitor.core.log import Standing
    from monitor.web.food_typed import Place

KINDS: Final = {
    "tin": "tins told of",
    "weighed": "tins weighed",
    "start": "batches started",
    "harvest": "harvests",
    "discard": "batches thrown away",
    "chill": "put into a cold store",
    "drawn": "taken out, not fed",
    "emptied": "stores emptied",
    "fed": "feedings",
    "brood": "broods told of",
    "counted": "broods counted",
    "broodended": "broods ended",
    "eater": "other eaters",
}
"""What the ledger holds, by kind, in the order in which amounts flow."""


def sentence(entry: Standing, timezone: str) -> str:
    """What an entry says, without when it happened."""
    match entry:
        case Start():
            mixed = f"{words.number(entry.litres, 2)} L with {words.number(entry.salinity_g_l, 2)} g/L"
            return f"{_grams(entry.cysts_g)} of {entry.lot} into {entry.vessel}, {mixed} ({entry.batch})"
        case Harvest():
            return f"{entry.batch} harvested: {_harvested(entry)}"
        case Discard():
            return f"{entry.batch} thrown away{f': {entry.reason}' if entry.reason else ''}"
        case Chill():
            way = entry.gas if entry.gas != "open" else "aerated" if entry.aerated else "still"
            source = f", from {entry.batch}" if entry.batch else ""
            water = f"{words.number(entry.litres, 2)} L"
            return f"{_shrimp(entry.nauplii)} into {entry.store}, in {water}, {KEPT[way]}{source}"
        case Emptied():
            return f"{entry.store} emptied"
        case Fed():
            return f"{_shrimp(entry.nauplii)} to {entry.brood or 'nobody in particular'}, {_from(entry)}"
        case Drawn():
            return f"{_shrimp(entry.nauplii)} out of {entry.store}, not fed{f': {entry.why}' if entry.why else ''}"
        case Tin():
            return f"{entry.lot}: {', '.join(_tin(entry, timezone))}"
        case Weighed():
            return f"{entry.lot} weighed: {_grams(entry.grams)} left"
        case _:
            return _brood(entry)


def _brood(entry: Standing) -> str:
    match entry:
        case Brood():
            return f"{entry.brood}: {words.whole(entry.larvae)} larvae of {entry.fish}, spawned"
        case Counted():
            return f"{entry.brood} counted: {words.whole(entry.larvae)} larvae left"
        case BroodEnded():
            return f"{entry.brood} {ENDINGS[entry.how]}"
        case Eater(nauplii_per_day=0):
            return f"{entry.eater} get no young brine shrimp any more"
        case Eater():
            return f"{entry.eater} get {words.whole(entry.nauplii_per_day)} young brine shrimp a day"
        case _:
            return ""


def _grams(grams: float) -> str:
    return f"{words.number(grams, 2)} g"


def _shrimp(nauplii: float) -> str:
    return f"{words.whole(nauplii)} young brine shrimp"


def _harvested(entry: Harvest) -> str:
    counted = "not counted" if entry.nauplii is None else _shrimp(entry.nauplii)
    return counted if entry.hatched_fraction is None else f"{counted}, {words.percent(entry.hatched_fraction)} hatched"


def _from(entry: Fed) -> str:
    if entry.store:
        return f"from {entry.store}"
    return f"fresh from {entry.batch}" if entry.batch else "from somewhere else"


def _tin(entry: Tin, timezone: str) -> list[str]:
    strain = strains.full_name(entry.strain)
    told = [
        "" if entry.grams is None else f"{_grams(entry.grams)}{f' of {strain}' if strain else ''}",
        strain if entry.grams is None else "",
        "" if entry.price is None else f"for {words.number(entry.price, 2)}",
        "" if entry.label_hatch_percent is None else f"{words.number(entry.label_hatch_percent, 2)} % on the label",
        "" if entry.opened is None else f"opened {day_of(entry.opened, timezone)}",
        f"kept {STORED[entry.kept]}",
    ]
    return [one for one in told if one]


def was(kind: str, original: Standing, now: Standing, place: Place) -> str:
    """What corrections have changed: ``Cysts 2 g, Tin tin-7``; empty when nothing."""
    told = []
    for one in FIELDS.get(kind, ()):
        before, after = getattr(original, one.name), getattr(now, one.name)
        if before != after:
            shown: Any = one.show(before, place)
            told.append(f"{one.label}: {one.choices.get(shown, shown) or 'nothing'}")
    return ", ".join(told)
