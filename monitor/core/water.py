"""Where the water temperature is going.

The level stays, slowly less certain; the vessel's own daily pattern goes on; water that is not where its room wants it moves
there with the time constant of heat exchange. A heater shows as water that is steadily warmer than its room, and its failure
as water that falls through everything it did in the day before: then the water goes to where the room is going.

How far a day can depart from the one before is learned from this vessel's own days, beginning from a prior for a room of
which nothing is known. The growth of the spread with the horizon follows hourly outdoor temperatures (three New York stations,
2013): the error of "level and pattern stay" reaches 1.1 of the day-to-day change after a day and saturates with a time
constant of about 38 h.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.model import HOUR, SLOT, Ms

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from monitor.core.hatch import Array
    from monitor.core.history import SlotSeries

UNKNOWN_C, UNKNOWN_SD_C = 24.0, 3.0  # no water probe has told anything; an assumption
DAY_SD_C: Final = 1.0  # day-to-day change of a room of which nothing is known; an assumption
DAY_SD_WEIGHT: Final = 0.7  # ... worth this many days of own history
SPREAD_HOURS: Final = 38.0
SPREAD_FACTOR: Final = 1.6  # asymptote of the spread over the day-to-day change
PATTERN_KEEPS: Final = 0.85  # how much of the mean pattern of the last days comes again (same series)
PATTERN_DAYS: Final = 5
PATTERN_SD: Final = 0.3  # of its own size, soon
EXCHANGE_H: Final = 3.0  # time constant of a jug of one or two litres in still air; common practice, no source
EXCHANGE_LOG_SD: Final = 0.5
HEATED_C: Final = 1.5  # warmer than its room by this much over a day: something heats it
FAILED_C: Final = 0.4  # below everything of the day before
FAILED_RATE_C_H: Final = 0.25  # and falling at least so fast
FAILED_SD_C: Final = 0.8  # how well the fall is foreseen
NOW_SLOTS: Final = 4  # the level now is the mean of the newest twenty minutes
PER_HOUR: Final = HOUR // SLOT
DAY_SLOTS: Final = 24 * PER_HOUR


@dataclass(frozen=True, slots=True)
class Climate:
    """What one series says of its level, pattern and variability at its end."""

    level: float  # C, now, with the pattern taken off
    now: float  # C
    mean_day: float  # C, over the last day (or what there is)
    pattern: Array  # C, shape (24,), departure in each hour of the UTC day
    day_sd: float  # C, day-to-day change

    def wave(self, times: Array) -> Array:
        """The pattern at instants in ms, shape (k,)."""
        hour = times / HOUR - 0.5
        low = np.floor(hour)
        part = hour - low
        index = low.astype(np.int64) % 24
        return np.asarray(self.pattern[index] * (1 - part) + self.pattern[(index + 1) % 24] * part)


@dataclass(frozen=True, slots=True)
class Forecast:
    """Water of one vessel from ``start`` on: ``target`` plus a departure that fades with ``exchange_h``."""

    start: Ms
    target: Climate
    offset: float  # C, water over the target's series
    departure: float  # C, at ``start``
    exchange_h: float
    extra_sd: float  # C
    known: bool  # False while no water temperature was ever told

    def at(self, times: Array) -> tuple[Array, Array]:
        """Mean and standard deviation, C, at instants in ms, shape (k,) each."""
        if not self.known:
            return np.full(times.shape, UNKNOWN_C), np.full(times.shape, UNKNOWN_SD_C)
        ahead = np.maximum(times - self.start, 0) / HOUR
        target = self.target
        mean = target.level + self.offset + target.wave(times) + self.departure * np.exp(-ahead / self.exchange_h)
        slow = (SPREAD_FACTOR * target.day_sd) ** 2 * (1 - np.exp(-ahead / SPREAD_HOURS))
        soon = (PATTERN_SD * float(np.abs(target.pattern).mean())) ** 2 + self.extra_sd**2
        return np.asarray(mean), np.sqrt(slow + soon * (1 - np.exp(-ahead / EXCHANGE_H)))


def forecast(water: SlotSeries, upto: int, room: SlotSeries | None = None) -> Forecast:
    """Forecast from the end of slot ``upto - 1``, the newest that is looked at; ``room`` where a probe tells of it."""
    start = upto * SLOT
    own = _climate(water, upto)
    if own is None:
        nothing = Climate(UNKNOWN_C, UNKNOWN_C, UNKNOWN_C, np.zeros(24), UNKNOWN_SD_C)
        return Forecast(start, nothing, 0.0, 0.0, EXCHANGE_H, 0.0, known=False)
    around = None if room is None else _climate(room, upto)
    if around is None:
        return Forecast(start, own, 0.0, own.now - _at_start(own, start), EXCHANGE_H, 0.0, known=True)
    warmer = own.mean_day - around.mean_day
    if warmer <= HEATED_C:
        # The room leads: its departure from its own pattern is where the water's is going.
        target = Climate(around.level + warmer, own.now, own.mean_day, own.pattern, own.day_sd)
        return Forecast(start, target, 0.0, own.now - _at_start(target, start), EXCHANGE_H, 0.0, known=True)
    falling = _falling(water, upto)
    if falling is not None:
        over_room = max(own.now - around.now, 0.3)
        hint = np.log(np.clip(over_room / falling, 0.5, 30.0))
        exchange = float(np.exp(0.6 * hint + 0.4 * np.log(EXCHANGE_H)))
        return Forecast(start, around, 0.0, own.now - _at_start(around, start), exchange, FAILED_SD_C, known=True)
    return Forecast(start, own, 0.0, own.now - _at_start(own, start), EXCHANGE_H, 0.0, known=True)


def _at_start(target: Climate, start: Ms) -> float:
    return float(target.level + target.wave(np.array([float(start)]))[0])


def _climate(series: SlotSeries, upto: int) -> Climate | None:
    slots, means = series.told(upto - PATTERN_DAYS * DAY_SLOTS, upto)
    if not len(slots):
        return None
    span = upto - int(slots[0])
    pattern = _pattern(slots, means, upto, span // DAY_SLOTS)
    recent = slots > slots[-1] - NOW_SLOTS
    bare = Climate(0.0, 0.0, 0.0, pattern, 0.0)
    now = float(means[recent].mean())
    level = float((means[recent] - bare.wave((slots[recent] + 0.5) * SLOT)).mean())
    last_day = means[slots > slots[-1] - DAY_SLOTS]
    return Climate(level, now, float(last_day.mean()), pattern, _day_sd(slots, means, upto, span))


def _pattern(slots: NDArray[np.int64], means: Array, upto: int, days: int) -> Array:
    """Mean departure in each hour of the UTC day from the day's own mean; zeros without a full day."""
    if days < 1:
        return np.zeros(24)
    begin = upto - days * DAY_SLOTS
    hourly = np.interp(np.arange(begin, upto), slots, means).reshape(days * 24, PER_HOUR).mean(axis=1)
    daily = hourly.reshape(days, 24)
    shape = (daily - daily.mean(axis=1)[:, None]).mean(axis=0) * PATTERN_KEEPS
    # A slow rise or fall over the days is no pattern: take off the line that joins the ends of the mean day.
    shape -= np.linspace(-0.5, 0.5, 24) * (shape[-3:].mean() - shape[:3].mean())
    offset = (begin % PER_HOUR) / PER_HOUR  # windows end now, so they begin in the middle of an hour of the day
    rolled = np.roll(shape, (begin // PER_HOUR) % 24)
    return np.asarray(rolled * (1 - offset) + np.roll(rolled, 1) * offset)


def _day_sd(slots: NDArray[np.int64], means: Array, upto: int, span: int) -> float:
    """Day-to-day change: every slot against the one a day before, weighed by the days that adds, without a jump."""
    variance, weight = DAY_SD_WEIGHT * DAY_SD_C**2, DAY_SD_WEIGHT
    if span > DAY_SLOTS:
        even = np.interp(np.arange(upto - span, upto), slots, means)
        more = (span - DAY_SLOTS) / DAY_SLOTS
        variance += more * float(((even[DAY_SLOTS:] - even[:-DAY_SLOTS]) ** 2).mean())
        weight += more
    return float(np.sqrt(variance / weight))


def _falling(water: SlotSeries, upto: int) -> float | None:
    """C per hour at which heated water falls through all it did in the day before; ``None`` while it does not."""
    slots, means = water.told(upto - DAY_SLOTS - PER_HOUR, upto)
    before = means[slots < slots[-1] - PER_HOUR] if len(slots) else means
    if len(before) < PER_HOUR or means[-1] > float(before.min()) - FAILED_C:
        return None
    newest = slots >= slots[-1] - PER_HOUR // 2
    if int(newest.sum()) < 3:
        return None
    slope = float(np.polyfit(slots[newest] / PER_HOUR, means[newest], 1)[0])
    return -slope if slope < -FAILED_RATE_C_H else None
