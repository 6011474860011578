"""The water that a batch started in a vessel would have, hour by hour, for as long as food is foreseen."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.food import DAYS
from monitor.core.model import HOUR, SLOT
from monitor.core.water import LIFT_C, SET_SD_C, forecast

if TYPE_CHECKING:
    from monitor.core.model import Ms
    from monitor.core.state import State, VesselState
    from monitor.core.water import Forecast

HOURS: Final = DAYS * 24
ONCE_SD: Final = (
    2.0  # a vessel that was heated once is heated again less surely than one that always was; an assumption
)


def water_ahead(state: State, vessel: VesselState, now: Ms) -> tuple[Ms, tuple[float, ...], tuple[float, ...]]:
    """The instant it begins, and mean and standard deviation of the water in C at each whole hour from there."""
    future = _forecast(state, vessel, now)
    mean, sd = future.at(now + HOUR * np.arange(HOURS + 1, dtype=float))
    return now, tuple(np.round(mean, 3).tolist()), tuple(np.round(sd, 3).tolist())


def _forecast(state: State, vessel: VesselState, now: Ms) -> Forecast:
    batch = vessel.batch
    if batch is not None and batch.belief is not None and batch.belief.future is not None:
        return batch.belief.future
    told = vessel.water.last
    upto = now // SLOT + 1 if told is None else min(told, now // SLOT) + 1
    room = state.room if state.has_room_probe else None
    free = forecast(vessel.water, upto, room, None, vessel.habit)
    return _as_usual(free, vessel)


def _as_usual(free: Forecast, vessel: VesselState) -> Forecast:
    """An empty vessel's probe tells of air or of old water: where its batches were heated, the next one will be."""
    usual, sd = vessel.habit.set_c, SET_SD_C
    if usual is None and vessel.habit.held and vessel.habit.held[-1] is not None:
        usual, sd = vessel.habit.held[-1], ONCE_SD * SET_SD_C
    if usual is None or free.held is not None:
        return free
    if not free.known:
        free = replace(free, goal=usual, known=True)
    return replace(free, now=usual, held=usual, lift=LIFT_C, sd=sd)
