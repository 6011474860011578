"""Which sequence numbers of a probe were seen lately: a repeat is told from a probe that counts anew."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import field
from typing import TYPE_CHECKING

from monitor.core.light import light
from monitor.core.model import HOUR, SECOND

if TYPE_CHECKING:
    from monitor.core.model import Ms

REMEMBERED = 4096
"""Numbers kept for each probe at most: more than an inflight window of 2000 messages."""

REPEATED_WITHIN: Ms = HOUR
"""A number that comes again later than this is a new count, not a repeat. Common practice, no source."""


@light(frozen=False)
class SequenceWindow:
    """The newest numbers of one probe with when they arrived and what they carried.

    A repeat has the same number and the same value within REPEATED_WITHIN. A probe that was switched off and on
    counts from the start again and its values may well be the same (air is always 1000 or 0); it gives itself away
    by its pace: repeats come in a burst, live readings come as far apart as they did the first time.
    """

    _seen: OrderedDict[int, tuple[Ms, int]] = field(default_factory=OrderedDict)
    _doubted: tuple[int, Ms] | None = None

    def repeats(self, seq: int, milli: int, arrived: Ms) -> bool:
        """Whether this is a reading that was noted before."""
        first = self._seen.get(seq)
        if first is None or first[1] != milli or arrived - first[0] > REPEATED_WITHIN:
            return False
        doubted, self._doubted = self._doubted, (seq, arrived)
        if doubted is not None and self._counts_anew(doubted, seq, arrived):
            self._seen.clear()
            return False
        return True

    def note(self, seq: int, milli: int, arrived: Ms) -> None:
        self._seen[seq] = (arrived, milli)
        self._seen.move_to_end(seq)
        self._doubted = None
        oldest = next(iter(self._seen.values()))[0]
        while len(self._seen) > REMEMBERED or arrived - oldest > REPEATED_WITHIN:  # no repeat of those is possible
            self._seen.popitem(last=False)
            oldest = next(iter(self._seen.values()))[0]

    def _counts_anew(self, doubted: tuple[int, Ms], seq: int, arrived: Ms) -> bool:
        earlier_seq, earlier = doubted
        if earlier_seq >= seq or earlier_seq not in self._seen:
            return False
        pace = self._seen[seq][0] - self._seen[earlier_seq][0]
        return pace > 0 and arrived - earlier >= max(SECOND, pace // 2)
