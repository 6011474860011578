"""What the log tells of broods and other eaters, folded: a function of its entries alone."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.core.log_food import BroodEntry


@dataclass(slots=True)
class BroodBook:
    entries: list[BroodEntry] = field(default_factory=list)  # in the order in which they were logged
