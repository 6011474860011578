"""Harvested nauplii that went into no store: how many there were, what was taken of them, and what is left."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.food import RINSED_SHARE, HarvestHeld
from monitor.core.log import Chill, Harvest
from monitor.core.log_food import Fed
from monitor.core.model import HOUR
from monitor.core.store_book import NOTHING
from monitor.core.tins_held import cysts_per_g, lot_spec
from monitor.core.window import first_stage_ms

if TYPE_CHECKING:
    from monitor.core.model import Ms
    from monitor.core.state import Batch, State

BEST_H: Final = first_stage_ms(25.0) / HOUR
"""Hours after the harvest for which they are at their best at the warmth of a room, where they moult: see ``window``."""
USUAL_SHARE: Final = 0.7
"""Share of cysts that hatches, of a tin of which nothing is known; common practice, no source."""


def harvested(state: State, batch: Batch) -> float:
    """Nauplii of a harvested batch: as counted, else what its cysts, its share and its tin say; 0 when it gave none."""
    end, start = batch.ended, batch.start
    if not isinstance(end, Harvest):
        return 0.0
    if end.nauplii is not None:
        return end.nauplii
    share = end.hatched_fraction
    if share is None:
        known = state.lots.get(start.lot)
        label = lot_spec(state, start.lot).label_hatch_percent
        share = known.hatch_share if known is not None else USUAL_SHARE if label is None else label / 100
    return start.cysts_g * cysts_per_g(state, start.lot) * share * RINSED_SHARE


def chilled_of(state: State, batch: str) -> float:
    """Nauplii of a batch that went into cold stores."""
    chills = (told.now for told in state.food.ledger if isinstance(told.entry, Chill))
    return sum(one.nauplii for one in chills if isinstance(one, Chill) and one.batch == batch)


def fed_of(state: State, batch: str) -> float:
    """Nauplii of a batch that were fed at once, out of no store."""
    return sum(
        one.nauplii for one in state.food.entries if isinstance(one, Fed) and one.batch == batch and not one.store
    )


def left_of(state: State, batch: Batch) -> float:
    """What is left of a harvested batch in no store; never below nothing."""
    name = batch.start.batch
    return max(harvested(state, batch) - chilled_of(state, name) - fed_of(state, name), 0.0)


def harvests_in_hand(state: State, now: Ms) -> tuple[HarvestHeld, ...]:
    """Harvests of which something is left that is still at its best, in order of time."""
    found: list[HarvestHeld] = []
    for batch in state.batches.values():
        end = batch.ended
        if not isinstance(end, Harvest) or not end.time <= now < end.time + BEST_H * HOUR:
            continue
        left = left_of(state, batch)
        if left >= NOTHING:
            held = HarvestHeld(batch=batch.start.batch, lot=batch.start.lot, time=end.time, nauplii=left, best_h=BEST_H)
            found.append(held)
    return tuple(sorted(found, key=lambda one: (one.time, one.batch)))
