"""What a probe has told, in slots of five minutes: sums and counts of whole numbers, so that order does not matter."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.model import HISTORY, SLOT, Ms

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from monitor.core.hatch import Array

KEEP_SLOTS: Final = HISTORY // SLOT


class SlotSeries:
    """Slots are numbered from 1970: slot ``i`` holds the readings of ``[i * SLOT, (i + 1) * SLOT)``."""

    __slots__ = ("_base", "_counts", "_totals", "first", "last")

    def __init__(self) -> None:
        self._base = 0
        self._counts: NDArray[np.int64] = np.zeros(0, dtype=np.int64)
        self._totals: NDArray[np.int64] = np.zeros(0, dtype=np.int64)
        self.first: int | None = None  # oldest and newest slot with a reading
        self.last: int | None = None

    def add(self, time: Ms, milli: int) -> int:
        """Count one reading; returns its slot."""
        slot = time // SLOT
        if slot == self.last:  # as nearly always: there is room, and neither end moves
            i = slot - self._base
            self._counts[i] += 1
            self._totals[i] += milli
        else:
            self.put(slot, 1, milli)
        return slot

    def put(self, slot: int, count: int, total: int) -> None:
        """Add ``count`` readings that sum to ``total`` thousandths. Slots older than is kept are left out."""
        if self.last is not None and slot <= self.last - KEEP_SLOTS:
            return
        self._make_room(slot)
        i = slot - self._base
        self._counts[i] += count
        self._totals[i] += total
        self.first = slot if self.first is None else min(self.first, slot)
        self.last = slot if self.last is None else max(self.last, slot)

    def put_all(self, slots: NDArray[np.int64], counts: NDArray[np.int64], totals: NDArray[np.int64]) -> None:
        """``put`` of many at once, shape (k,) each; a slot that is there twice counts twice."""
        if not len(slots):
            return
        newest = int(slots.max()) if self.last is None else max(self.last, int(slots.max()))
        kept = slots > newest - KEEP_SLOTS
        slots = slots[kept]
        if not len(slots):
            return
        for edge in (int(slots.max()), int(slots.min())):
            self._make_room(edge)
            self.first = edge if self.first is None else min(self.first, edge)
            self.last = edge if self.last is None else max(self.last, edge)
        np.add.at(self._counts, slots - self._base, counts[kept])
        np.add.at(self._totals, slots - self._base, totals[kept])

    def forget_from(self, slot: int) -> None:
        """Forget ``slot`` and what comes after it."""
        self._counts[max(slot - self._base, 0) :] = 0
        (kept,) = np.nonzero(self._counts)
        self.first = int(kept[0]) + self._base if len(kept) else None
        self.last = int(kept[-1]) + self._base if len(kept) else None
        self._totals[self._counts == 0] = 0

    def cell(self, slot: int) -> tuple[int, int]:
        """Count and total of one slot; (0, 0) where nothing was told."""
        i = slot - self._base
        return (int(self._counts[i]), int(self._totals[i])) if 0 <= i < len(self._counts) else (0, 0)

    def told(self, begin: int, end: int) -> tuple[NDArray[np.int64], Array]:
        """Slots in ``[begin, end)`` that have readings, and their means in units; both shape (k,)."""
        lo = max(begin - self._base, 0)
        hi = min(max(end - self._base, lo), len(self._counts))
        counts = self._counts[lo:hi]
        (index,) = np.nonzero(counts)
        return index + lo + self._base, self._totals[lo:hi][index] / counts[index] / 1000

    def filled(self, begin: int, end: int, upto: int | None = None) -> Array:
        """Means of ``[begin, end)``, shape (end - begin,): straight lines over gaps, held at both ends.

        Only slots before ``upto`` (default ``end``) are looked at, and as far back as is kept; NaN where nothing is known.
        """
        limit = end if upto is None else upto
        known = begin < limit and self.cell(begin)[0] > 0  # then nothing before it counts
        slots, means = self.told(begin if known else self._base, limit)
        if not len(slots):
            return np.full(max(end - begin, 0), np.nan)
        return np.interp(np.arange(begin, end), slots, means)

    def held(self, begin: int, end: int, initial: float) -> Array:
        """Means of ``[begin, end)``, each gap holding the mean before it (``initial`` before the first)."""
        slots, means = self.told(self._base, end)
        if not len(slots):
            return np.full(max(end - begin, 0), initial)
        where = np.searchsorted(slots, np.arange(begin, end), side="right") - 1
        return np.where(where >= 0, means[np.maximum(where, 0)], initial)

    def _make_room(self, slot: int) -> None:
        if not len(self._counts):
            self._base = slot - 288
            self._counts = np.zeros(1024, dtype=np.int64)
            self._totals = np.zeros(1024, dtype=np.int64)
        if 0 <= slot - self._base < len(self._counts):
            return
        newest = max(slot, self.last or slot)
        oldest = max(min(slot, self.first if self.first is not None else slot), newest - KEEP_SLOTS + 1)
        base, size = oldest - 144, newest - oldest + 144 + 1024
        for name in ("_counts", "_totals"):
            old = getattr(self, name)
            new = np.zeros(size, dtype=np.int64)
            lo = max(base, self._base)
            hi = min(base + size, self._base + len(old))
            if hi > lo:
                new[lo - base : hi - base] = old[lo - self._base : hi - self._base]
            setattr(self, name, new)
        self._base = base
        if self.first is not None and self.first < base:
            (kept,) = np.nonzero(self._counts)
            self.first = int(kept[0]) + base if len(kept) else None
