"""What the log tells of tins, harvests, stores and feedings, folded: a function of its entries alone.

``ledger`` has every entry that amounts rest on, as it was logged and as it was corrected since; the rest is made from it.
"""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.log import Chill, Discard, Emptied, Harvest, Lapse, Seen, Start
from monitor.core.log_food import FOOD_ENTRIES, Drawn, Fed, Tin, Weighed

if TYPE_CHECKING:
    from monitor.core.amended import Told
    from monitor.core.log import Key
    from monitor.core.log_food import DrawEntry, TinEntry
    from monitor.core.model import Ms

LEDGER: Final = (Start, Seen, Harvest, Discard, Lapse, Chill, Emptied, *FOOD_ENTRIES)
"""Entries that amounts rest on, or a batch that is open again."""


@light(frozen=False)
class Gone:
    """What is left in memory of entries that have left it: see ``forgetting``. Those logged at ``before`` or later are here."""

    before: Ms = 0
    batches: set[str] = field(default_factory=set)
    sown: dict[str, list[tuple[Ms, float]]] = field(default_factory=dict)  # by tin, as in the state


@light(frozen=False)
class FoodBook:
    tins: dict[str, Tin] = field(default_factory=dict)  # as told last
    entries: list[TinEntry | DrawEntry] = field(default_factory=list)  # in the order in which they were logged
    weighed: dict[str, Weighed] = field(default_factory=dict)  # the newest of each tin, by when that was
    ledger: list[Told] = field(default_factory=list)  # in the order in which they were logged
    gone: Gone = field(default_factory=Gone)

    def find(self, key: Key) -> Told | None:
        """The newest entry of that key."""
        return next((told for told in reversed(self.ledger) if told.key == key), None)

    def fold(self) -> None:
        """Tins and entries, from the ledger."""
        standing = [told.now for told in self.ledger]
        self.entries = [one for one in standing if isinstance(one, Tin | Weighed | Fed | Drawn)]
        self.tins, self.weighed = {}, {}
        for one in self.entries:
            self.take_tin(one)

    def take_tin(self, entry: TinEntry | DrawEntry) -> None:
        """What an entry says of a tin, after those that were logged before it."""
        if isinstance(entry, Tin):
            self.tins[entry.lot] = entry
        elif isinstance(entry, Weighed):
            before = self.weighed.get(entry.lot)
            if before is None or (entry.time, entry.logged) >= (before.time, before.logged):
                self.weighed[entry.lot] = entry
