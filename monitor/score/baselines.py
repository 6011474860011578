"""The rules people use today, given every advantage: the same log, and a spread fitted on the very data they are scored on.

``always 24 h``: T90 is 24 h after the start. ``degree-hours, today's temperature held``: the literature's median lot needs
20 h at 25 C until half has hatched, above a base of 11 C; what has accumulated so far counts, and the mean of the last
hour is held from now on. ``last batch of this tin, in hours``: the true T90 of the tin's last batch that hatched, which is
more than a keeper can know; 24 h for the first one.

After a look each stretches its own time axis (hours, or degree-hours) so that its curve, a log-logistic with the
literature's median shape, passes through what was seen: the best use a person can make of a look. The shares that the
words stand for are chosen in the rules' favour: those with which they err least on simulated batches (``first`` as one in a
hundred, taken literally, would make them worse than no look at all). ``none`` only delays and ``most`` only hastens; a
counted share is divided by the share of this tin that hatches: its last harvest's count, or its label, or 69 %.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.light import light
from monitor.core.log import Seen, Sight
from monitor.core.model import HOUR, Measures, Ms
from monitor.score.metrics import NEVER_H, Array, crps_of_lognormal

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from monitor.core.model import SiteSpec
    from monitor.core.replay import Measured

ALWAYS: Final = "always 24 h"
HELD: Final = "degree-hours"
LAST: Final = "last batch"
BASELINES: Final = (ALWAYS, HELD, LAST)

DAY_H: Final = 24.0
BASE_C: Final = 11.0
SHAPE: Final = 9.0
HALF_H: Final = 20.0  # to 50 % at 25 C
TO_NINETY: Final = math.pow(9.0, 1 / SHAPE)  # T90 / T50
DEGREE_HOURS: Final = HALF_H * TO_NINETY * (25.0 - BASE_C)  # 357: T90 is 25.5 h at 25 C
USUAL_SHARE: Final = 0.69  # of all cysts that hatch, by the literature
UNHEARD_C: Final = 25.0  # for a batch whose probe has never spoken: the recipe's temperature
LOOKS: Final = {Sight.NONE: 0.01, Sight.FIRST: 0.10, Sight.SOME: 0.50, Sight.MOST: 0.85}
"""Share of those that will hatch, by the word for what was seen."""
SPREADS: Final = np.geomspace(0.005, 1.5, 80)


@light
class Warmth:
    """The water of one vessel as its probes told it: times in ms and C, in order, shape (n,) each."""

    times: Array
    celsius: Array
    degree_hours: Array  # above the base, summed up to each time

    @classmethod
    def of(cls, site: SiteSpec, vessel: str, measured: Iterable[Measured]) -> Warmth:
        """From a record; values outside the probe's limits are left out."""
        probes = {p.id: p for p in site.probes.values() if p.measures is Measures.WATER and p.vessel == vessel}
        rows = sorted(
            (m.time, m.sample.value)
            for m in measured
            if m.probe in probes
            and m.sample.value is not None
            and probes[m.probe].low <= m.sample.value <= probes[m.probe].high
        )
        times = np.array([time for time, _ in rows], dtype=float)
        celsius = np.array([value for _, value in rows], dtype=float)
        above = np.maximum(celsius - BASE_C, 0.0)
        steps = np.diff(times) / HOUR * (above[1:] + above[:-1]) / 2
        return cls(times, celsius, np.concatenate([[0.0], np.cumsum(steps)]) if len(times) else np.zeros(0))

    def known(self, now: Ms) -> Warmth:
        """What had been told by ``now``."""
        end = int(np.searchsorted(self.times, now, side="right"))
        return Warmth(self.times[:end], self.celsius[:end], self.degree_hours[:end])

    def lately(self) -> float:
        """Mean of the last hour that was told, C."""
        if not len(self.times):
            return UNHEARD_C
        return float(self.celsius[self.times > self.times[-1] - HOUR].mean())

    def summed(self, begin: Ms, end: Ms) -> float:
        """Degree-hours from ``begin`` to ``end``; before the first and after the last reading that reading holds."""
        return self._upto(end) - self._upto(begin)

    def _upto(self, time: float) -> float:
        if not len(self.times):
            return time / HOUR * (UNHEARD_C - BASE_C)
        outside = min(time - self.times[0], 0.0) * max(self.celsius[0] - BASE_C, 0.0)
        outside += max(time - self.times[-1], 0.0) * max(self.celsius[-1] - BASE_C, 0.0)
        return float(np.interp(time, self.times, self.degree_hours) + outside / HOUR)

    def hours_until(self, needed: float, start: Ms, now: Ms) -> float:
        """Hours from ``start`` until ``needed`` degree-hours are summed, the last hour's mean held from ``now`` on."""
        so_far = self.summed(start, now)
        if so_far < needed:
            warm = self.lately() - BASE_C
            return NEVER_H if warm <= 0 else min((now - start) / HOUR + (needed - so_far) / warm, NEVER_H)
        edges = np.unique(np.concatenate([[start], self.times[(self.times > start) & (self.times < now)], [now]]))
        sums = np.array([self.summed(start, int(edge)) for edge in edges])
        return float((np.interp(needed, sums, edges) - start) / HOUR)


@light
class Look:
    """What was seen: on the axis of a rule (hours or degree-hours since the start) and as odds of having hatched."""

    time: Ms
    what: Sight
    odds: float

    @classmethod
    def of(cls, seen: Seen, tin_share: float) -> Look:
        share = LOOKS[seen.what] if seen.fraction is None else min(max(seen.fraction / tin_share, 0.01), 0.97)
        what = seen.what
        if seen.fraction is not None:
            what = Sight.NONE if seen.fraction == 0 else Sight.SOME
        return cls(seen.time, what, share / (1 - share))


def stretched(ninety: float, look: Look, place: float) -> float:
    """T90 on a rule's own axis after a look at ``place`` on that axis."""
    here = place * math.pow(9.0 / look.odds, 1 / SHAPE)
    if look.what is Sight.NONE:
        return max(ninety, here)
    if look.what is Sight.MOST:
        return min(ninety, here)
    return here


@light
class Habits:
    """The rules for one batch."""

    start: Ms
    warmth: Warmth
    last_h: float | None  # true T90 of the tin's last batch that hatched
    tin_share: float  # share of all cysts that is expected to hatch

    def points(self, now: Ms, seen: Sequence[Seen]) -> dict[str, float]:
        """What each rule says at ``now``, hours since the start, given what had been logged by then."""
        warmth = self.warmth.known(now)
        looks = [Look.of(entry, self.tin_share) for entry in sorted(seen, key=lambda e: e.time)]
        always, last, degrees = DAY_H, DAY_H if self.last_h is None else self.last_h, DEGREE_HOURS
        for look in looks:
            hours = (look.time - self.start) / HOUR
            always, last = stretched(always, look, hours), stretched(last, look, hours)
            degrees = stretched(degrees, look, warmth.summed(self.start, look.time))
        held = warmth.hours_until(degrees, self.start, now)
        return {ALWAYS: _bounded(always), HELD: _bounded(held), LAST: _bounded(last)}


def _bounded(hours: float) -> float:
    return min(max(hours, 0.1), NEVER_H)


def best_spread(points: Array, truth: Array) -> float:
    """SD of the logarithm that gives log-normals around ``points`` the least mean CRPS; shapes (m,)."""
    means = [float(crps_of_lognormal(points, spread, truth).mean()) for spread in SPREADS]
    return float(SPREADS[int(np.argmin(means))])
