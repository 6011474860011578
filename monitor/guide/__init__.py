"""The guide: for each alarm what it means, what to do, what it does next, and its defaults with their reasons.

README, the page and ``swimup alarm explain`` are all made from these entries.
"""

from __future__ import annotations

from typing import Final

from monitor.guide import air, batch, food, hearing, house, plan, probes, record, stores, water
from monitor.guide.entry import Default, Entry

__all__ = ["ENTRIES", "HINTS", "Default", "Entry"]

_ALL: Final = (
    *air.ENTRIES,
    *air.NEWS,
    *water.ENTRIES,
    *batch.ENTRIES,
    *probes.ENTRIES,
    *hearing.ENTRIES,
    *stores.ENTRIES,
    *plan.ENTRIES,
    *food.ENTRIES,
    *house.ENTRIES,
    *record.ENTRIES,
)

ENTRIES: Final = {entry.rule: entry for entry in _ALL}
"""By rule, in the order in which they are read."""
HINTS: Final = {entry.rule: entry.quieter for entry in _ALL}
"""What makes each rule quieter."""
