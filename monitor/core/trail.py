"""What a temperature probe has told over the last days, hour by hour: the lowest and highest of each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.model import HOUR

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from monitor.core.model import Ms

KEEP_HOURS: Final = 72


class Trail:
    """Order and repetition of readings do not matter."""

    __slots__ = ("_hours", "_newest")

    def __init__(self) -> None:
        self._hours: dict[int, tuple[int, int]] = {}
        self._newest: int | None = None

    def add(self, time: Ms, low: int, high: int) -> None:
        """Count in a reading, or a slot of several: thousandths of C."""
        hour = time // HOUR
        newest = hour if self._newest is None else self._newest
        if hour <= newest - KEEP_HOURS:
            return
        self._widen(hour, low, high)
        self._newest = max(hour, newest)
        if hour > newest:
            self._drop_old(hour)

    def add_all(self, times: NDArray[np.int64], lows: NDArray[np.int64], highs: NDArray[np.int64]) -> None:
        """``add`` of many in order of time, shape (k,) each and at least one."""
        import numpy as np  # noqa: PLC0415  (settings name rules, rules name this, and who asks a service needs no sums)

        hours = times // HOUR
        first = np.flatnonzero(np.diff(hours, prepend=hours[0] - 1))
        told = (hours[first], np.minimum.reduceat(lows, first), np.maximum.reduceat(highs, first))
        for hour, low, high in zip(*(part.tolist() for part in told), strict=True):
            self._widen(hour, low, high)
        last = int(hours[-1])
        newest = last if self._newest is None else max(last, self._newest)
        self._newest = newest
        self._drop_old(newest)

    def _widen(self, hour: int, low: int, high: int) -> None:
        known = self._hours.get(hour)
        if known is None:
            self._hours[hour] = (low, high)
        elif low < known[0] or high > known[1]:
            self._hours[hour] = (min(low, known[0]), max(high, known[1]))

    def _drop_old(self, newest: int) -> None:
        for old in [hour for hour in self._hours if hour <= newest - KEEP_HOURS]:
            del self._hours[old]

    def forget(self) -> None:
        """The clock was set: which hour is which is not known any more."""
        self._hours.clear()
        self._newest = None

    def same_since(self) -> Ms | None:
        """Since when every reading was the very same as the newest, in whole hours; ``None`` where nothing was told.

        An hour without a reading breaks nothing: nothing else was told in it.
        """
        hours = sorted(self._hours, reverse=True)
        if not hours or self._hours[hours[0]][0] != self._hours[hours[0]][1]:
            return None
        value = self._hours[hours[0]]
        begin = hours[0]
        for hour in hours:
            if self._hours[hour] != value:
                break
            begin = hour
        return begin * HOUR

    def hours_told(self, begin: Ms) -> int:
        """In how many hours from ``begin`` on it told anything."""
        return sum(1 for hour in self._hours if hour >= begin // HOUR)

    def spread(self, begin: Ms) -> float:
        """How far the readings since ``begin`` lie apart, C; 0 where there are none."""
        told = [self._hours[hour] for hour in self._hours if hour >= begin // HOUR]
        return (max(high for _, high in told) - min(low for low, _ in told)) / 1000 if told else 0.0
