"""What is believed of one batch: a weighted cloud of samples, moved by what the probes tell and the keeper sees.

The belief is a function of the start, the probes' slots and the log alone: it does not depend on the order in which these
arrived. Slots count for good three slots behind the newest; a reading that comes later than that makes the batch start over.
"""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core import oxygen
from monitor.core.evidence import Evidence, log_likelihood, started_in_good_faith
from monitor.core.hatch import Array, Prior, cloud, draw, hatched, rate
from monitor.core.light import light
from monitor.core.model import HOUR, MINUTE, SLOT, AirWord, Estimate, Ms, Span, Stage
from monitor.core.progress import DEADLY_SLOTS, Progress
from monitor.core.water import NO_HABIT, UNKNOWN_C, Forecast, Habit, forecast
from monitor.core.window import Window, window
from monitor.core.wording import duration

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from monitor.core.history import SlotSeries
    from monitor.core.log import Start

SETTLE_SLOTS: Final = 3
"""Ten minutes of late readings re-order without starting over."""

SOAKING: Final = 2 * HOUR  # cysts take up water to a sphere in 1-2 h (FAO prawn manual annex 4, restated)
BEGUN: Final = (
    0.01  # share hatched at which a keeper with a lamp can tell that it has begun; common practice, no source
)

WEAK_BACK: Final = 6 * HOUR  # by then oxygen has settled to weak air, whatever it was before
WEAK_AHEAD: Final = 18 * HOUR  # further than any rule looks, so that an alarm about to end does not hover
WEAK_STEP_H: Final = 0.25

LEVELS: Final = np.array([0.1, 0.5, 0.9])
AROUND: Final = LEVELS[:, None] + np.linspace(-0.04, 0.04, 17)

REDRAW_BELOW: Final = 0.35  # of the samples' effective number
REDRAWS: Final = 3

STARVED_H: Final = 0.5  # a batch without oxygen for longer teaches its tin nothing
HOT_SLOTS: Final = 6  # nor one that was half an hour too hot: whether 33-40 C does harm for good, sources disagree
GAP_SLOTS: Final = 36  # nor one whose water was not heard for three hours


def quantiles(values: Array, weights: Array) -> Span:
    """Central 80 % range and median of a weighted sample, shape (n,) each; ``None`` where the quantile is infinite."""
    order = np.argsort(values, kind="stable")
    sorted_values = values[order]
    position = np.cumsum(weights[order]) - weights[order] / 2
    last = sorted_values[np.minimum(np.searchsorted(position, LEVELS), len(values) - 1)]
    # The mean of the quantile function around the level: a single order statistic of a cloud jumps about.
    around = np.interp(AROUND, position, sorted_values)
    finite = np.isfinite(around)
    found = [
        float(row[good].mean()) if known else None
        for row, good, known in zip(around, finite, np.isfinite(last), strict=True)
    ]
    return Span(*found)


@light(frozen=False)
class Belief:
    """One batch as it is believed to stand. Owned and moved by the engine."""

    start: Start
    prior: Prior
    water: SlotSeries
    air: SlotSeries | None
    room: SlotSeries | None = None
    habit: Habit = NO_HABIT
    evidence: list[Evidence] = field(default_factory=list)
    points: Array = field(default_factory=cloud)
    weights: Array = field(default_factory=lambda: np.full(len(cloud()), 1 / len(cloud())))
    progress: Progress | None = None
    ready_cloud: tuple[Array, Array] | None = None  # of the newest estimate: instants of T90 in ms, and weights
    future: Forecast | None = None  # the water, as it was foreseen in the newest estimate
    evidence_slot: int = 0  # evidence weighed with slots that may still change, to be weighed again behind this one

    def vessel(self) -> oxygen.Vessel:
        s = self.start
        return oxygen.Vessel(s.cysts_g / s.litres, s.litres, s.salinity_g_l)

    def _begin(self, points: Array) -> Progress:
        return Progress.begin(self.start.time, self.vessel(), draw(points, self.prior, self.start.salinity_g_l))

    def start_over(self) -> None:
        """Forget what was summed: a reading older than the settled slots came in, or an entry was taken back."""
        self.progress = None
        self.evidence_slot = -1 if self.evidence else 0

    def see(self, evidence: Evidence) -> None:
        """Take a log entry as evidence."""
        self.evidence.append(evidence)
        self.evidence_slot = -1

    def go_back(self, evidence: Sequence[Evidence]) -> None:
        """These entries are all there is, and whatever came in meanwhile counts."""
        self.evidence = list(evidence)
        self.points = cloud()
        self.weights = np.full(len(self.points), 1 / len(self.points))
        self.start_over()

    def touched(self, slot: int) -> None:
        """A reading fell into ``slot``: start over when that slot was already summed, or lies before one that was."""
        if self.progress is not None and self.progress.summed and slot < self.progress.slot:
            self.start_over()

    # -- summing

    def _temperatures(self, begin: int, end: int) -> Array:
        filled = self.water.filled(begin, end)
        return np.where(np.isnan(filled), UNKNOWN_C, filled)

    def _airs(self, begin: int, end: int) -> Array:
        return np.ones(end - begin) if self.air is None else self.air.held(begin, end, 1.0)

    def _newest(self, now: Ms) -> int:
        """The end of the slots that are summed rather than forecast: behind the newest told, never behind now's."""
        told = -1 if self.water.last is None else self.water.last
        return max(min(told, now // SLOT) + 1, self.start.time // SLOT)

    def _settled(self, now: Ms) -> int:
        """Slots before this one count for good: three behind the newest, and no gap that may yet be bridged."""
        end = self._newest(now) - SETTLE_SLOTS
        slots, _ = self.water.told(self.start.time // SLOT, end)
        return int(slots[-1]) + 1 if len(slots) else self.start.time // SLOT

    def _sum(self, run: Progress, end: int) -> None:
        """Go on over the slots up to ``end``, if there are any."""
        if end > run.slot:
            run.run(self._temperatures(run.slot, end), self._airs(run.slot, end))

    def advance(self, now: Ms) -> Progress:
        """Sum what has settled; returns a copy run on to the newest slot."""
        if self.progress is None:
            self.progress = self._begin(self.points)
        self._sum(self.progress, self._settled(now))
        if self.evidence and (self.evidence_slot < 0 or 0 < self.evidence_slot <= self.progress.slot):
            self._weigh(now)
        tail = self.progress.copy()
        self._sum(tail, self._newest(now))
        return tail

    # -- evidence

    def _log_weights(self, points: Array, now: Ms) -> Array:
        """Log-likelihood of all entries for each point of a cloud: sums anew from the start, and looks at each entry's time."""
        run = self._begin(points)
        newest = self._newest(now)

        def share_at(time: Ms) -> Array:
            self._sum(run, min(time // SLOT + 1, newest))
            return hatched(run.progress_near(time), run.parameters)

        return log_likelihood(self.evidence, self.start.time, share_at, run.parameters.share)

    def _weigh(self, now: Ms) -> None:
        """Weigh the cloud by the evidence; where few samples carry the weight, draw anew around them and weigh again."""
        points = cloud()
        log_weights = self._log_weights(points, now)
        weights = _normal(log_weights)
        for _ in range(REDRAWS):
            if 1 / float((weights**2).sum()) >= REDRAW_BELOW * len(points):
                break
            points, log_ratio = _redraw(points, weights)
            weights = _normal(self._log_weights(points, now) + log_ratio)
        self.points, self.weights = points, weights
        newest_entry = max(e.time for e in self.evidence) // SLOT
        self.progress = self._begin(points)
        settled = self._settled(now)
        self._sum(self.progress, settled)
        # An entry that looked at slots which may still change is weighed once more when they have settled.
        self.evidence_slot = newest_entry + 1 if newest_entry >= settled else 0

    # -- telling

    def estimate(self, now: Ms, water_c: float | None, water_time: Ms | None, air: AirWord) -> Estimate:
        """What is believed at ``now``; the last three go into the estimate as they are."""
        run = self.advance(now)
        future = forecast(self.water, run.slot, self.room, self.start.time // SLOT, self.habit)
        self.future = future
        x_now = run.run_on(future, self.weights, now)
        p = run.parameters
        of_all = hatched(x_now, p) * p.share
        weights = self._in_good_faith(run, now)
        t10, t50, t90 = (quantiles(row, weights) for row in run.crossed)
        self.ready_cloud = run.crossed[2], weights
        celsius = _or_unknown(water_c)
        best = window(run.crossed[1], t90.mid, self.weights, celsius, now)
        note = ""
        if run.deadly_slots:
            note = "the water was above 40 C: the cysts may be dead"
        elif too_hot := self._too_hot(run, now)[0]:
            note = too_hot
        elif not future.known:
            note = "no water temperature yet: the range is a guess"
        elif air == "stopped" and t90.mid is not None and t90.mid > now:
            note = "if the air runs again now"
        return Estimate(
            time=now,
            batch=self.start.batch,
            stage=self._stage(run, now, t10, t90, best),
            hatched=quantiles(of_all, self.weights),
            t10=t10,
            t50=t50,
            t90=t90,
            ready=t90,
            water_c=water_c,
            water_time=water_time,
            air=air,
            note=note,
            best_until=best.until,
            first_stage=best.first_stage,
            energy=best.energy,
            best_reason=best.reason,
        )

    def _too_hot(self, run: Progress, now: Ms) -> tuple[str, int]:
        """What heat above which this tin stops means for the batch, a sentence or nothing; and slots it lasted."""
        stop = float(self.weights @ (run.parameters.stop - run.parameters.bias))  # as the probe would say it
        slots, means = self.water.told(self.start.time // SLOT, now // SLOT + 1)
        hot = means > stop
        count = int(hot.sum())
        if count and hot[-1] and now // SLOT - int(slots[-1]) <= HOT_SLOTS:
            return f"the water is above about {stop:.0f} C: nothing develops now, the batch may be lost", count
        if count >= HOT_SLOTS:
            lasted = duration(count * SLOT)
            return f"the water was above about {stop:.0f} C for {lasted}: the batch may be lost", count
        return "", count

    def _in_good_faith(self, run: Progress, now: Ms) -> Array:
        begun = self.start.time
        hours, age_h = (run.crossed[2] - begun) / HOUR, (now - begun) / HOUR
        weights = self.weights * started_in_good_faith(hours, run.parameters.weather, self.weights, age_h)
        return np.asarray(weights / weights.sum())

    def teaches(self, now: Ms) -> str:
        """Why this batch must not teach its tin anything; empty when it may."""
        run = self.advance(now)
        if not self.evidence:
            return "nobody looked into it"
        if run.deadly_slots or self._too_hot(run, now)[1] >= HOT_SLOTS:
            return "its water was too hot"
        if run.starved_h > STARVED_H:
            return "it lost its air"
        begin, end = self.start.time // SLOT, max(now // SLOT, self.start.time // SLOT + 1)
        slots, _ = self.water.told(begin, end)
        if len(slots) == 0 or _longest_gap(slots, begin, end) > GAP_SLOTS:
            return "its water probe was silent"
        return ""

    def _stage(self, run: Progress, now: Ms, t10: Span, ready: Span, best: Window) -> Stage:
        if run.deadly_slots >= DEADLY_SLOTS:
            return Stage.LOST
        if ready.mid is not None and ready.mid <= now:
            return Stage.PAST if best.until is not None and best.until <= now else Stage.READY
        if t10.mid is not None and t10.mid <= now:
            return Stage.HATCHING
        return Stage.SOAKING if now - self.start.time < SOAKING else Stage.DEVELOPING

    def minutes_left(
        self, now: Ms, water_c: float | None, last_air: Ms, first_none: Ms | None = None, *, was_weak: bool = False
    ) -> tuple[Span, bool]:
        """Minutes of oxygen left at ``now``; and whether anything may have hatched.

        ``last_air`` is the last instant at which air was seen to run. The air stopped somewhere between it and
        ``first_none``, the first at which it was seen not to; ``None`` counts from ``last_air``. ``was_weak``: it ran weakly.
        """
        run = self.advance(now)
        p = run.parameters
        share = hatched(run.progress_near(now), p) * p.share
        celsius = _or_unknown(water_c) + p.bias
        hours = oxygen.hours_left(self.vessel(), celsius, share, p.demand, was_weak=was_weak)
        unseen = 0 if first_none is None else max(first_none - last_air, 0)
        stopped = last_air + unseen * np.linspace(0.0, 1.0, len(hours))
        left = np.maximum(hours * 60 - (now - stopped) / MINUTE, 0.0)
        return quantiles(left, self.weights), self._begun(share)

    def weak_left(self, now: Ms, water_c: float | None, since: Ms) -> tuple[Span, Span, bool]:
        """With air that is weak ``since`` then: minutes from ``now`` until 2 mg/L, ``None`` beyond ``WEAK_AHEAD``; where oxygen
        settles with what has hatched by now, mg/L; and whether anything may have hatched.

        What hatches meanwhile counts, at the present temperature.
        """
        run = self.advance(now)
        p = run.parameters
        celsius = _or_unknown(water_c) + p.bias
        back = min(now - since, WEAK_BACK) / HOUR
        hours = np.arange(0.0, back + WEAK_AHEAD / HOUR, WEAK_STEP_H) + WEAK_STEP_H / 2 - back
        at_now = run.progress_near(now)
        shares = hatched(at_now + rate(celsius, p) * hours[:, None], p) * p.share
        until = oxygen.weak_hours_left(self.vessel(), celsius, shares, p.demand, WEAK_STEP_H) - back
        share = hatched(at_now, p) * p.share
        settles = oxygen.weak_settles(self.vessel(), celsius, share, p.demand)
        left = np.maximum(until, 0.0) * 60
        return quantiles(left, self.weights), quantiles(settles, self.weights), self._begun(share)

    def _begun(self, share: Array) -> bool:
        """Whether anything may have hatched, when this share (n,) of all cysts has."""
        return (quantiles(share, self.weights).hi or 0.0) > BEGUN


def _or_unknown(water_c: float | None) -> float:
    return UNKNOWN_C if water_c is None else water_c


def _longest_gap(slots: NDArray[np.int64], begin: int, end: int) -> int:
    edges = np.concatenate([[begin - 1], slots, [end]])
    return int(np.diff(edges).max()) - 1


def _normal(log_weights: Array) -> Array:
    weights = np.exp(log_weights - log_weights.max())
    return np.asarray(weights / weights.sum())


def _redraw(points: Array, weights: Array) -> tuple[Array, Array]:
    """A new cloud around the weighted one, and the log ratio of prior to proposal at each new point."""
    n, dimensions = points.shape
    effective = 1 / float((weights**2).sum())
    mean = weights @ points
    spread = (points - mean).T @ ((points - mean) * weights[:, None])
    trust = effective / (effective + 2 * dimensions)
    covariance = 1.2 * (trust * spread + (1 - trust) * np.diag(np.maximum(np.diag(spread), 0.05)))
    factor = np.linalg.cholesky(covariance)
    base = cloud(n)
    fresh = mean + base @ factor.T
    log_ratio = -0.5 * (fresh**2).sum(axis=1) + 0.5 * (base**2).sum(axis=1)
    return fresh, log_ratio
