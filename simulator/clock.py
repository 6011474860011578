"""Simulated time: where it stands at a moment of the wall clock."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SimClock:
    """The scenario's start is at wall time ``anchor`` (Unix seconds); from there time runs ``speed`` times faster."""

    anchor: float
    speed: float

    def offset_s(self, wall: float) -> float:
        """Simulated seconds since the start at this wall time."""
        return (wall - self.anchor) * self.speed

    def wall(self, offset_s: float) -> float:
        """Wall time (Unix seconds) at which the offset is reached."""
        return self.anchor + offset_s / self.speed
