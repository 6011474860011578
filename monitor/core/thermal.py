"""What temperatures of water can and cannot do, seen from the room around it.

A compact vessel of still water comes to its room with a time constant of ``capacity / (LOSS * surface)``: 1.9 h for a
litre, 3.2 h for five. Water is taken to be anything between twice as fast (draught, a tall thin vessel) and twice as slow
(lid, foam).
"""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.model import HOUR, SLOT

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.hatch import Array
    from monitor.core.history import SlotSeries
    from monitor.core.model import Ms
    from monitor.core.state import State, VesselState

HEAT_KJ_PER_L_K: Final = 4.1  # salt water of 25 g/L: 1.016 kg/L at 4.04 kJ/(kg K), textbook values
LOSS_W_PER_M2_K: Final = 10.0  # still air, radiation included; common practice, no source
DOUBT: Final = 2.0
OFFSET_C: Final = 1.0  # water against room by evaporation, lamp and the two probes' errors; common practice, no source
FREE_BELOW_C: Final = 22.0  # keepers set a heater to 25-28 C (FAO T428 annex 4, restated): nothing holds colder water
STEP: Final = 6  # slots, half an hour
SLOT_H: Final = SLOT / 3_600_000
SHORT: Final = HOUR // SLOT  # slots: the room is asked for no shorter time
ENOUGH: Final = 8  # vessels tell what their room was; more would tell no more and cost as much again


def time_constant_h(litres: float) -> float:
    """Hours in which water comes to its room but for a factor e; of a cube, the surface of which is 6 V^(2/3)."""
    surface_m2 = 6.0 * float((litres / 1000) ** (2 / 3))
    return HEAT_KJ_PER_L_K * litres / (LOSS_W_PER_M2_K * surface_m2) / 3.6


def fastest_h(litres: float) -> float:
    return time_constant_h(litres) / DOUBT


def slowest_h(litres: float) -> float:
    return time_constant_h(litres) * DOUBT


def must_rise(room: Array, water_c: float, litres: float) -> float:
    """How far water at ``water_c`` must have got above it, C, given its room slot by slot: a heater cannot cool."""
    keeps = float(np.exp(-STEP * SLOT_H / slowest_h(litres)))
    now = top = water_c
    for outside in room[::STEP] - OFFSET_C:
        now = max(water_c, outside + (now - outside) * keeps)
        top = max(top, now)
    return float(top - water_c)


def must_fall(room: Array, water_c: float, litres: float) -> float:
    """How far water at ``water_c`` that nothing heats must have got below it, C."""
    return must_rise(2 * water_c - room, water_c, litres)


def look(state: State, now: Ms) -> None:
    """Find which vessels nothing heats; once a slot, so that not each vessel asks all others."""
    end = now // SLOT
    state.unheated = [v for v in state.vessels.values() if _is_cool(v, end - SHORT, end)]


def surroundings(state: State, vessel: VesselState | None, begin: int, end: int) -> Array | None:
    """What the room was in the slots ``[begin, end)``, C: by its probe, else by two or more vessels that nothing heats.

    ``begin`` is ``SHORT`` before ``end`` or earlier: who was heated in that time is not asked again.
    """
    if _told(state.room, begin, end):
        return state.room.filled(begin, end)
    others = (v for v in state.unheated if v is not vessel and is_free(v, begin, end))
    free = [v.water.filled(begin, end) for v in islice(others, ENOUGH)]
    return np.asarray(np.mean(free, axis=0)) if len(free) >= 2 else None


def is_free(vessel: VesselState, begin: int, end: int) -> bool:
    """Whether the water of a vessel was all the time such that only its room can have moved it."""
    return _told(vessel.water, begin, end) and _is_cool(vessel, begin, end)


def _is_cool(vessel: VesselState, begin: int, end: int) -> bool:
    """Whether it was too cold for a heater, and is heard; what is so for long was so in the end, too."""
    start = 0 if vessel.batch is None else vessel.batch.start.time // SLOT
    if start >= begin - STEP or (vessel.water.last or 0) < end - STEP:
        return False
    return bool(vessel.water.filled(begin, end).max() < FREE_BELOW_C)


def _told(series: SlotSeries, begin: int, end: int) -> bool:
    """Whether it was heard in most of the slots, and lately."""
    slots, _ = series.told(begin, end)
    return len(slots) > (end - begin) // 2 and int(slots[-1]) >= end - STEP


def lagged(room: Array, first: float, hours: float) -> Array:
    """Water that begins at ``first`` and follows its room with a time constant, slot by slot."""
    keeps = float(np.exp(-SLOT_H / hours))
    found, now = np.empty(len(room)), first
    for k, outside in enumerate(room):
        now = outside + (now - outside) * keeps
        found[k] = now
    return found


def rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def spread(values: Iterable[Array]) -> float:
    """The least that any of them moved, C."""
    return min((float(v.max() - v.min()) for v in values), default=0.0)
