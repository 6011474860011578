"""What the log tells of tins and of what was fed, folded: a function of its entries alone."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.core.log_food import DrawEntry, Tin, TinEntry


@dataclass(slots=True)
class FoodBook:
    tins: dict[str, Tin] = field(default_factory=dict)  # as told last
    entries: list[TinEntry | DrawEntry] = field(default_factory=list)  # in the order in which they were logged
