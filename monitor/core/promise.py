"""What a keeper could count on: when a batch was to be ready, and how warm the water was foreseen then.

Rules about cold and about lateness measure against this, not against the newest estimate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from monitor.core.alarms import STANDING
from monitor.core.model import HOUR, MINUTE, Ms

if TYPE_CHECKING:
    from monitor.core.model import Estimate
    from monitor.core.state import Batch, State
    from monitor.core.water import Forecast

SETTLED: Final = 2 * HOUR  # the water poured in has found its way by then; common practice, no source
TOLD_STEP: Final = 30 * MINUTE  # what was told moves on in steps of this
LONGEST_H: Final = 96  # water is foreseen no further
AHEAD_H: Final = 12.0  # how cold it is going to be is judged over so many hours
TELLS_LATER: Final = ("cold-snap", "air-stopped", "air-weak")
"""Alarms of a vessel that say themselves that its hatch comes later."""


@dataclass(frozen=True, slots=True)
class Foreseen:
    """Water in C at whole hours from ``begin`` on."""

    begin: Ms
    celsius: tuple[float, ...]

    @staticmethod
    def of(future: Forecast, now: Ms, until: float) -> Foreseen:
        """What ``future`` says from ``now`` to an instant in ms."""
        hours = min(max(int((until - now) // HOUR) + 1, 1), LONGEST_H)
        mean, _ = future.at(now + HOUR * np.arange(hours + 1, dtype=float))
        return Foreseen(now, tuple(round(float(c), 2) for c in mean))

    def colder(self, future: Forecast, now: Ms, until: float) -> float:
        """How many C colder than foreseen here the water is now going to be, on average up to ``until`` or for ``AHEAD_H``."""
        hours = min(max((until - now) / HOUR, 0.0), AHEAD_H)
        times = now + HOUR * np.arange(0.0, hours + 0.5, 0.5)
        before = np.interp(times, self.begin + HOUR * np.arange(len(self.celsius)), self.celsius)
        return float((before - future.at(times)[0]).mean())


def count_on(state: State, batch: Batch, estimate: Estimate, now: Ms) -> dict[str, Any] | None:
    """Keep what the keeper could count on after a new estimate; the document to keep when that has changed."""
    mid = estimate.ready.mid
    if mid is None:
        return None
    changed = False
    if batch.expected is None or mid < batch.expected:
        batch.expected, batch.expected_water = mid, estimate.water_c
        batch.foreseen = None if batch.future is None else Foreseen.of(batch.future, now, mid)
        changed = True
    if now - batch.start.time >= SETTLED:
        told = batch.promised is None or (mid > batch.promised + TOLD_STEP and _told_later(state, batch.start.vessel))
        if told:
            batch.promised = mid
            changed = True
    return document(batch) if changed else None


def _told_later(state: State, vessel: str) -> bool:
    return any(state.alarm_state(f"{rule}:{vessel}") in STANDING for rule in TELLS_LATER)


def document(batch: Batch) -> dict[str, Any]:
    """Ready for JSON."""
    seen = batch.foreseen
    return {
        "ready": batch.expected,
        "water_c": batch.expected_water,
        "promised": batch.promised,
        "foreseen": None if seen is None else {"begin": seen.begin, "celsius": list(seen.celsius)},
    }


def recall(batch: Batch, kept: dict[str, Any]) -> None:
    """Take back what ``document`` gave; one of an earlier version has less."""
    batch.expected, batch.expected_water = kept["ready"], kept["water_c"]
    batch.promised = kept.get("promised")
    seen = kept.get("foreseen")
    batch.foreseen = None if seen is None else Foreseen(seen["begin"], tuple(seen["celsius"]))
