"""Recorded readings and log entries through the very same engine, with no broker, no clock and no network."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from monitor.core.engine import Engine
from monitor.core.model import LogEntry, Ms, Refused, Sample, SiteSpec, Span, Tick
from monitor.core.wording import rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from monitor.core.model import Estimate


@dataclass(frozen=True, slots=True)
class Measured:
    """One recorded value of a probe."""

    time: Ms
    probe: str
    sample: Sample


def replay(
    site: SiteSpec,
    measured: Iterable[Measured],
    entries: Iterable[LogEntry],
    every: Ms,
    until: Ms | None = None,
) -> Iterator[dict[str, Any]]:
    """Yield one line per open batch at each multiple of ``every``, from the first input to the last or to ``until``.

    Inputs at or before an instant are included; an entry counts from when it was logged. Raises ``Refused`` for an
    entry that cannot be taken.
    """
    inputs: list[tuple[Ms, int, Measured | LogEntry]] = [(m.time, 0, m) for m in measured]
    inputs += [(max(entry.logged, entry.time), 1, entry) for entry in entries]
    inputs.sort(key=lambda item: item[:2])
    if not inputs:
        return
    first, last = inputs[0][0], inputs[-1][0]
    end = last if until is None else max(until, last)
    engine = Engine(site, first)
    seen: set[tuple[str, Ms]] = set()
    instant = -(-first // every) * every
    now = first
    for time, _, item in inputs:
        while instant < time:
            now = _tick_to(engine, now, instant)
            yield from _lines(engine, instant)
            instant += every
        now = _tick_to(engine, now, time)
        if isinstance(item, Measured):
            if item.probe in site.probes and (item.probe, item.time) not in seen:
                seen.add((item.probe, item.time))
                engine.step(engine.judge(item.probe, item.sample, item.time))
        else:
            try:
                engine.step(item)
            except Refused as refused:
                raise Refused(f"the entry logged at {rfc3339(time)} can't be taken: {refused}") from refused
    while instant <= end:
        now = _tick_to(engine, now, instant)
        yield from _lines(engine, instant)
        instant += every


def _tick_to(engine: Engine, now: Ms, time: Ms) -> Ms:
    """Let the timers run up to ``time``."""
    while True:
        due = engine.next_due(now)
        if due > time:
            return max(now, time)
        now = due
        engine.step(Tick(now))


def instants(span: Span) -> dict[str, str | None]:
    """A span of instants as RFC 3339."""
    return {
        name: None if value is None else rfc3339(round(value / 1000) * 1000)
        for name, value in (("lo", span.lo), ("mid", span.mid), ("hi", span.hi))
    }


def shares(span: Span) -> dict[str, float | None]:
    """A span of shares, to four places."""
    return {
        name: None if value is None else round(value, 4)
        for name, value in (("lo", span.lo), ("mid", span.mid), ("hi", span.hi))
    }


def estimate_document(estimate: Estimate) -> dict[str, Any]:
    """An estimate as the JSON document that replay prints and the broker keeps, without its alarms."""
    return {
        "time": rfc3339(estimate.time),
        "batch": estimate.batch,
        "stage": estimate.stage.value,
        "hatched": shares(estimate.hatched),
        "t10": instants(estimate.t10),
        "t50": instants(estimate.t50),
        "t90": instants(estimate.t90),
        "ready": instants(estimate.ready),
        "water_c": None if estimate.water_c is None else round(estimate.water_c, 3),
        "air": estimate.air,
    }


def _lines(engine: Engine, instant: Ms) -> Iterator[dict[str, Any]]:
    for batch in engine.open_batches():
        document = estimate_document(engine.estimate(batch, instant))
        document["alarms"] = engine.alarm_ids_of(batch)
        yield document
