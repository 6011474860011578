"""Where the water temperature is going.

Water goes to where its room is, with the time constant of heat exchange that the last days have shown. A heater shows as
water that falls more slowly than that, stands above its room, or rises by itself; then it goes to the heater's set point and
stays. A heater that fails shows as water that falls through all it did before, and it goes to the room again. Where no probe
tells of a room, the water's own level and daily pattern go on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.climate import DAY_SLOTS, PATTERN_SD, PER_HOUR, Climate, climate, slope, through, wave
from monitor.core.light import light
from monitor.core.model import HOUR, SLOT, Ms

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from monitor.core.hatch import Array
    from monitor.core.history import SlotSeries

UNKNOWN_C, UNKNOWN_SD_C = 24.0, 3.0  # no water probe has told anything; an assumption
EXCHANGE_H: Final = 3.0  # time constant of a jug of one litre and a half in still air; common practice, no source
EXCHANGE_DOUBT: Final = 0.4  # of its inverse
RATE_NOISE_C_H: Final = 0.25  # of a rate of change from two readings of a cheap probe, with what the model leaves out
OFFSET_SD_C: Final = 0.4  # water over room through the probes' biases and the lamp above
SET_C, SET_SD_C = 26.5, 0.8  # where keepers set a heater: 25-28 C is preferred (FAO T428 annex 4, restated)
HELD_SD_C: Final = 0.15  # how well a thermostat holds
FALLS_C: Final = 0.6  # below everything of the day before
FALLS_C_H: Final = 0.3  # and falling at least so fast: the heater has failed
RISES_C_H: Final = 0.8
FREE_SD_C: Final = 0.15
HABIT_BATCHES: Final = 5
HABIT_NEWEST: Final = 2  # so many batches in a row make a habit
HABIT_SLOTS: Final = 2 * PER_HOUR  # after so long the water itself must show it
FOLLOWS_SLOTS: Final = 9 * PER_HOUR
NEAR_SET_C: Final = 2.5  # fresh water is mixed near to where the heater will hold it
KNOWN_STEPS: Final = 48  # half-hourly steps from which the time constant is known well
TOO_COLD_C: Final = 14.0
MOVES_C: Final = 0.5
SAME_WATER_C: Final = 1.7  # a thermostat's band is up to 1.5 C wide
HELD_GAP_C: Final = 1.1
STANDS_C: Final = 0.8  # warmer than its room for hours: something heats it
WEAK_BELOW_C: Final = 24.0
LIFT_C: Final = 15.0  # what a heater of some watts per litre can do in a jug; common practice, no source


@light(eq=False)
class Forecast:
    """Water of one vessel from ``start`` on: from ``now`` to ``goal`` and its wave; with a heater to more, up to ``held``."""

    start: Ms
    now: float  # C
    goal: float  # C, where it goes when nothing heats it, without the wave
    around: Climate  # whose level is uncertain and drifts: the room's, or the water's own
    pattern: Array  # C, (24,), as the water follows it
    exchange_h: float
    held: float | None = None  # C, the heater's set point
    lift: float = 0.0  # C, how far the heater can hold it above its room
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
        driven = free + self.lift * (1 - fades)
        reached = np.minimum(driven, self.held)
        strained = (free > self.held) | (driven < self.held)
        own = np.full(times.shape, self.sd**2) * (1 - np.exp(-hours))
        return np.maximum(reached, free), np.sqrt(np.where(strained, weather + own, own))


@light
class Habit:
    """How this vessel was used in its last batches, newest last: where a heater held it (C), ``None`` for unheated ones."""

    held: tuple[float | None, ...] = ()

    def after(self, water: SlotSeries, room: SlotSeries | None, begin: int, end: int) -> Habit:
        """With one more batch, which stood in the slots ``[begin, end)``."""
        told = None if room is None else _heat(water, room, _Exchange(), max(begin + 1, end - DAY_SLOTS), end)
        return Habit((*self.held, None if told is None else told.level)[-HABIT_BATCHES:])

    @property
    def set_c(self) -> float | None:
        """Where its heater holds it, when all the last batches were heated; C."""
        newest = [level for level in self.held[-HABIT_NEWEST:] if level is not None]
        if len(newest) < HABIT_NEWEST:
            return None
        return float(np.median([level for level in self.held if level is not None]))


NO_HABIT: Final = Habit()


def forecast(
    water: SlotSeries,
    upto: int,
    room: SlotSeries | None = None,
    filled: int | None = None,
    habit: Habit = NO_HABIT,
) -> Forecast:
    """Forecast from the end of slot ``upto - 1``, the newest that is looked at.

    ``room``: where a probe tells of it. ``filled``: the slot in which the batch was started, when fresh water may have
    come in and a heater been put on. ``habit``: what its last batches had.
    """
    start = upto * SLOT
    own = climate(water, upto)
    if own is None:
        nothing = Climate(UNKNOWN_C, UNKNOWN_C, UNKNOWN_C, 0.0, np.zeros(24), UNKNOWN_SD_C)
        return Forecast(start, UNKNOWN_C, UNKNOWN_C, nothing, nothing.pattern, EXCHANGE_H, known=False)
    around = None if room is None else climate(room, upto)
    if room is None or around is None:
        return Forecast(start, own.now, own.level, own, own.pattern, EXCHANGE_H)
    begin = upto - 3 * DAY_SLOTS
    split = begin if filled is None else max(filled + 1, begin)
    exchange = _Exchange.of(water, room, begin, min(split - 1, upto))
    # While the batch is young, water that went on as it was tells more than the few hours since.
    joined = begin if upto - split < FOLLOWS_SLOTS and _goes_on(water, split) else split
    heat = _heat(water, room, exchange, joined, upto)
    if heat is not None and _failed(water, around, exchange, upto, max(joined, upto - DAY_SLOTS)):
        heat = None
    elif heat is None and split < upto:
        exchange = exchange.joined(_Exchange.of(water, room, split, upto))
    hours = exchange.hours
    follows = through(around.pattern, hours)
    goal = around.level + exchange.offset
    usual = habit.set_c
    near = usual is not None and (abs(own.now - usual) < NEAR_SET_C or goal < TOO_COLD_C)
    if heat is None and usual is not None and near and upto - split < HABIT_SLOTS:
        # Too early to see what heats it; as it was heated each time before, so it will be.
        return Forecast(start, own.now, goal, around, follows, hours, usual, LIFT_C, SET_SD_C)
    if heat is None:
        return Forecast(start, own.now, goal, around, follows, hours, sd=FREE_SD_C)
    if heat.steady:
        held, sd = heat.level, HELD_SD_C
    else:
        held, sd = (max(SET_C, own.now + 0.3), SET_SD_C) if usual is None else (max(usual, own.now), 2 * HELD_SD_C)
    return Forecast(start, own.now, goal, around, follows, hours, held, heat.lift, sd)


@light
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
        if float(gap.mean()) < -HELD_GAP_C and float(rate.mean()) > 0.5 * float(gap.mean()) / EXCHANGE_H:
            return _Exchange()  # held above its room: that is no free exchange
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


@light
class _Heat:
    """A heater at work: ``steady`` at ``level`` (C), and able to hold the water ``lift`` (C) above its room."""

    level: float
    lift: float
    steady: bool


def _heat(water: SlotSeries, room: SlotSeries, exchange: _Exchange, begin: int, upto: int) -> _Heat | None:
    """Whether something has heated the water of the slots ``[begin, upto)``, and how strong it is; ``None`` otherwise."""
    slots, means = water.told(max(begin, upto - DAY_SLOTS), upto)
    if len(slots) < 2:
        return None
    outside = room.filled(int(slots[0]), upto)[slots - slots[0]] + exchange.offset
    if np.isnan(outside).any():
        return None
    tau = exchange.hours
    newest = slots > slots[-1] - 2 * PER_HOUR
    rate, level = slope(slots[newest], means[newest]), float(means[newest].mean())
    cools = float((outside[newest] - means[newest]).mean()) / tau  # at what rate it would move by itself
    length = (int(slots[-1]) - int(slots[newest][0]) + 1) / PER_HOUR
    pushes = (rate - cools) * tau  # C above its room that it is driven to, now
    doubt = 0.5 if exchange.n < KNOWN_STEPS else 0.3
    if float(outside[newest].mean()) < TOO_COLD_C:
        doubt = 0.2  # nobody starts a batch in a room too cold to hatch without heating it
    moved = rate - cools > max(doubt * abs(cools), 0.25 + 0.25 / max(length, 0.2))
    lately = slots > slots[-1] - 6 * PER_HOUR
    gap = float((means[lately] - outside[lately]).mean())
    enough = STANDS_C if exchange.n >= PER_HOUR else 1.5 * STANDS_C
    stands = int(slots[-1]) - int(slots[lately][0]) >= 3 * PER_HOUR and gap > enough and pushes > enough / 2
    if not (moved or stands):
        return None
    # On its way; or too weak, since nobody sets a heater so low, or since the water goes up and down with its room.
    if level < WEAK_BELOW_C or abs(rate) > RISES_C_H or _follows(slots, means, outside):
        return _Heat(max(SET_C, level + 1.0), max(pushes, 1.0), steady=False)
    return _Heat(level, max(float((means - outside)[lately].max()), LIFT_C), steady=True)


def _follows(slots: NDArray[np.int64], means: Array, outside: Array) -> bool:
    """Whether, after the first hours, the water has kept its distance from its room rather than its temperature."""
    later = slots > slots[0] + 3 * PER_HOUR
    if int(slots[-1] - slots[0]) < FOLLOWS_SLOTS or int(later.sum()) < 2 * PER_HOUR:
        return False
    own = float(means[later].std())
    return own > MOVES_C and float((means - outside)[later].std()) < 0.8 * own


def _goes_on(water: SlotSeries, split: int) -> bool:
    """Whether the water went on as it was when the batch began: no fresh water came in."""
    _, before = water.told(split - PER_HOUR, split - 1)
    _, after = water.told(split, split + PER_HOUR)
    return bool(len(before) and len(after) and abs(float(after[0] - before[-1])) < SAME_WATER_C)


def _failed(water: SlotSeries, around: Climate, exchange: _Exchange, upto: int, begin: int) -> bool:
    """Whether heated water falls through all it did since ``begin``, about as fast as water that nothing heats."""
    slots, means = water.told(begin, upto)
    before = means[slots < slots[-1] - PER_HOUR] if len(slots) else means
    if len(before) < PER_HOUR // 2 or means[-1] > float(before.min()) - FALLS_C:
        return False
    newest = slots >= slots[-1] - PER_HOUR
    cools = (around.now + exchange.offset - float(means[newest].mean())) / exchange.hours
    return slope(slots[newest], means[newest]) < min(0.5 * cools, -FALLS_C_H)
