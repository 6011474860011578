"""What the service counts of its own work since it started, for whoever watches it. Used by the thread of decisions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from monitor.intake.counters import Counters
    from monitor.store import Store

SIDES: Final = ("", "-wal")
"""The file of the store, and its log beside it."""


class Figures:
    def __init__(self, store: Store, counters: Counters, channels: Sequence[str], queued: Callable[[], int]) -> None:
        self._store = store
        self._counters = counters
        self._queued = queued
        self._commits = self._failed = self._broker_losses = 0
        self._tries = {channel: {"ok": 0, "failed": 0} for channel in channels}

    def committed(self, *, ok: bool) -> None:
        """The store was asked to write what waits."""
        self._commits += ok
        self._failed += not ok

    def broker_lost(self) -> None:
        """The link to the broker broke."""
        self._broker_losses += 1

    @property
    def broker_losses(self) -> int:
        return self._broker_losses

    def tries(self) -> dict[str, tuple[int, int]]:
        """By channel: letters that got through, and failed tries."""
        return {channel: (counts["ok"], counts["failed"]) for channel, counts in self._tries.items()}

    def tried(self, channel: str, *, ok: bool) -> None:
        """A try with a letter has ended."""
        if channel in self._tries:
            self._tries[channel]["ok" if ok else "failed"] += 1

    def document(self) -> dict[str, Any]:
        """A copy that later work does not change."""
        letters = self._store.undelivered()
        return {
            "queue_inputs": self._queued(),
            "store_pending": self._store.pending,
            "store_size_bytes": self._size(),
            "store_commits": self._commits,
            "store_commits_failed": self._failed,
            "store_lost_readings": self._store.lost,
            "broker_losses": self._broker_losses,
            "probes": {
                probe: {"messages": count.messages, "samples": count.samples, "unreadable": count.unreadable}
                for probe, count in self._counters.snapshot().items()
            },
            "channels": {
                channel: {**counts, "waiting": sum(letter.channel == channel for letter in letters)}
                for channel, counts in self._tries.items()
            },
        }

    def _size(self) -> int | None:
        """Bytes; None when the folder can't be looked at just now."""
        try:
            files = [Path(f"{self._store.path}{side}") for side in SIDES]
            return sum(file.stat().st_size for file in files if file.exists())
        except OSError:
            return None
