"""From which number on air runs, as far as what was heard can tell."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

from monitor.core.model import MINUTE
from monitor.intake import hints
from monitor.intake.proposal import Part, Question

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.intake.places import Heard, Place

LEAST: Final = 0.01  # smaller numbers are noise: readings are kept in thousandths
HALF: Final = "half of what was heard; stop the air, listen again, and set it in between"
BOTH: Final = "between the two levels that were heard; see that the low one was stopped air"
STILL: Final = "it told nothing but 0: let the air run and listen again, or say from which number on it runs"
UNCOUNTED: Final = "it was not heard to count: let the air run and listen longer, or say how many a minute are enough"


def threshold_of(
    place: Place, heard: Sequence[Heard], levels: Sequence[hints.Level]
) -> tuple[dict[str, Part], Question | None]:
    """The options ``threshold``, ``deadband`` and ``pulses`` of an air probe that tells numbers, and what must be asked."""
    if _counts(place, levels):
        told = {"pulses": Part(value=True, why="it is a running count")}
        told_nothing, rates = UNCOUNTED, _rates(place, heard)
    else:
        told = {}
        live = [number for number, one in zip(place.numbers, heard, strict=True) if not one.retained]
        told_nothing, rates = STILL, live or [*place.numbers]
    high, low = max(rates, default=0.0), max(min(rates, default=0.0), 0.0)
    if high < LEAST:
        return told, Question("threshold", (), told_nothing)
    two_levels = low < high / 3
    middle = _two_digits((high + low) / 2 if two_levels else high / 2)
    told["threshold"] = Part(middle, "", BOTH if two_levels else HALF)
    told["deadband"] = Part(_two_digits(middle / 4), "a quarter of it")
    return told, None


def _counts(place: Place, levels: Sequence[hints.Level]) -> bool:
    named = any(
        hints.quantity_of(level) == "pulses" or {"total", "count", "counter"} & set(level.words) for level in levels
    )
    whole = all(number == int(number) >= 0 for number in place.numbers)
    return named and whole


def _rates(place: Place, heard: Sequence[Heard]) -> list[float]:
    """Per minute, between neighbours that came live; a count that went back began anew and tells nothing."""
    told = [(one.arrived, number) for one, number in zip(heard, place.numbers, strict=True) if not one.retained]
    rates = []
    for (earlier, before), (later, after) in pairwise(told):
        if later > earlier and after >= before:
            rates.append((after - before) / ((later - earlier) / MINUTE))
    return rates


def _two_digits(value: float) -> float:
    return float(f"{value:.2g}")
