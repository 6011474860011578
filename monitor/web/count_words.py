"""A count of drops in the words of the page and the command line. Pure."""

from __future__ import annotations

from math import floor, log10
from typing import TYPE_CHECKING, Any, Final

from monitor.core.counting import MOST_DROPS, Amount, Count
from monitor.core.light import light
from monitor.web import words

if TYPE_CHECKING:
    from collections.abc import Mapping

_DIGITS: Final = 3
"""More would pretend to be exact."""


def rough(value: float) -> str:
    """To three digits: ``571 000``, ``48.2``, ``0.31``."""
    if value <= 0:
        return "0"
    rounded = round(value, _DIGITS - 1 - floor(log10(value)))
    return words.whole(rounded) if rounded >= 100 else f"{rounded:.{_DIGITS}g}"


def percent(share: float) -> str:
    """Also above 100 %, which a miscount can give; small ones to two digits."""
    return f"{100 * share:.2g} %" if 0.0001 <= share < 0.095 else f"{round(100 * share)} %"


def sentence(count: Count) -> str:
    """What swims, with its range, in one sentence."""
    amount, place = (
        (count.per_ml, "in each mL of the vessel")
        if count.in_all is None
        else (count.in_all, f"in {words.number(count.sample.litres or 0.0, 3)} L")
    )
    drops = count.sample.drops.number
    if not amount.mid:
        return f"None in {_drops(drops)}: at most {rough(amount.hi)} {place} (9 chances in 10)."
    return f"About {rough(amount.mid)} young brine shrimp {place}. 8 chances in 10: {_between(amount)}."


def notes(count: Count) -> list[str]:
    """What to know and to do, the gravest first."""
    return [text for text in (_uneven(count), _too_many(count), _more(count), _one_drop(count), _basis(count)) if text]


def _uneven(count: Count) -> str:
    if count.scatter is None or not count.scatter.uneven:
        return ""
    return "The drops differ more than chance: stir and take more. The range is wider for it."


def _too_many(count: Count) -> str:
    hatched = count.hatched
    if hatched is None or hatched.mid <= 1:
        return ""
    sure = "can't be" if hatched.lo > 1 else "can't be; it may still be the luck of the count"
    return (
        f"More than all cysts ({percent(hatched.mid)}) {sure}. Look at the drop's size, the dilution, "
        "the weight of the cysts, and how many there are in a gram."
    )


def _more(count: Count) -> str:
    more, drops = count.more_drops, count.sample.drops.number
    if more is None:
        return "More drops, bigger ones or less dilution would find what is there."
    if not more:
        return ""
    if drops + more > MOST_DROPS:
        return f"To come within 20 % takes about {more} more drops like these: take bigger ones, or dilute less."
    return f"About {_drops(more)} more like these would bring it to within 20 %."


def _one_drop(count: Count) -> str:
    drops = count.sample.drops
    if not drops.total or count.scatter is not None:
        return ""
    if drops.number == 1:
        return "One drop does not tell whether the water was well stirred: take some more."
    return "With the count of each drop you would be told whether the water was well stirred."


def _basis(count: Count) -> str:
    cysts = count.sample.cysts
    if count.hatched is None or cysts.known:
        return ""
    among = cysts.amount
    of = "any cysts" if cysts.basis == "general" else "its strain"
    return (
        f"The share hatched takes {rough(cysts.per_g)} cysts in a gram, as {of} may have ({cysts.source}); "
        f"{_between(among)} is likely. Count a weighed pinch of your tin, and it is surer."
    )


def _drops(number: int) -> str:
    return "1 drop" if number == 1 else f"{number} drops"


def _between(amount: Amount) -> str:
    return f"{rough(amount.lo)} to {rough(amount.hi)}"


# -- the answer as a table and as a picture


@light
class Row:
    name: str
    mid: str
    low: str  # empty where only the most is known
    high: str

    @property
    def span(self) -> str:
        return f"{self.low} to {self.high}" if self.low else f"at most {self.high}"


@light
class Picture:
    """Places in per cent of the width; the line begins at nothing."""

    low: float
    mid: float
    high: float
    low_text: str
    mid_text: str
    high_text: str
    text: str


@light
class CountView:
    text: str
    notes: tuple[str, ...]
    rows: tuple[Row, ...]
    picture: Picture
    chances: str  # that the truth lies in the ranges
    about: str


_EDGE: Final = 1.5
_WIDE: Final = 97.0
_ROOM: Final = 1.4  # beyond the range, for the number that stands there


def view(answer: Mapping[str, Any]) -> CountView:
    """What is shown of the API's answer."""
    shown = answer["in_all"] or answer["per_ml"]
    chances = f"{8 if answer['counted'] else 9} chances in 10"
    return CountView(answer["text"], tuple(answer["notes"]), rows(answer), _picture(shown), chances, _about(answer))


def rows(answer: Mapping[str, Any]) -> tuple[Row, ...]:
    """A row for each number that could be reckoned."""
    named = [
        ("In 1 mL of the vessel", answer["per_ml"], rough),
        (f"In all of it, {words.number(answer['litres'] or 0.0, 3)} L", answer["in_all"], rough),
        ("From 1 g of cysts", answer["per_g"], rough),
        ("Hatched, of all cysts", answer["hatched"], percent),
    ]
    return tuple(
        Row(name, say(one["mid"]), say(one["lo"]) if one["mid"] else "", say(one["hi"]))
        for name, one, say in named
        if one is not None
    )


def _about(answer: Mapping[str, Any]) -> str:
    thinned = f", diluted {answer['dilution']:g} times" if answer["dilution"] != 1 else ""
    return f"Counted {answer['counted']} in {_drops(answer['drops'])} of {answer['drop_ml']:g} mL{thinned}."


def _picture(shown: Mapping[str, Any]) -> Picture:
    top = float(shown["hi"]) * _ROOM

    def across(value: float) -> float:
        return round(_EDGE + _WIDE * value / top, 1)

    low, mid, high = (rough(shown[end]) for end in ("lo", "mid", "hi"))
    text = f"From {low} to {high}, most likely {mid}" if shown["mid"] else f"From none to {high}"
    return Picture(across(shown["lo"]), across(shown["mid"]), across(shown["hi"]), low, mid, high, f"{text}.")
