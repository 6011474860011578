"""Lines of charts, from trends of probes and from what was told of batches. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.model import HOUR, Ms
from monitor.web.trend_words import gap_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.store.record import Trend
    from monitor.web.trend_chart import Place

SHARE_TICKS: Final = tuple((share / 4, f"{25 * share} %") for share in range(5))
_TOLD_GAP: Final[Ms] = 2 * HOUR


def trend_places(trend: Trend, begin: Ms = 0, scale: float = 1.0) -> tuple[Place | None, ...]:
    """Points with something to tell, a gap wherever they are too far apart; x is (time - begin) / scale."""
    places: list[Place | None] = []
    longest, last = gap_of(trend), None
    for point in trend.points:
        if point.mean is None or point.low is None or point.high is None:
            continue
        if last is not None and point.time - last > longest:
            places.append(None)
        places.append(((point.time - begin) / scale, point.low, point.mean, point.high))
        last = point.time
    return tuple(places)


def hatched_places(told: Sequence[tuple[Ms, Any]], begin: Ms = 0, scale: float = 1.0) -> tuple[Place | None, ...]:
    places: list[Place | None] = []
    last = None
    for time, one in told:
        low, mid, high = (one["hatched"][end] for end in ("lo", "mid", "hi"))
        if low is None or mid is None or high is None:
            continue
        if last is not None and time - last > _TOLD_GAP:
            places.append(None)
        places.append(((time - begin) / scale, low, mid, high))
        last = time
    return tuple(places)
