"""The part of the engine that takes what is written down about food."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core.log_food import Brood, BroodEnded, Counted, Drawn, Eater, Fed, Tin

if TYPE_CHECKING:
    from monitor.core.log_food import FoodEntry
    from monitor.core.state import State


def note(state: State, entry: FoodEntry) -> None:
    """Into the books; live, and once more after a restart."""
    if isinstance(entry, Brood | Counted | BroodEnded | Eater):
        state.broods.entries.append(entry)
        return
    state.food.entries.append(entry)
    if isinstance(entry, Tin):
        state.food.tins[entry.lot] = entry
    if isinstance(entry, Fed | Drawn) and entry.store in state.cold_stores:
        state.cold_stores[entry.store].draw(entry.nauplii)
