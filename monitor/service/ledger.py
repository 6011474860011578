"""Marks over weeks, kept in the store: how large it was day by day, and how often a run ended without warning."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Final

from monitor.core.model import DAY, HOUR
from monitor.core.quality import CLOCK_UNSET
from monitor.service.machine import store_size

if TYPE_CHECKING:
    from monitor.core.house import Began
    from monitor.core.model import Ms
    from monitor.service.clock import Clock
    from monitor.store import Store

SIZES: Final = "run/sizes"
ENDS: Final = "run/ends"
SIZES_KEPT: Final = 30
ENDS_KEPT: Final = 50
LOOK_EVERY_S: Final = 600.0


class Ledger:
    """Used by the thread of decisions. What it keeps goes with the next commit: a few hundred bytes a day."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock
        self._sizes = _pairs(store.kept(SIZES))
        self._since, self._ends = _ends(store.kept(ENDS))
        self._looked = float("-inf")

    @property
    def sizes(self) -> tuple[tuple[Ms, int], ...]:
        return tuple(self._sizes)

    @property
    def ends(self) -> tuple[Ms, ...]:
        return tuple(self._ends)

    @property
    def since(self) -> Ms | None:
        """Since when ends are counted; ``None`` while no clock was ever right."""
        return self._since

    def began(self, began: Began) -> None:
        """A run begins; ``began`` tells how the one before ended."""
        changed = False
        if self._since is None and began.time >= CLOCK_UNSET:
            self._since, changed = began.time, True
        if not began.clean and began.alive is not None:
            self._ends, changed = [*self._ends, began.alive][-ENDS_KEPT:], True
        if changed:
            self._store.keep(ENDS, json.dumps({"since": self._since, "ends": self._ends}))

    def look(self) -> None:
        """Mark the size once a day. A clock that is not set marks nothing, and one that was set back drops what lies ahead."""
        if self._clock.steady() - self._looked < LOOK_EVERY_S:
            return
        self._looked = self._clock.steady()
        now = self._clock.now()
        size = store_size(str(self._store.path))
        if now < CLOCK_UNSET or size is None:
            return
        behind = [mark for mark in self._sizes if mark[0] <= now + HOUR]
        if behind and now - behind[-1][0] < DAY:
            return
        self._sizes = [*behind, (now, size)][-SIZES_KEPT:]
        self._store.keep(SIZES, json.dumps(self._sizes))


def _pairs(kept: str | None) -> list[tuple[Ms, int]]:
    """Empty for another version's."""
    try:
        return [(int(time), int(size)) for time, size in json.loads(kept or "[]")]
    except (TypeError, ValueError):
        return []


def _ends(kept: str | None) -> tuple[Ms | None, list[Ms]]:
    """Nothing for another version's."""
    try:
        told = json.loads(kept or "{}")
        since = told.get("since")
        return (None if since is None else int(since)), [int(end) for end in told.get("ends", [])]
    except (AttributeError, TypeError, ValueError):
        return None, []
