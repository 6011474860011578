"""Where the water temperature is going: it stays as it is now, moved by the vessel's own daily pattern.

The pattern is used once a day of history exists. The spread grows with the horizon; how far comes from how much one day
differed from the next in this vessel, beginning from a prior for a room of which nothing is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.model import HOUR, SLOT, Ms

if TYPE_CHECKING:
    from monitor.core.hatch import Array
    from monitor.core.history import SlotSeries

UNKNOWN_C, UNKNOWN_SD_C = 24.0, 3.0  # no water probe has told anything; an assumption
DAY_SD_C: Final = 1.2  # day-to-day change of a room of which nothing is known; an assumption
DAY_SD_WEIGHT: Final = 2.0  # ... worth this many days of own history
SPREAD_HOURS: Final = 12.0  # the spread reaches 63 % of its variance after this long
LEVEL_SLOTS: Final = 6  # the level now is the mean of the newest half hour
PATTERN_DAYS: Final = 5
SLOTS_PER_HOUR: Final = HOUR // SLOT


@dataclass(frozen=True, slots=True)
class Forecast:
    """Water of one vessel from ``start`` on."""

    start: Ms
    level: float  # C, at ``start`` with the pattern taken off
    pattern: Array  # C, shape (24,), departure in each hour of the UTC day
    day_sd: float  # C
    known: bool  # False while no water temperature was ever told

    def at(self, times: Array) -> tuple[Array, Array]:
        """Mean and standard deviation, C, at instants in ms, shape (k,) each."""
        hour = times / HOUR - 0.5
        low = np.floor(hour)
        part = hour - low
        index = low.astype(np.int64) % 24
        wave = self.pattern[index] * (1 - part) + self.pattern[(index + 1) % 24] * part
        ahead = np.maximum(times - self.start, 0) / HOUR
        if not self.known:
            return self.level + wave, np.full(times.shape, self.day_sd)
        return self.level + wave, self.day_sd * np.sqrt(1 - np.exp(-ahead / SPREAD_HOURS))


def forecast(series: SlotSeries, upto: int) -> Forecast:
    """Forecast from the end of slot ``upto - 1``, the newest that is looked at."""
    start = upto * SLOT
    slots, means = series.told(upto - PATTERN_DAYS * 24 * SLOTS_PER_HOUR, upto)
    if not len(slots):
        return Forecast(start, UNKNOWN_C, np.zeros(24), UNKNOWN_SD_C, known=False)
    span = upto - int(slots[0])
    days = span // (24 * SLOTS_PER_HOUR)
    pattern = np.zeros(24)
    variance, weight = DAY_SD_WEIGHT * DAY_SD_C**2, DAY_SD_WEIGHT
    if days >= 1:
        begin = upto - days * 24 * SLOTS_PER_HOUR
        hourly = np.interp(np.arange(begin, upto), slots, means).reshape(days * 24, SLOTS_PER_HOUR).mean(axis=1)
        daily = hourly.reshape(days, 24)
        level = daily.mean(axis=1)
        mean_hour = (begin * SLOT // HOUR) % 24  # windows end now, so they begin in the middle of an hour of the day
        shape = (daily - level[:, None]).mean(axis=0)
        offset = (begin % SLOTS_PER_HOUR) / SLOTS_PER_HOUR
        rolled = np.roll(shape, int(mean_hour))
        pattern = rolled * (1 - offset) + np.roll(rolled, 1) * offset
    day = 24 * SLOTS_PER_HOUR
    if span > day:
        # Every slot against the one a day before; weighed by the days that adds, so that it grows without a jump.
        even = np.interp(np.arange(upto - span, upto), slots, means)
        more = (span - day) / day
        variance += more * float(((even[day:] - even[:-day]) ** 2).mean())
        weight += more
    newest = means[slots >= slots[-1] - LEVEL_SLOTS + 1]
    bare = Forecast(start, 0.0, pattern, 0.0, known=True)
    recent = (slots[slots >= slots[-1] - LEVEL_SLOTS + 1] + 0.5) * SLOT
    wave, _ = bare.at(recent)
    return Forecast(start, float((newest - wave).mean()), pattern, float(np.sqrt(variance / weight)), known=True)
