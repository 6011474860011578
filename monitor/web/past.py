"""The past as documents: readings, trends, the log, batches, estimates as they were told, what alarms went through."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from monitor.core.bench import UNITS, alarm_document
from monitor.core.log import Discard, Harvest, Lapse, Start, kind_of, subject_of
from monitor.core.log_food import Correct
from monitor.core.model import SECOND, Air
from monitor.web.when import as_rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from monitor.core.chronicle import Sentence
    from monitor.core.log import LogEntry
    from monitor.core.model import Ms, Reading
    from monitor.store.record import KnownProbe, Noted, PastTransition, Point, ToldEstimate, Trend

BEGUN_WITH: Final = ("cysts_g", "litres", "salinity_g_l")
_INSTANTS: Final = {"until", "at", "opened", "swam_up"}


def known_probe(name: str, spec: Mapping[str, Any] | None, kept: KnownProbe | None) -> dict[str, Any]:
    """``spec`` is its document in the bench, None for one that is configured no more."""
    of_spec = {key: None if spec is None else spec[key] for key in ("measures", "vessel", "store", "unit", "every_s")}
    return {
        "id": name,
        "configured": spec is not None,
        **of_spec,
        "first": _instant(None if kept is None else kept.first),
        "last": _instant(None if kept is None else kept.last),
        "newest": None if spec is None else spec["newest"],
    }


def trend_document(trend: Trend, spec: Mapping[str, Any] | None) -> dict[str, Any]:
    of_point = _air_point if spec is not None and spec["measures"] == "air" else _point
    return {
        "probe": trend.probe,
        "unit": None if spec is None else spec["unit"],
        "since": as_rfc3339(trend.since),
        "until": as_rfc3339(trend.until),
        "step": trend.step.value,
        "width_s": trend.width // SECOND,
        "points": [of_point(point) for point in trend.points],
    }


def _point(point: Point) -> dict[str, Any]:
    told = {name: None if value is None else round(value, 3) for name, value in _levels(point)}
    return {"time": as_rfc3339(point.time), "count": point.count, **told, "suspect": point.suspect}


def _levels(point: Point) -> Iterable[tuple[str, float | None]]:
    return (("low", point.low), ("mean", point.mean), ("high", point.high))


def _air_point(point: Point) -> dict[str, Any]:
    return {
        "time": as_rfc3339(point.time),
        "count": point.count,
        "running": point.count - point.weak - point.stopped,
        "weak": point.weak,
        "stopped": point.stopped,
        "suspect": point.suspect,
    }


def reading_document(reading: Reading, spec: Mapping[str, Any] | None) -> dict[str, Any]:
    """Air is told as a word; what is configured no more has no unit."""
    return {
        "probe": reading.probe,
        "time": as_rfc3339(reading.time),
        "value": reading.value if reading.state is None else Air(reading.state).word,
        "unit": None if spec is None else spec["unit"],
        "quality": reading.quality.word,
        "reason": reading.reason,
        "own_time": reading.own_time,
        "arrived": _instant(reading.arrived or None),
        "seq": reading.seq,
    }


def noted_document(noted: Noted, *, undone: bool) -> dict[str, Any]:
    entry = noted.entry
    fields = {key: value for key, value in asdict(entry).items() if key not in ("time", "logged")}
    told = {key: as_rfc3339(fields[key]) for key in _INSTANTS & fields.keys() if fields[key] is not None}
    fields.update(told)
    if isinstance(entry, Correct):
        instants = {key for key in entry.values if key in (*_INSTANTS, "time") and entry.values[key] is not None}
        fields["values"] = {**entry.values, **{key: as_rfc3339(entry.values[key]) for key in instants}}
    return {
        "id": noted.id,
        "kind": kind_of(entry),
        "time": as_rfc3339(entry.time),
        "logged": as_rfc3339(entry.logged),
        "undone": undone,
        "subject": subject_of(entry),
        "fields": fields,
    }


def told_document(told: ToldEstimate) -> dict[str, Any]:
    return {"id": told.id, **told.document}


def transition_document(past: PastTransition) -> dict[str, Any]:
    one = past.transition
    return {
        "id": past.id,
        "time": as_rfc3339(one.time),
        "before": one.before.value,
        "after": one.alarm.state.value,
        "notify": one.notify,
        "reason": one.reason,
        "alarm": alarm_document(one.alarm),
    }


def sentence_document(one: Sentence) -> dict[str, Any]:
    return {"time": as_rfc3339(one.time), "kind": one.kind, "text": one.text}


def batches_of(entries: Sequence[LogEntry]) -> list[dict[str, Any]]:
    """All batches of a log without what was undone, the one begun last first."""
    starts = [entry for entry in entries if isinstance(entry, Start)]
    endings = endings_of(entries)
    starts.sort(key=lambda start: (start.time, start.logged), reverse=True)
    return [batch_document(start, endings.get(start.batch)) for start in starts]


def endings_of(entries: Iterable[LogEntry]) -> dict[str, Harvest | Discard | Lapse]:
    """What a keeper wrote of an ending stands for the monitor's own, which only says that nobody had."""
    endings: dict[str, Harvest | Discard | Lapse] = {}
    for entry in entries:
        if isinstance(entry, Harvest | Discard | Lapse) and not (isinstance(entry, Lapse) and entry.batch in endings):
            endings[entry.batch] = entry
    return endings


def batch_document(start: Start, ending: Harvest | Discard | Lapse | None) -> dict[str, Any]:
    return {
        "id": start.batch,
        "vessel": start.vessel,
        "lot": start.lot,
        "start": as_rfc3339(start.time),
        "logged": as_rfc3339(start.logged),
        **{name: getattr(start, name) for name in BEGUN_WITH},
        "ended": None if ending is None else _ending(ending),
        "units": {name: UNITS[name] for name in BEGUN_WITH},
    }


def _ending(ending: Harvest | Discard | Lapse) -> dict[str, Any]:
    return {
        "how": kind_of(ending),
        "time": as_rfc3339(ending.time),
        "hatched_fraction": getattr(ending, "hatched_fraction", None),
        "nauplii": getattr(ending, "nauplii", None),
        "reason": getattr(ending, "reason", ""),
    }


def _instant(time: Ms | None) -> str | None:
    return None if time is None else as_rfc3339(time)
