"""What one series of temperatures says at its end: level, daily pattern, which way it is going, how days differ.

The growth of the spread with the horizon follows hourly outdoor temperatures (three New York stations, 2013): the error of
"level and pattern stay" reaches 1.1 of the day-to-day change after a day and saturates with a time constant of about 38 h.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.light import light
from monitor.core.model import HOUR, SLOT

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from monitor.core.hatch import Array
    from monitor.core.history import SlotSeries

DAY_SD_C: Final = 0.6  # day-to-day change of a place of which nothing is known; an assumption
DAY_SD_WEIGHT: Final = 0.3  # ... worth this many days of own history
SPREAD_HOURS: Final = 38.0
SPREAD_FACTOR: Final = 1.6  # asymptote of the spread over the day-to-day change
PATTERN_KEEPS: Final = 0.85  # how much of the mean pattern of the last days comes again (same stations)
PATTERN_DAYS: Final = 5
PATTERN_SD: Final = 0.2  # of its own size, soon
TREND_HOURS: Final = 3.5  # a departure that grows goes on growing as if for so long (same stations)
TREND_FADES_H: Final = 20.0
TREND_COMES_H: Final = 2.0
BACK_H: Final = 70.0  # a warm or cold spell has half gone after two days (same stations)
NOW_SLOTS: Final = 4  # now is the mean of the newest twenty minutes
PER_HOUR: Final = HOUR // SLOT
DAY_SLOTS: Final = 24 * PER_HOUR


def wave(pattern: Array, times: Array) -> Array:
    """A pattern (24,) by hour of the UTC day at instants in ms, shape (k,)."""
    hour = times / HOUR - 0.5
    low = np.floor(hour)
    part = hour - low
    index = low.astype(np.int64) % 24
    return np.asarray(pattern[index] * (1 - part) + pattern[(index + 1) % 24] * part)


@light(eq=False)
class Climate:
    """``level`` C, now, with the pattern taken off; ``trend`` C per hour, of the level."""

    level: float
    now: float
    mean: float  # C, over the days that are looked at: what the level slowly comes back to
    trend: float
    pattern: Array  # C, shape (24,), departure in each hour of the UTC day
    day_sd: float  # C, day-to-day change

    def slow_variance(self, hours: Array) -> Array:
        """Variance of the level so many hours ahead, C squared."""
        return np.asarray((SPREAD_FACTOR * self.day_sd) ** 2 * (1 - np.exp(-hours / SPREAD_HOURS)))

    def drift(self, hours: Array) -> Array:
        """How far the trend of now, and coming back to the mean, will have carried the level, C."""
        comes, fades = 1 - np.exp(-hours / TREND_COMES_H), np.exp(-hours / TREND_FADES_H)
        back = (self.mean - self.level) * (1 - np.exp(-hours / BACK_H))
        return np.asarray(self.trend * TREND_HOURS * comes * fades + back)


def climate(series: SlotSeries, upto: int, begin: int | None = None) -> Climate | None:
    """Of the slots before ``upto`` (and from ``begin`` on); ``None`` where nothing is known."""
    first = upto - PATTERN_DAYS * DAY_SLOTS
    slots, means = series.told(first if begin is None else max(first, begin), upto)
    if not len(slots):
        return None
    span = upto - int(slots[0])
    pattern = _pattern(slots, means, upto, span // DAY_SLOTS)
    bare = np.asarray(means - wave(pattern, (slots.astype(float) + 0.5) * SLOT))
    recent = slots > slots[-1] - NOW_SLOTS
    level = float(bare[recent].mean())
    return Climate(
        level=level,
        now=float(means[recent].mean()),
        mean=float(means.mean()) if span >= DAY_SLOTS else level,
        trend=_trend(slots, bare, span),
        pattern=pattern,
        day_sd=_day_sd(slots, means, upto, span),
    )


def _trend(slots: NDArray[np.int64], bare: Array, span: int) -> float:
    """C per hour over the last two hours, of the series without its pattern; 0 while no pattern is known."""
    newest = slots > slots[-1] - 2 * PER_HOUR
    if span < DAY_SLOTS or int(newest.sum()) < 6:
        return 0.0
    return slope(slots[newest], bare[newest])


def slope(slots: NDArray[np.int64], means: Array) -> float:
    """C per hour, a straight line through slots."""
    x = (slots - slots.mean()) / PER_HOUR
    return float((x * means).sum() / max(float((x**2).sum()), 1e-9))


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


def through(pattern: Array, exchange_h: float) -> Array:
    """A daily pattern (24,) as water follows it with a time constant: weaker and later."""
    rhythm = 2 * np.pi * np.arange(13) / 24
    return np.asarray(np.fft.irfft(np.fft.rfft(pattern) / (1 + 1j * rhythm * exchange_h), 24))
