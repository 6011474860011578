"""Minutes of oxygen left after an air stop, as they would have been told, against what came."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from monitor.core import rules_air
from monitor.core.engine import Engine
from monitor.core.model import DAY, MINUTE, LogEntry, Measures, Ms, Span

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from monitor.core.model import SiteSpec, Start
    from monitor.core.replay import Measured
    from monitor.score.truth import AirStop

TOO_LATE: Final = 1.3
"""A low end that lies this much behind the truth would bring a keeper too late."""


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class _Seen:
    """A stop as the probe showed it."""

    start: Start
    stop: AirStop
    first_none: Ms


def stop_rows(
    tin: str,
    site: SiteSpec,
    measured: Sequence[Measured],
    log: Sequence[LogEntry],
    stops: Sequence[tuple[Start, AirStop]],
) -> Iterator[StopRow]:
    """Score each air stop of the given batches as it stood when a reading first showed no air.

    Forecast and truth count from the last reading that showed air. A stop that no reading showed is skipped, as nobody
    could tell of it.
    """
    asked: dict[tuple[Ms, str], _Seen] = {}
    for start, stop in stops:
        shown = _shown(site, measured, start, stop)
        if shown is not None:
            last_air, first_none = shown
            asked[last_air, start.batch] = _Seen(start, stop, first_none)
    for (last_air, batch), span in _told(site, measured, log, asked):
        stop = asked[last_air, batch].stop
        before = (stop.begin_ms - last_air) / MINUTE
        truth = None if stop.minutes_to_2mg_l is None else before + stop.minutes_to_2mg_l
        yield StopRow(tin, batch, truth, span.lo, span.mid, span.hi, stop.hatched)


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


def _told(
    site: SiteSpec, measured: Sequence[Measured], log: Sequence[LogEntry], asked: dict[tuple[Ms, str], _Seen]
) -> Iterator[tuple[tuple[Ms, str], Span]]:
    inputs: list[tuple[Ms, int, Measured | LogEntry]] = [(m.time, 0, m) for m in measured]
    inputs += [(max(entry.logged, entry.time), 1, entry) for entry in log]
    inputs.sort(key=lambda item: item[:2])
    if not inputs or not asked:
        return
    engine = Engine(site, inputs[0][0], rules=False)
    k = 0
    for time, batch in sorted(asked):
        while k < len(inputs) and inputs[k][0] <= time:
            _feed(engine, inputs[k][2])
            k += 1
        seen = asked[time, batch]
        vessel = engine.state.vessels[seen.start.vessel]
        if vessel.batch is not None and vessel.batch.start.batch == batch:
            span, _ = rules_air.minutes_left(vessel, time, time, seen.first_none)
            yield (time, batch), span


def _feed(engine: Engine, item: Measured | LogEntry) -> None:
    if isinstance(item, LogEntry):
        engine.step(item)
    elif item.probe in engine.state.probes:
        engine.step(engine.judge(item.probe, item.sample, item.time))
