"""Minutes of oxygen left after an air stop, as they would have been told, against what came."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core import rules_air
from monitor.core.light import light
from monitor.core.model import DAY, MINUTE, Measures, Ms

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from monitor.core.engine import Engine
    from monitor.core.log import Start
    from monitor.core.model import SiteSpec
    from monitor.core.replay import Measured
    from monitor.score.truth import AirStop

TOO_LATE: Final = 1.3
"""A low end that lies this much behind the truth would bring a keeper too late."""


@light
class StopRow:
    """Minutes from the last reading that showed air until 2 mg/L; ``None`` where that is not within a day."""

    tin: str
    batch: str
    truth: float | None
    lo: float | None
    mid: float | None
    hi: float | None
    hatched: float

    @property
    def inside(self) -> bool:
        """Whether the truth lies inside the 80 % range."""
        if self.truth is None:
            return self.hi is None or self.hi >= DAY / MINUTE
        return self.lo is not None and self.lo <= self.truth and (self.hi is None or self.truth <= self.hi)

    @property
    def too_late(self) -> bool:
        """Whether the low end, with which every push leads, is later than the truth by more than 30 %."""
        return self.truth is not None and (self.lo is None or self.lo > TOO_LATE * self.truth)


@light
class Shown:
    """A stop as the probe showed it."""

    tin: str
    start: Start
    stop: AirStop
    last_air: Ms
    first_none: Ms


def shown(
    tin: str, site: SiteSpec, measured: Sequence[Measured], stops: Sequence[tuple[Start, AirStop]]
) -> Iterator[Shown]:
    """The stops that a reading showed; of the others nobody could tell."""
    for start, stop in stops:
        found = _shown(site, measured, start, stop)
        if found is not None:
            yield Shown(tin, start, stop, *found)


def stop_rows(engine: Engine, seen: Shown) -> Iterator[StopRow]:
    """Score an air stop with the engine as it stood at the last reading that showed air, from which all counts.

    Nothing for a batch that was over by then.
    """
    start, time = seen.start, seen.last_air
    vessel = engine.state.vessels[start.vessel]
    if vessel.batch is None or vessel.batch.start.batch != start.batch:
        return
    span, _ = rules_air.minutes_left(vessel, time, time, seen.first_none)
    before = (seen.stop.begin_ms - time) / MINUTE
    truth = None if seen.stop.minutes_to_2mg_l is None else before + seen.stop.minutes_to_2mg_l
    yield StopRow(seen.tin, start.batch, truth, span.lo, span.mid, span.hi, seen.stop.hatched)


def _shown(site: SiteSpec, measured: Sequence[Measured], start: Start, stop: AirStop) -> tuple[Ms, Ms] | None:
    """The last reading with air and the first without."""
    probes = {p.id for p in site.probes.values() if p.measures is Measures.AIR and p.vessel == start.vessel}
    told = [(m.time, m.sample.running) for m in measured if m.probe in probes and m.sample.running is not None]
    without = [time for time, running in told if not running and stop.begin_ms <= time <= stop.end_ms]
    if not without:
        return None
    first_none = min(without)
    with_air = [time for time, running in told if running and start.time <= time <= stop.begin_ms]
    return (max(with_air), first_none) if with_air else None
