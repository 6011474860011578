"""Batches as the log tells of them, and how good what was told of one turned out to be. Pure.

When a batch was ready is known only between two looks: after the last one at which most did not swim yet, and by the
first one at which they did, or by the harvest. What was told agrees when its range reaches into that.
"""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.log import Discard, Harvest, Lapse, Seen, Sight, Start
from monitor.core.model import HOUR, Ms

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from monitor.core.log import LogEntry

LONGEST_LIFE: Final[Ms] = 96 * HOUR
"""After this a batch that nobody ended is taken to be over in a look back; no batch swims longer unfed."""
AHEAD: Final = (36, 24, 18, 12, 6, 3, 1)
"""Hours before a batch was ready at which a look back tells what had been told."""


@light(frozen=False)
class Life:
    """One batch: its start, what was seen of it and how it ended."""

    start: Start
    looks: list[Seen] = field(default_factory=list)
    end: Harvest | Discard | Lapse | None = None

    @property
    def id(self) -> str:
        return self.start.batch

    def until(self, now: Ms) -> Ms:
        """When it ended, or now."""
        ended = now if self.end is None else self.end.time
        return max(min(ended, self.start.time + LONGEST_LIFE), self.start.time)

    def first_seen(self) -> Ms | None:
        return min((look.time for look in self.looks if look.what is not Sight.NONE), default=None)

    def came(self) -> tuple[Ms | None, Ms | None]:
        """After when and by when most of them swam; None where nobody looked."""
        most = min((look.time for look in self.looks if look.what is Sight.MOST), default=None)
        harvested = self.end.time if isinstance(self.end, Harvest) else None
        by = most if most is not None else harvested
        before = [look.time for look in self.looks if look.what is not Sight.MOST and (by is None or look.time < by)]
        return max(before, default=None), by


def lives(entries: Iterable[LogEntry]) -> list[Life]:
    """All batches of the log, in order of their start."""
    found: dict[str, Life] = {}
    for entry in entries:
        if isinstance(entry, Start):
            found[entry.batch] = Life(entry)
        elif isinstance(entry, Seen | Harvest | Discard | Lapse) and (life := found.get(entry.batch)) is not None:
            if isinstance(entry, Seen):
                life.looks.append(entry)
            else:
                life.end = entry
    return sorted(found.values(), key=lambda life: (life.start.time, life.id))


def alive(of: Iterable[Life], since: Ms, until: Ms, now: Ms) -> list[Life]:
    """Those with some of their life in a span."""
    return [life for life in of if life.start.time < until and life.until(now) > since]


@light
class ReadyTold:
    """When a batch would be ready, as it was told at ``time``; None where it was not in sight."""

    time: Ms
    lo: Ms | None
    mid: Ms | None
    hi: Ms | None
    water_c: float | None = None


def off_by(told: ReadyTold, after: Ms | None, by: Ms) -> Ms | None:
    """By how much the nearer end of what was told missed what came: 0 when it agrees, above 0 when told too late.

    None when it was not in sight.
    """
    if told.lo is None:
        return None
    if told.lo > by:
        return told.lo - by
    if after is not None and told.hi is not None and told.hi < after:
        return told.hi - after
    return 0


def off_middle(told: ReadyTold, after: Ms | None, by: Ms) -> Ms | None:
    """By how much what came differs from the likeliest that was told: above 0 when it came later; None when not in sight."""
    if told.mid is None:
        return None
    if told.mid > by:
        return by - told.mid
    return max((by if after is None else after) - told.mid, 0)


@light
class Verdict:
    """How what was told of a batch compares with what came. ``agreed`` of ``judged`` ranges reached into it."""

    judged: int
    agreed: int
    rows: tuple[tuple[int, ReadyTold], ...]  # hours before it came, and what was told then


def verdict(told: Sequence[ReadyTold], after: Ms | None, by: Ms) -> Verdict:
    """Over all that was told before it came; what was told afterwards is no forecast."""
    ahead = [one for one in told if one.time < (by if after is None else after)]
    judged = [miss for one in ahead if (miss := off_by(one, after, by)) is not None]
    rows = []
    for hours in AHEAD:
        earlier = [one for one in ahead if one.time <= by - hours * HOUR]
        if earlier and by - hours * HOUR - earlier[-1].time <= HOUR:
            rows.append((hours, earlier[-1]))
    return Verdict(len(judged), sum(miss == 0 for miss in judged), tuple(rows))
