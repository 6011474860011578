"""One tin's record through the core: a row for each moment at which a forecast is scored."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.history import KEEP_SLOTS
from monitor.core.light import light
from monitor.core.log import Discard, Harvest, LogEntry, Seen, Sight, Start
from monitor.core.model import DAY, HOUR, SLOT, Ms, Refused, Span, Stage
from monitor.core.replay import Forecasted, Measured, forecasts_at, played
from monitor.intake.recorded import RecordProblem, entries, readings
from monitor.score.baselines import USUAL_SHARE, Habits, Warmth
from monitor.score.metrics import NEVER_H, Scored, score_sample
from monitor.score.problem import ScoreProblem
from monitor.score.stops import StopRow, shown, stop_rows
from monitor.score.truth import Group, Room, Season, Truth, truths
from monitor.score.water import Watched, WaterRow, water_rows
from monitor.settings.errors import ConfigError
from monitor.settings.loader import load

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from monitor.core.model import SiteSpec

AGES_H: Final = (0.6, 6.0, 12.0, 18.0, 24.0, 36.0)
FIRST, COUNTED, OTHER = "first logged", "share counted", "other look"
LOOKED: Final = (FIRST, COUNTED, OTHER)
COUNTED_LOW, COUNTED_HIGH = 0.2, 0.8


def age_name(hours: float) -> str:
    return f"{hours:g} h"


AGED: Final = tuple(age_name(hours) for hours in AGES_H)


@light
class Row:
    """One moment of one batch that hatched."""

    tin: str
    batch: str
    group: Group
    room: Room
    season: Season
    point: str  # an age, or what was logged just now
    age_h: float
    truth_h: float  # T90, hours since the start
    foreseeable: bool
    model: Scored
    never: float  # weight of the samples that never hatch
    floor: Scored | None
    baselines: dict[str, float]  # T90 by each rule, hours since the start
    unlearned: Scored | None = None  # the model without learning


@light
class LostRow:
    """One moment of one batch of which none hatched."""

    tin: str
    batch: str
    point: str
    never: float
    told: bool  # the stage says that the batch is lost
    no_median: bool  # at least half the weight never hatches


@light
class TinRows:
    tin: str
    rows: list[Row] = field(default_factory=list)
    lost: list[LostRow] = field(default_factory=list)
    stops: list[StopRow] = field(default_factory=list)
    water: list[WaterRow] = field(default_factory=list)
    batches: int = 0


@light
class _Batch:
    start: Start
    seen: tuple[Seen, ...]
    ended: Ms | None
    truth: Truth

    def moments(self) -> dict[Ms, list[str]]:
        """When to ask for a forecast, and the names of the points that fall there."""
        found: dict[Ms, list[str]] = {}
        for hours in AGES_H:
            found.setdefault(self.start.time + round(hours * HOUR), []).append(age_name(hours))
        had: set[str] = set()
        for entry in self.seen:
            kind = kind_of(entry)
            if kind in had:  # "one first logged": the second one is another matter
                kind = OTHER
            had.add(kind)
            at = max(entry.time, entry.logged)
            names = found.setdefault(at, [])
            if kind not in names:
                names.append(kind)
        return {at: names for at, names in found.items() if self.ended is None or at < self.ended}


def kind_of(entry: Seen) -> str:
    """Under which heading the moment after an entry is scored."""
    if entry.fraction is not None:
        return COUNTED if COUNTED_LOW <= entry.fraction <= COUNTED_HIGH else OTHER
    return FIRST if entry.what is Sight.FIRST else OTHER


def score_tin(folder: Path, *, unlearned: bool = True) -> TinRows:
    """Run a tin's whole record through the core, batches in order, and score it. Raises ScoreProblem."""
    try:
        settings = load(folder / "swimup.toml")
        site = settings.site_spec()
        measured = list(readings(folder / "readings.csv", settings.bindings()))
        log = list(entries(folder / "log.jsonl"))
        batches = _batches(folder, log)
        return _Tin(folder.name, site, measured, log, batches).scored(unlearned)
    except ConfigError as error:
        raise ScoreProblem("\n".join(str(problem) for problem in error.problems)) from None
    except RecordProblem as problem:
        raise ScoreProblem(str(problem)) from None
    except Refused as refused:
        raise ScoreProblem(f"{folder / 'log.jsonl'}: {refused}") from None
    except OSError as error:
        raise ScoreProblem(
            f"{error.filename}: cannot be read: {error.strerror}; "
            "a tin's folder holds swimup.toml, readings.csv, log.jsonl and truth.jsonl"
        ) from None


def _batches(folder: Path, log: Sequence[LogEntry]) -> list[_Batch]:
    starts = {entry.batch: entry for entry in log if isinstance(entry, Start)}
    found = []
    for truth in truths(folder / "truth.jsonl"):
        start = starts.get(truth.batch)
        if start is None:
            known = ", ".join(starts) or "none"
            raise ScoreProblem(
                f"{folder / 'truth.jsonl'}: batch {truth.batch!r} has no start in the log; it has {known}"
            )
        own = [entry for entry in log if isinstance(entry, Seen | Harvest | Discard) and entry.batch == truth.batch]
        seen = tuple(sorted((e for e in own if isinstance(e, Seen)), key=lambda e: (max(e.time, e.logged), e.time)))
        ends = [max(e.time, e.logged) for e in own if not isinstance(e, Seen)]
        found.append(_Batch(start, seen, min(ends, default=None), truth))
    return sorted(found, key=lambda batch: batch.start.time)


class _Tin:
    """A tin's record, and what a keeper would know of its earlier batches."""

    def __init__(
        self, name: str, site: SiteSpec, measured: list[Measured], log: list[LogEntry], batches: list[_Batch]
    ) -> None:
        self.name, self.site, self.measured, self.log = name, site, measured, log
        self.batches = {batch.start.batch: batch for batch in batches}
        self.warmths = {v: Warmth.of(site, v, measured) for v in {b.start.vessel for b in batches}}
        self.habits = self._habits(batches)

    def _habits(self, batches: list[_Batch]) -> dict[str, Habits]:
        counts = {e.batch: e.hatched_fraction for e in self.log if isinstance(e, Harvest)}
        label = {name: lot.label_hatch_percent for name, lot in self.site.lots.items()}
        last_h: dict[str, float] = {}
        share: dict[str, float] = {}
        found = {}
        for batch in batches:
            lot = batch.start.lot
            percent = label.get(lot)
            usual = USUAL_SHARE if percent is None else max(percent / 100, 0.02)
            found[batch.start.batch] = Habits(
                batch.start.time, self.warmths[batch.start.vessel], last_h.get(lot), share.get(lot, usual)
            )
            if batch.truth.hours is not None:
                last_h[lot] = batch.truth.hours
            counted = counts.get(batch.start.batch)
            if counted:
                share[lot] = counted
        return found

    def scored(self, unlearned: bool) -> TinRows:
        asked = {(at, name): points for name, b in self.batches.items() for at, points in b.moments().items()}
        without = self._without_learning() if unlearned else {}
        result = TinRows(self.name, batches=len(self.batches))
        for forecast in forecasts_at(self.site, self.measured, self.log, sorted(asked)):
            for point in asked[forecast.time, forecast.batch]:
                self._take(result, forecast, point, without)
        self._look_on_the_way(result)
        return result

    def _look_on_the_way(self, result: TinRows) -> None:
        """Minutes left after air stops, and the water foretold at each age."""
        stops = [(b.start, stop) for b in self.batches.values() for stop in b.truth.air_stops]
        seen = list(shown(self.name, self.site, self.measured, stops))
        watched: dict[Ms, list[_Batch]] = {}
        for batch in self.batches.values():
            for at, points in batch.moments().items():
                if not set(AGED).isdisjoint(points):
                    watched.setdefault(at, []).append(batch)
        moments = [stop.last_air for stop in seen] + list(watched)
        for now, engine in played(self.site, self.measured, self.log, moments):
            for stop in seen:
                if stop.last_air == now:
                    result.stops.extend(stop_rows(engine, stop))
            for batch in watched.get(now, ()):
                warmth = self.warmths[batch.start.vessel]
                of = Watched(self.name, batch.start, batch.truth, batch.ended, warmth)
                result.water.extend(water_rows(engine, now, of))

    def _without_learning(self) -> dict[str, Scored]:
        """Known tins once more as if their batches had not been learned, soon after the start."""
        early = AGES_H[0]
        asked = [
            (b.start.time + round(early * HOUR), name)
            for name, b in self.batches.items()
            if b.truth.group == "known" and b.truth.hours is not None
        ]
        if not asked:
            return {}
        # What nobody learns from need not be played: without it only the days before the first of them matter.
        begin = min(self.batches[name].start.time for _, name in asked) - KEEP_SLOTS * SLOT - DAY
        measured = [m for m in self.measured if m.time >= begin]
        later = {name for name, b in self.batches.items() if b.start.time >= begin}
        log = [entry for entry in self.log if getattr(entry, "batch", None) in later]
        told = forecasts_at(self.site, measured, log, sorted(asked), learn=False)
        return {f.batch: self._score(f) for f in told}

    def _score(self, forecast: Forecasted) -> Scored:
        batch = self.batches[forecast.batch]
        truth_h = batch.truth.hours
        if truth_h is None:
            raise ValueError(f"batch {forecast.batch} is lost and has no T90 to score against")
        start = batch.start.time
        span = _hours(forecast.estimate.t90, start)
        return score_sample((forecast.values - start) / HOUR, forecast.weights, span, min(truth_h, NEVER_H))

    def _take(self, result: TinRows, forecast: Forecasted, point: str, without: dict[str, Scored]) -> None:
        batch = self.batches[forecast.batch]
        truth, start = batch.truth, batch.start.time
        never = float(forecast.weights[~np.isfinite(forecast.values)].sum() / forecast.weights.sum())
        if truth.hours is None:
            lost = forecast.estimate.stage is Stage.LOST
            no_median = forecast.estimate.t90.mid is None
            result.lost.append(LostRow(self.name, forecast.batch, point, never, lost, no_median))
            return
        age_h = (forecast.time - start) / HOUR
        floor = truth.floor_at(age_h) if point in AGED else None
        seen = [entry for entry in batch.seen if max(entry.time, entry.logged) <= forecast.time]
        result.rows.append(
            Row(
                tin=self.name,
                batch=forecast.batch,
                group=truth.group,
                room=truth.room,
                season=truth.season,
                point=point,
                age_h=age_h,
                truth_h=min(truth.hours, NEVER_H),
                foreseeable=truth.foreseeable(age_h),
                model=self._score(forecast),
                never=never,
                floor=None if floor is None else _score_floor(floor, min(truth.hours, NEVER_H)),
                baselines=self.habits[forecast.batch].points(forecast.time, seen),
                unlearned=without.get(forecast.batch) if point == AGED[0] else None,
            )
        )


def _hours(span: Span, start: Ms) -> tuple[float, float, float]:
    lo, mid, hi = (NEVER_H if end is None else (end - start) / HOUR for end in (span.lo, span.mid, span.hi))
    return lo, mid, hi


def _score_floor(quantiles: list[float], truth_h: float) -> Scored:
    values = np.array(quantiles)
    span = quantiles[9], quantiles[49], quantiles[89]  # 10, 50 and 90 % of 1..99 %
    return score_sample(values, np.full(len(values), 1 / len(values)), span, truth_h)
