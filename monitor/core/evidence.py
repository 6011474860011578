"""What a log entry says of how far a batch is: the likelihood of what the keeper wrote, given the share that had hatched.

Words are intervals with loose borders. A harvest says more than that most were out: the keeper had looked before, some hours
ago, and had not found it worth harvesting yet. And a look that did not end in a harvest says that it was not time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.log import Harvest, Seen, Sight
from monitor.core.model import HOUR, Ms

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from monitor.core.hatch import Array

Evidence = Seen | Harvest

# What a keeper who looks with a lamp calls what he sees, as shares of what will hatch: where one word gives way to the next.
# The borders are loose on purpose (a logistic in the logit). Common practice, no source.
FIRST_FROM, SOME_FROM, MOST_FROM = 0.01, 0.10, 0.70
LOOSE_LOGIT: Final = 0.28
LOOSE_FIRST: Final = 0.8  # the first few are stragglers ahead of their time in some tins: they say less of the rest
COUNTED: Final = 60.0  # a count of some hundred from a sample that is never quite mixed is worth so many; no source
HARVEST_FROM: Final = 0.92  # a keeper harvests when most are out ...
HARVEST_ANYHOW: Final = 0.10  # ... or for another reason; common practice, no source
PUT_OFF: Final = 0.25  # of looks at a vessel that is ready: it waits for the morning or for hungry fry; an assumption
LOOK_GAPS_H: Final = (2.0, 5.0, 8.0, 11.0, 14.0)
"""Since the look before: keepers look every two to twelve hours, and sleep; common practice, no source."""

# About 48 h when nights are cold is what people put up with; few start what would take longer. Common practice, no source.
PATIENCE_H: Final = 54.0
PATIENCE_SD_H: Final = 4.0
NO_PATIENCE: Final = 0.1  # start it all the same; an assumption
PATIENCE_TELLS_H: Final = 48.0  # by then the water itself has told
LONGEST_H: Final = 240.0  # what never comes counts as this
WEATHER_MATTERS: Final = 0.08  # log hours for one SD of the weather; with half of it there is nothing to foresee


def _logistic(value: Array) -> Array:
    return np.asarray(1 / (1 + np.exp(-np.clip(value, -500, 500))))


def _logit(share: Array | float) -> Array:
    value = np.clip(np.asarray(share, dtype=float), 1e-9, 1 - 1e-9)
    return np.asarray(np.log(value) - np.log1p(-value))


def _above(share: Array, border: float, loose: float = LOOSE_LOGIT) -> Array:
    return _logistic((_logit(share) - _logit(border)) / loose)


def ripe(share: Array) -> Array:
    """Chance that a keeper finds it worth harvesting when this share (0..1) of what will hatch is out."""
    return _above(share, HARVEST_FROM)


def log_likelihood(entries: Sequence[Evidence], began: Ms, share_at: Callable[[Ms], Array], of_all: Array) -> Array:
    """Log-likelihood of all entries of a batch that began at ``began``, shape (n,).

    ``share_at`` tells the share (n,), 0..1, of what will hatch that had hatched at an instant; it is asked in order of time.
    ``of_all``: the share (n,) of all cysts that will hatch. Words are about the first, a count is of all cysts:
    the two together tell the one from the other.
    """
    ordered = sorted(entries, key=lambda e: (e.time, e.logged))
    asked = {time for at in range(len(ordered)) for time in _looks(ordered, at, began)}
    shares = {time: share_at(time) for time in sorted(asked)}
    total = np.zeros(len(of_all))
    for at, entry in enumerate(ordered):
        *before, now = (shares[time] for time in _looks(ordered, at, began))
        counted = entry.fraction if isinstance(entry, Seen) else entry.hatched_fraction
        if counted is not None:
            total += _counted(counted, now * of_all)
        if isinstance(entry, Harvest):
            total += _harvested(before, now)
        else:
            total += _worded(entry.what, now)
            total += np.log1p(-(1 - PUT_OFF) * ripe(now))
    return total


def _looks(ordered: Sequence[Evidence], at: int, began: Ms) -> list[Ms]:
    """Instants at which an entry asks for the share, its own the last; a harvest also when the keeper may have looked before."""
    entry = ordered[at]
    if not isinstance(entry, Harvest):
        return [entry.time]
    known = ordered[at - 1].time if at else began
    return [*(max(entry.time - round(gap * HOUR), known) for gap in reversed(LOOK_GAPS_H)), entry.time]


def _counted(counted: float, of_all: Array) -> Array:
    chance = np.clip(of_all, 1e-3, 1 - 1e-3)
    return np.asarray(COUNTED * (counted * np.log(chance) + (1 - counted) * np.log1p(-chance)))


def _worded(what: Sight, share: Array) -> Array:
    first = _above(share, FIRST_FROM, LOOSE_FIRST)
    some, most = _above(share, SOME_FROM), _above(share, MOST_FROM)
    chance = {Sight.NONE: 1 - first, Sight.FIRST: first - some, Sight.SOME: some - most, Sight.MOST: most}[what]
    return np.asarray(np.log(np.maximum(chance, 1e-9)))


def _harvested(before: Sequence[Array], now: Array) -> Array:
    """Ripe now and not at the look before, whenever that was; or harvested for another reason."""
    not_yet = np.mean([1 - (1 - PUT_OFF) * ripe(share) for share in before], axis=0)
    return np.asarray(np.log(HARVEST_ANYHOW + (1 - HARVEST_ANYHOW) * ripe(now) * not_yet))


def started_in_good_faith(hours: Array, weather: Array, weights: Array, age_h: float) -> Array:
    """Factor on the weight of each sample, shape (n,), at an age of ``age_h``.

    ``hours`` from the start to the hatch, ``weather`` the coordinate by which the water departs from its forecast. Whoever
    starts a batch knows the room and expects food within about two days: it is the weather that is judged, not the tin. What
    the water then does tells more and more.
    """
    log_hours = np.log(np.clip(hours, 1.0, LONGEST_H))
    middle = float(weights @ log_hours)
    lean = float(weights @ (weather * (log_hours - middle)) / (weights @ weather**2))
    matters = min(max(abs(lean) / WEATHER_MATTERS - 0.5, 0.0), 1.0)
    fades = max(1.0 - age_h / PATIENCE_TELLS_H, 0.0) * matters
    patience = _logistic((PATIENCE_H - np.exp(middle + lean * weather)) / PATIENCE_SD_H)
    return np.asarray((NO_PATIENCE + (1 - NO_PATIENCE) * patience) ** fades)
