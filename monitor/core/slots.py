"""Which slots of a probe are still open, so that each closed one is kept once and late readings are added to it."""

from __future__ import annotations

from typing import Final

from monitor.core.eta import SETTLE_SLOTS
from monitor.core.model import SLOT, Ms, SlotClosed

CLOCK_SLOTS: Final = 12  # a silent probe's last slots close an hour later


class OpenSlots:
    """Open slots of one probe. ``closed_upto``: slots before it are closed."""

    __slots__ = ("_open", "closed_upto", "probe")

    def __init__(self, probe: str) -> None:
        self.probe = probe
        self.closed_upto = 0
        self._open: dict[int, list[int]] = {}

    def add(self, time: Ms, milli: int) -> list[SlotClosed]:
        """Count a reading; what it closes, or its own addition to a slot that is closed already."""
        slot = time // SLOT
        if slot < self.closed_upto:
            return [SlotClosed(self.probe, slot * SLOT, 1, milli)]
        cell = self._open.get(slot)
        if cell is not None:
            cell[0] += 1
            cell[1] += milli
            return []
        self._open[slot] = [1, milli]
        return self._close(slot - SETTLE_SLOTS)

    def close_by_clock(self, now: Ms) -> list[SlotClosed]:
        """Close what is an hour old."""
        return self._close(now // SLOT - CLOCK_SLOTS) if self._open else []

    def clock_set(self, now: Ms) -> None:
        """Forget what a clock that was far ahead has opened; slots near ``now`` stay as they are."""
        ahead = now // SLOT + CLOCK_SLOTS
        self.closed_upto = min(self.closed_upto, ahead)
        for slot in [slot for slot in self._open if slot >= ahead]:
            del self._open[slot]

    def recall(self, slot: int) -> None:
        """A slot that was closed before a restart."""
        self.closed_upto = max(self.closed_upto, slot + 1)

    def _close(self, upto: int) -> list[SlotClosed]:
        if upto <= self.closed_upto:
            return []
        self.closed_upto = upto
        done = sorted(slot for slot in self._open if slot < upto)
        return [SlotClosed(self.probe, slot * SLOT, *self._open.pop(slot)) for slot in done]
