"""From the world to an ordered flow of readings, and the truth beside it."""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING

from simulator.world import ProbeModel, World

if TYPE_CHECKING:
    from collections.abc import Callable

    from simulator.world import Sample, Trace


class Feed:
    """Readings in order of time, from ``since_s`` on. ``shortest_s`` lengthens the period of hastier probes.

    ``on_trace``, when set, sees every stretch of truth once, in order.
    """

    def __init__(self, world: World, since_s: int, shortest_s: int = 1) -> None:
        self.world = world
        self._probes = [ProbeModel(probe, world, shortest_s) for probe in world.scenario.probe]
        self.on_trace: Callable[[Trace], None] | None = None
        self._waiting: list[tuple[int, str, Sample]] = []
        world.advance(since_s)

    def until(self, offset_s: float) -> list[Sample]:
        """All readings not yet given whose offset is at or before ``offset_s``."""
        if offset_s > self.world.offset_s:
            trace = self.world.advance(offset_s)
            if self.on_trace:
                self.on_trace(trace)
            for probe in self._probes:
                for sample in probe.samples(trace):
                    heapq.heappush(self._waiting, (sample.offset_s, sample.probe.id, sample))
        ready: list[Sample] = []
        while self._waiting and self._waiting[0][0] <= offset_s:
            ready.append(heapq.heappop(self._waiting)[2])
        return ready

    def next_offset_s(self) -> int:
        """Offset of the next reading that is known of, or of the end of the world so far."""
        return self._waiting[0][0] if self._waiting else self.world.offset_s + 1
