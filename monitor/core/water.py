"""Where the water temperature is going.

Water goes to where its room is, with the time constant of heat exchange that the last days have shown. A heater shows as
water that falls more slowly than that, stands above its room, or rises by itself; then it goes to the heater's set point and
stays. A heater that fails shows as water that falls through all it did before, and it goes to the room again. Where no probe
tells of a room, the water's own level and daily pattern go on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.climate import DAY_SLOTS, PATTERN_SD, PER_HOUR, Climate, climate, through, wave
from monitor.core.model import HOUR, SLOT, Ms

if TYPE_CHECKING:
    from monitor.core.hatch import Array
    from monitor.core.history import SlotSeries

UNKNOWN_C, UNKNOWN_SD_C = 24.0, 3.0  # no water probe has told anything; an assumption
EXCHANGE_H: Final = 3.0  # time constant of a jug of one litre and a half in still air; common practice, no source
EXCHANGE_DOUBT: Final = 0.4  # of its inverse
RATE_NOISE_C_H: Final = 0.25  # of a rate of change from two readings of a cheap probe, with what the model leaves out
OFFSET_SD_C: Final = 0.4  # water over room through the probes' biases and the lamp above
SET_C, SET_SD_C = 26.5, 0.8  # where keepers set a heater: 25-28 C is preferred (FAO T428 annex 4, restated)
HELD_SD_C: Final = 0.25  # how well a thermostat holds
FALLS_C: Final = 0.6  # below everything of the day before
FALLS_C_H: Final = 0.3  # and falling at least so fast: the heater has failed
RISES_C_H: Final = 0.8
FALL_SD_C: Final = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """Water of one vessel from ``start`` on: to ``goal`` and its wave, from ``now``; not below ``held`` where heated."""

    start: Ms
    now: float  # C
    goal: float  # C, where it goes when nothing heats it, without the wave
    around: Climate  # whose level is uncertain and drifts: the room's, or the water's own
    pattern: Array  # C, (24,), as the water follows it
    exchange_h: float
    held: float | None = None  # C, the heater's set point
    rises: float = 0.0  # C per hour, on the way to the set point
    sd: float = 0.0  # C, of what is foreseen apart from the weather
    known: bool = True  # False while no water temperature was ever told

    def at(self, times: Array) -> tuple[Array, Array]:
        """Mean and standard deviation, C, at instants in ms, shape (k,) each."""
        if not self.known:
            return np.full(times.shape, UNKNOWN_C), np.full(times.shape, UNKNOWN_SD_C)
        hours = np.maximum(times - self.start, 0) / HOUR
        fades = np.exp(-hours / self.exchange_h)
        goal = self.goal + self.around.drift(hours) + wave(self.pattern, times)
        begin = self.goal + float(wave(self.pattern, np.array([float(self.start)]))[0])
        free = goal + (self.now - begin) * fades
        size = PATTERN_SD * float(np.abs(self.pattern).mean())
        weather = self.around.slow_variance(hours) * (1 - fades) ** 2 + (size**2 + self.sd**2) * (1 - fades)
        if self.held is None:
            return np.asarray(free), np.sqrt(weather)
        way = np.minimum(self.now + self.rises * hours, self.held) if self.rises else np.full(times.shape, self.held)
        own = np.full(times.shape, self.sd**2) * (1 - np.exp(-hours))
        warmer = free > way  # a room above the set point is not cooled by it
        return np.where(warmer, free, way), np.sqrt(np.where(warmer, weather, own))


def forecast(
    water: SlotSeries,
    upto: int,
    room: SlotSeries | None = None,
    filled: int | None = None,
    set_c: float | None = None,
) -> Forecast:
    """Forecast from the end of slot ``upto - 1``, the newest that is looked at.

    ``room``: where a probe tells of it. ``filled``: the slot in which the batch was started, when fresh water may have
    come in and a heater been put on. ``set_c``: where this vessel's heater has held it before.
    """
    start = upto * SLOT
    own = climate(water, upto)
    if own is None:
        nothing = Climate(UNKNOWN_C, UNKNOWN_C, 0.0, np.zeros(24), UNKNOWN_SD_C)
        return Forecast(start, UNKNOWN_C, UNKNOWN_C, nothing, nothing.pattern, EXCHANGE_H, known=False)
    around = None if room is None else climate(room, upto)
    if room is None or around is None:
        return Forecast(start, own.now, own.level, own, own.pattern, EXCHANGE_H)
    begin = upto - 3 * DAY_SLOTS
    split = begin if filled is None else max(filled + 1, begin)
    before = _Exchange.of(water, room, begin, min(split - 1, upto))
    heat = _heat(water, around, before, max(split, upto - 2 * PER_HOUR), upto)
    if heat is None and split < upto:
        before = before.joined(_Exchange.of(water, room, split, upto))
    follows = through(around.pattern, before.hours)
    goal = around.level + before.offset
    free = Forecast(start, own.now, goal, around, follows, before.hours, sd=FALL_SD_C if heat is None else 0.0)
    if heat is None:
        return free
    if _failed(water, upto, max(split, upto - DAY_SLOTS)):
        return free
    rises, level = heat
    if rises > RISES_C_H:
        goal_c = max(SET_C if set_c is None else set_c, own.now + 0.3)
        sd = SET_SD_C if set_c is None else 2 * HELD_SD_C
        return Forecast(start, own.now, goal, around, follows, before.hours, goal_c, rises, sd)
    return Forecast(start, own.now, goal, around, follows, before.hours, level, 0.0, HELD_SD_C)


@dataclass(frozen=True, slots=True)
class _Exchange:
    """Sums of a regression of the water's rate of change on how much the room is warmer, over unheated hours."""

    n: float = 0.0
    x: float = 0.0
    y: float = 0.0
    xx: float = 0.0
    xy: float = 0.0

    @staticmethod
    def of(water: SlotSeries, room: SlotSeries, begin: int, end: int) -> _Exchange:
        """From half-hourly steps of the slots ``[begin, end)``; nothing where the water stands above its room for long."""
        slots, means = water.told(begin, end)
        if len(slots) < 2 * PER_HOUR:
            return _Exchange()
        step = PER_HOUR // 2
        grid = np.arange(int(slots[0]), int(slots[-1]) + 1, step)
        at = np.interp(grid, slots, means)
        outside = room.filled(int(grid[0]), int(grid[-1]) + 1)[::step]
        if len(grid) < 3 or np.isnan(outside).any():
            return _Exchange()
        rate = np.diff(at) * (PER_HOUR / step)
        gap = ((outside[1:] + outside[:-1]) - (at[1:] + at[:-1])) / 2
        if float(gap.mean()) < -1.5 and float(np.abs(rate).mean()) < 0.2 * float(-gap.mean()) / EXCHANGE_H:
            return _Exchange()  # held above its room
        calm = np.abs(rate) < 8.0  # a fresh filling is no exchange
        gap, rate = gap[calm], rate[calm]
        return _Exchange(
            len(gap), float(gap.sum()), float(rate.sum()), float((gap**2).sum()), float((gap * rate).sum())
        )

    def joined(self, other: _Exchange) -> _Exchange:
        return _Exchange(self.n + other.n, self.x + other.x, self.y + other.y, self.xx + other.xx, self.xy + other.xy)

    def _solve(self) -> tuple[float, float]:
        """Inverse time constant and intercept, each drawn to its prior as far as the data leave it open."""
        prior = 1 / EXCHANGE_H
        pull = (RATE_NOISE_C_H / (EXCHANGE_DOUBT * prior)) ** 2
        lean = (RATE_NOISE_C_H / (OFFSET_SD_C * prior)) ** 2
        matrix = np.array([[self.xx + pull, self.x], [self.x, self.n + lean]])
        slope, intercept = np.linalg.solve(matrix, np.array([self.xy + pull * prior, self.y]))
        return float(np.clip(slope, 1 / 15, 1.5)), float(intercept)

    @property
    def hours(self) -> float:
        return 1 / self._solve()[0]

    @property
    def offset(self) -> float:
        """C, where the water settles over its room."""
        slope, intercept = self._solve()
        return float(np.clip(intercept / slope, -2.0, 2.0))


def _heat(water: SlotSeries, around: Climate, exchange: _Exchange, begin: int, upto: int) -> tuple[float, float] | None:
    """Rate (C per hour) and mean (C) of the slots ``[begin, upto)`` when something heats the water; ``None`` otherwise."""
    slots, means = water.told(begin, upto)
    if len(slots) < 3:
        return None
    x = (slots - slots.mean()) / PER_HOUR
    rate = float((x * means).sum() / max(float((x**2).sum()), 1e-9))
    level = float(means.mean())
    cools = (around.now + exchange.offset - level) / exchange.hours  # at what rate it would move by itself
    length = (int(slots[-1]) - int(slots[0]) + 1) / PER_HOUR
    noise = 0.25 + 0.25 / max(length, 0.3)
    return (rate, level) if rate - cools > max(0.5 * abs(cools), noise) else None


def _failed(water: SlotSeries, upto: int, begin: int) -> bool:
    """Whether heated water falls through all it did since ``begin``."""
    slots, means = water.told(begin, upto)
    before = means[slots < slots[-1] - PER_HOUR] if len(slots) else means
    if len(before) < PER_HOUR // 2 or means[-1] > float(before.min()) - FALLS_C:
        return False
    newest = slots >= slots[-1] - PER_HOUR
    x = (slots[newest] - slots[newest].mean()) / PER_HOUR
    return bool((x * means[newest]).sum() / max(float((x**2).sum()), 1e-9) < -FALLS_C_H)
