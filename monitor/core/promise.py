"""What a keeper could count on: when a batch was to be ready, and how warm the water was foreseen then.

Rules about cold and about lateness measure against this, not against the newest estimate. And since a forecast goes a little up
and down by itself, they look at all those of the last hour: what one of them says can neither be counted on nor make an alarm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from monitor.core.alarms import STANDING
from monitor.core.light import light
from monitor.core.log import Discard, Harvest
from monitor.core.model import HOUR, MINUTE, Ms

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.model import Estimate
    from monitor.core.state import Batch, State
    from monitor.core.water import Forecast

SETTLED: Final = 2 * HOUR  # the water poured in has found its way by then; common practice, no source
TOLD_STEP: Final = 30 * MINUTE  # what was told moves on in steps of this
LONGEST_H: Final = 96  # water is foreseen no further
AHEAD_H: Final = 12.0  # how cold it is going to be is judged over so many hours
STEADY: Final = HOUR
STEADY_FROM: Final = 50 * MINUTE  # as long as the forecasts of less than this are all there is, they tell nothing
ENDED: Final = HOUR  # longer than an entry can be undone
NEVER: Final = 30 * 24 * HOUR  # a hatch that is not in sight counts as so far away
TELLS_LATER: Final = ("cold-snap", "air-stopped", "air-weak")
"""Alarms of a vessel that say themselves that its hatch comes later."""


@light
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


class Outlook(NamedTuple):
    """What one forecast said: ``time``, ready in ms, and how much colder than foreseen the water is going to be, C."""

    time: Ms
    ready: float
    colder: float


def look_ahead(batch: Batch, ready: float | None, now: Ms) -> None:
    """Keep what the newest forecast said."""
    batch.outlooks = [one for one in batch.outlooks if now - STEADY <= one.time < now]
    colder = 0.0
    if batch.foreseen is not None and batch.future is not None and batch.expected is not None:
        colder = batch.foreseen.colder(batch.future, now, batch.expected)
    batch.outlooks.append(Outlook(now, now + NEVER if ready is None else ready, colder))


def steady(batch: Batch) -> tuple[Outlook, Outlook] | None:
    """The least and the most, each for itself, of what the forecasts of the last hour said; ``None`` before there was one."""
    seen = batch.outlooks
    if not seen or seen[-1].time - seen[0].time < STEADY_FROM:
        return None
    columns = list(zip(*seen, strict=True))
    return Outlook(*map(min, columns)), Outlook(*map(max, columns))


def count_on(state: State, batch: Batch, estimate: Estimate, now: Ms) -> dict[str, Any] | None:
    """Keep what the keeper could count on after a new estimate; the document to keep when that has changed."""
    look_ahead(batch, estimate.ready.mid, now)
    changed = False
    surely = max(one.ready for one in batch.outlooks)
    if estimate.ready.mid is not None and (batch.expected is None or surely < batch.expected):
        batch.expected, batch.expected_water = min(surely, now + NEVER), estimate.water_c
        batch.foreseen = None if batch.future is None else Foreseen.of(batch.future, now, batch.expected)
        changed = True
    if now - batch.start.time >= SETTLED and surely < now + NEVER:
        told = batch.promised is None or (
            surely > batch.promised + TOLD_STEP and _told_later(state, batch.start.vessel)
        )
        if told:
            batch.promised = surely
            changed = True
    return document(batch) if changed else None


def let_go(batches: Iterable[Batch], now: Ms) -> None:
    """Forget what was foreseen of batches that ended too long ago to be undone: they stay in the log for ever, it need not."""
    for batch in batches:
        if isinstance(batch.ended, Harvest | Discard) and batch.future is not None and now - batch.ended.logged > ENDED:
            batch.estimate = batch.foreseen = batch.future = None
            batch.outlooks = []


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
