"""Temperatures of a room and of the water in it, minute by minute, from three days before a batch to a week after.

The same equations and steps as ``simulator.world`` (exact relaxation over 60 s), written for one vessel and many batches.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from math import exp
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from simulator.population import ranges
from simulator.population.outdoors import TIMEZONE, hourly_c, outdoor_c
from simulator.world.world import STEP_H

if TYPE_CHECKING:
    from simulator.population.tins import Heater, Place
    from simulator.world.numbers import Floats

HISTORY_H = 72
HORIZON_H = 168  # beyond it, a hatch counts as never
BEGIN = HISTORY_H * 60  # row of the start
ROWS = (HISTORY_H + HORIZON_H) * 60 + 1
ZONE = ZoneInfo(TIMEZONE)
NIGHT = (6.0, 22.0)  # heating lowered before the one and after the other, local time
COLD_NIGHT_C, WARM_MEAN_C = 5.0, 18.0
SEASON_H = 48


@dataclass(frozen=True, slots=True)
class Filling:
    """How the vessel is used: ``fresh_c`` is the water filled in at the start, None when it stood ready for days."""

    fresh_c: float | None
    heater: Heater | None
    fails_row: int | None = None


def offsets_h() -> Floats:
    """Hours since the start at each row."""
    hours: Floats = (np.arange(ROWS) - BEGIN) / 60.0
    return hours


def room_c(place: Place, start_s: int) -> tuple[Floats, Floats]:
    """Room and outdoor temperature (C) at each row, shape (ROWS,) each."""
    seconds: Floats = start_s + 3600.0 * offsets_h()
    outside = outdoor_c(place.station, seconds)
    goal = place.mean_c + place.share * (outside - float(hourly_c(place.station).mean()))
    if place.setback_c:
        hour = _local_hour(seconds)
        night = (hour < NIGHT[0]) | (hour >= NIGHT[1])
        goal = goal - np.where(night & (outside < ranges.HEATING_BELOW_C), place.setback_c, 0.0)
    goal = np.maximum(goal, place.floor_c)
    return _lag(goal, place.lag_h), outside


def _local_hour(seconds: Floats) -> Floats:
    """Local hour at each row; the whole hours of an offset change only where summer time begins or ends."""
    whole = np.unique(seconds // 3600)
    offset = [_utc_offset_s(int(hour) * 3600) for hour in whole]
    local = seconds + np.array(offset)[np.searchsorted(whole, seconds // 3600)]
    hours: Floats = (local % 86_400) / 3600.0
    return hours


def _utc_offset_s(second: int) -> float:
    shift = datetime.fromtimestamp(second, UTC).astimezone(ZONE).utcoffset()
    return 0.0 if shift is None else shift.total_seconds()


def _lag(goal: Floats, lag_h: float) -> Floats:
    keep = exp(-STEP_H / lag_h)
    follow = 1.0 - keep
    value = float(goal[0])
    values = [value]
    for target in goal[:-1].tolist():
        value = keep * value + follow * target
        values.append(value)
    return np.array(values)


def water_c(place: Place, filling: Filling, room: Floats) -> Floats:
    """Water temperature (C) at each row, shape (ROWS,)."""
    keep = exp(-STEP_H / place.time_constant_h)
    follow = 1.0 - keep
    heater = filling.heater
    if heater is None:
        on_row, off_row, lift, low, high = ROWS, ROWS, 0.0, 0.0, 0.0
    else:
        on_row = 0 if filling.fresh_c is None else BEGIN
        off_row = ROWS if filling.fails_row is None else filling.fails_row
        lift = heater.watts * place.heat_c_per_h_w * place.time_constant_h
        low, high = heater.set_c - heater.band_c / 2, heater.set_c + heater.band_c / 2
    value, heating = float(room[0]), False
    values = [value]
    for row, around in enumerate(room[1:].tolist()):
        if row == BEGIN and filling.fresh_c is not None:
            value = values[-1] = filling.fresh_c
        if on_row <= row < off_row:
            heating = value < low or (heating and value <= high)
            value = keep * value + follow * (around + lift if heating else around)
        else:
            value = keep * value + follow * around
        values.append(value)
    return np.array(values)


def season(outside: Floats) -> str:
    """Weather of the two days from the start: "cold" if it falls below 5 C, "warm" with a mean above 18 C, else mild."""
    ahead = outside[BEGIN : BEGIN + SEASON_H * 60]
    if float(ahead.min()) < COLD_NIGHT_C:
        return "cold"
    return "warm" if float(ahead.mean()) > WARM_MEAN_C else "mild"
