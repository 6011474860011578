"""Whether what is written down about tins and feedings can be taken; the answers are for the keeper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core import store_checks
from monitor.core.in_hand import fed_of, left_of
from monitor.core.log import Harvest
from monitor.core.log_food import Brood, Drawn, Eater, Fed, Tin, Weighed
from monitor.core.model import Refused
from monitor.core.store_book import NOTHING
from monitor.core.tins_held import known_lots
from monitor.core.wording import whole

if TYPE_CHECKING:
    from monitor.core.log_food import FoodEntry
    from monitor.core.state import State

MOST_G: Final = 100_000.0
_BOUNDS: Final = (
    ("the label's hatch", "label_hatch_percent", 1.0, 100.0, " %"),
    ("the cysts in a gram", "cysts_per_g", 20_000.0, 2_000_000.0, ""),
    ("the length of a young", "length_um", 200.0, 1500.0, " um"),
    ("the price", "price", 0.0, 1e6, ""),
)
"""Of a tin: what a person can mean. Cysts and lengths are far beyond all strains that are published."""
NAMED: Final = 12


def check(state: State, entry: FoodEntry) -> None:
    """Raise ``Refused`` when an entry cannot be taken."""
    if isinstance(entry, Tin):
        check_tin(entry)
    elif isinstance(entry, Weighed):
        check_weighed(state, entry)
    elif isinstance(entry, Fed):
        check_fed(state, entry)
        if entry.store:
            store_checks.check(state, entry)
    elif isinstance(entry, Drawn):
        store_checks.check(state, entry)


def check_tin(entry: Tin) -> None:
    if not entry.lot.strip():
        raise Refused("the tin has no name; give it one, as it is written on the lid")
    if entry.grams is not None and not 0 < entry.grams <= MOST_G:
        raise Refused(f"there were {entry.grams:g} g in it; allowed is more than 0 and at most {MOST_G:.0f} g")
    for what, name, low, top, unit in _BOUNDS:
        value = getattr(entry, name)
        if value is not None and not low <= value <= top:
            raise Refused(f"{what} is {value:g}{unit}; allowed is {low:g} to {whole(top)}{unit}")
    if entry.opened is not None and entry.opened > max(entry.time, entry.logged):
        raise Refused("it was opened later than now; give the time at which it was opened, or none")


def check_weighed(state: State, entry: Weighed) -> None:
    if not 0 <= entry.grams <= MOST_G:
        raise Refused(f"it weighs {entry.grams:g} g; allowed is 0 to {MOST_G:.0f} g, without the tin itself")
    known = known_lots(state)
    if entry.lot not in known:
        raise Refused(f"there is no tin {entry.lot}; known are: {_named(known)}. Tell of a new one with swimup tin add")


def check_fed(state: State, entry: Fed) -> None:
    """All but the store, which ``store_checks`` looks at."""
    store_checks.check_number(entry)
    known = [one.brood for one in state.broods.entries if isinstance(one, Brood)]
    known += [one.eater for one in state.broods.entries if isinstance(one, Eater)]
    if entry.brood and entry.brood not in known:
        raise Refused(f"there is no brood {entry.brood}; known are: {_named(known)}. Leave it away if it was nobody's")
    if entry.store or not entry.batch:
        return
    batch = state.batches.get(entry.batch)
    if batch is None:
        newest = [name for name, one in state.batches.items() if isinstance(one.ended, Harvest)][-NAMED:]
        raise Refused(f"there is no batch {entry.batch}; harvested were: {_named(newest)}")
    if isinstance(batch.ended, Harvest) and batch.ended.nauplii is not None:
        left = left_of(state, batch)
        if entry.nauplii - left >= NOTHING:
            raise Refused(
                f"of {entry.batch} about {whole(left)} are left by its harvest; take that, or correct the harvest first"
            )


def check_harvest_covers(state: State, end: Harvest, chilled: float) -> None:
    """A harvest must be as many as were fed of it at once."""
    fed = fed_of(state, end.batch)
    if end.nauplii is not None and fed - max(end.nauplii - chilled, 0.0) >= NOTHING:
        raise Refused(
            f"{whole(fed)} of {end.batch} were fed out of no store and {whole(chilled)} chilled; correct those first"
        )


def _named(names: list[str]) -> str:
    return ", ".join(dict.fromkeys(names)) or "none"
