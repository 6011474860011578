"""Recorded readings and log entries through the very same engine, with no broker, no clock and no network."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.engine import Engine
from monitor.core.light import light
from monitor.core.log import Lapse
from monitor.core.model import DAY, Ms, Refused, Sample, SiteSpec, Span, Tick
from monitor.core.wording import rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from monitor.core.hatch import Array
    from monitor.core.log import LogEntry
    from monitor.core.model import Estimate

LONGEST: Final[Ms] = 3660 * DAY
"""Timers run between inputs: one mistyped year would be played for hours, and nothing would be said."""


@light
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
    """Yield one line per open batch at each multiple of ``every`` in the UTC day, from first input to last or to ``until``.

    Inputs at or before an instant are included; an entry counts from when it was logged. Raises ``Refused`` for an
    entry that cannot be taken, and for a recording that would be played until nobody waits for it any more.
    """
    inputs = _in_order(measured, entries)
    if not inputs:
        return
    first, last = inputs[0][0], inputs[-1][0]
    end = last if until is None else max(until, last)
    if end - first > LONGEST:
        raise Refused(
            f"the recording goes from {rfc3339(first)} to {rfc3339(end)}, which is more than ten years; look for a mistaken year"
        )
    engine = Engine(site, first)
    seen: set[tuple[str, Ms]] = set()
    instant = _next_instant(first, every)
    now = first
    for item in inputs:
        while instant < item[0]:
            now = _tick_to(engine, now, instant)
            yield from _lines(engine, instant)
            instant = _next_instant(instant + 1, every)
        now = _tick_to(engine, now, item[0])
        _feed(engine, item, seen)
    while instant <= end:
        now = _tick_to(engine, now, instant)
        yield from _lines(engine, instant)
        instant = _next_instant(instant + 1, every)


def _next_instant(time: Ms, every: Ms) -> Ms:
    """The first instant at or after ``time`` that is a whole number of steps into its UTC day."""
    day = time // DAY * DAY
    return min(day + -(-(time - day) // every) * every, day + DAY)


@light(eq=False)
class Forecasted:
    """What was believed of a batch at an instant, with the cloud of instants (ms, may be infinite) at which 90 % are out."""

    time: Ms
    batch: str
    estimate: Estimate
    values: Array
    weights: Array


def forecasts_at(
    site: SiteSpec,
    measured: Iterable[Measured],
    entries: Iterable[LogEntry],
    instants: Sequence[tuple[Ms, str]],
    *,
    learn: bool = True,
) -> Iterator[Forecasted]:
    """Forecasts of given batches at given instants, without alarms; an instant at which a batch isn't open is skipped.

    Readings and entries at or before an instant are included, an entry from when it was logged.
    """
    asked: dict[Ms, list[str]] = {}
    for time, batch in sorted(instants):
        asked.setdefault(time, []).append(batch)
    for time, engine in played(site, measured, entries, asked, learn=learn):
        for batch in asked[time]:
            if batch in engine.open_batches():
                estimate = engine.estimate(batch, time)
                belief = engine.state.batches[batch].belief
                if belief is not None and belief.ready_cloud is not None:
                    yield Forecasted(time, batch, estimate, *belief.ready_cloud)


def played(
    site: SiteSpec,
    measured: Iterable[Measured],
    entries: Iterable[LogEntry],
    moments: Iterable[Ms],
    *,
    learn: bool = True,
) -> Iterator[tuple[Ms, Engine]]:
    """The engine, without alarms, as it stood at each of these instants, in order; what is at or before one is in."""
    inputs = _in_order(measured, entries)
    if not inputs:
        return
    engine = Engine(site, inputs[0][0], rules=False, learns=learn)
    seen: set[tuple[str, Ms]] = set()
    k = 0
    for time in sorted(set(moments)):
        while k < len(inputs) and inputs[k][0] <= time:
            _feed(engine, inputs[k], seen)
            k += 1
        yield time, engine


_Input = tuple["Ms", int, "Measured | LogEntry"]


def _in_order(measured: Iterable[Measured], entries: Iterable[LogEntry]) -> list[_Input]:
    inputs: list[_Input] = [(m.time, 0, m) for m in measured]
    inputs += [(max(entry.logged, entry.time), 1, entry) for entry in entries]
    inputs.sort(key=lambda item: item[:2])
    return inputs


def _feed(engine: Engine, item: _Input, seen: set[tuple[str, Ms]]) -> None:
    """One input; a row that is there twice counts once."""
    time, _, what = item
    if isinstance(what, Measured):
        if what.probe in engine.state.probes and (what.probe, what.time) not in seen:
            seen.add((what.probe, what.time))
            engine.step(engine.judge(what.probe, what.sample, what.time))
        return
    batch = engine.state.batches.get(what.batch) if isinstance(what, Lapse) else None
    if batch is not None and batch.ended is not None:
        return  # the monitor closed it by itself, as it does here
    try:
        engine.step(what)
    except Refused as refused:
        raise Refused(f"the entry logged at {rfc3339(time)} can't be taken: {refused}") from refused


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


def ranges(estimate: Estimate) -> dict[str, Any]:
    """The ranges of an estimate, by the names that replay, broker and API share."""
    return {
        "hatched": shares(estimate.hatched),
        "t10": instants(estimate.t10),
        "t50": instants(estimate.t50),
        "t90": instants(estimate.t90),
        "ready": instants(estimate.ready),
    }


def estimate_document(estimate: Estimate) -> dict[str, Any]:
    """An estimate as the JSON document that replay prints and the broker keeps, without its alarms."""
    return {
        "time": rfc3339(estimate.time),
        "batch": estimate.batch,
        "stage": estimate.stage.value,
        **ranges(estimate),
        "water_c": None if estimate.water_c is None else round(estimate.water_c, 3),
        "air": estimate.air,
    }


def _lines(engine: Engine, instant: Ms) -> Iterator[dict[str, Any]]:
    for batch in engine.open_batches():
        document = estimate_document(engine.estimate(batch, instant))
        document["alarms"] = engine.alarm_ids_of(batch)
        yield document
