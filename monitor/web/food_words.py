"""One line of what a keeper wrote down about tins, feedings and broods. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.log_food import Brood, BroodEnded, Counted, Drawn, Eater, Fed, Tin, Weighed
from monitor.web import words

if TYPE_CHECKING:
    from monitor.core.log_food import Ending, FoodEntry

ENDINGS: Final[dict[Ending, str]] = {"weaned": "eats other food now", "lost": "was lost", "moved": "went elsewhere"}


def told_food(entry: FoodEntry) -> str:
    """``20 000 fed to killi-3 out of fridge``."""
    match entry:
        case Tin():
            held = "" if entry.grams is None else f", {words.number(entry.grams, 2)} g"
            return f"tin {entry.lot}{f' ({entry.strain})' if entry.strain else ''}{held}"
        case Weighed():
            return f"{words.number(entry.grams, 2)} g left in {entry.lot}, weighed"
        case Fed():
            of = f" out of {entry.store}" if entry.store else f" of {entry.batch}" if entry.batch else ""
            return f"{words.whole(entry.nauplii)} fed{f' to {entry.brood}' if entry.brood else ''}{of}"
        case Drawn():
            return f"{words.whole(entry.nauplii)} taken out of {entry.store}{f': {entry.why}' if entry.why else ''}"
        case Brood():
            return f"brood {entry.brood} ({entry.fish}): {words.whole(entry.larvae)} larvae"
        case Counted():
            return f"{words.whole(entry.larvae)} larvae counted in {entry.brood}"
        case BroodEnded():
            return f"{entry.brood} {ENDINGS[entry.how]}"
        case Eater():
            return f"{entry.eater} gets {words.whole(entry.nauplii_per_day)} a day"
