"""What a view of trends shows, as files: CSV (RFC 4180) and SenML (RFC 8428). Pure."""

from __future__ import annotations

import csv
import io
import json
import re
from typing import TYPE_CHECKING, Any, Final

from monitor.core.model import SECOND
from monitor.web.when import as_rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.store.record import Point
    from monitor.web.trend_gather import Gathered, Shown

HEADS: Final = (
    "time", "series", "quantity", "unit", "interval_s", "low", "mean", "high", "count", "suspect", "weak", "stopped",
)  # fmt: skip
"""``low``, ``mean`` and ``high`` of a batch's hatched share are its range and its middle, and ``count`` is empty."""
_STRANGE: Final = re.compile(r"[^A-Za-z0-9:./_-]")  # RFC 8428 section 4.5.1
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def as_csv(found: Gathered) -> str:
    """A line for each point of each probe, and for each time a batch's hatched share was told."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\r\n")
    rows.writerow(HEADS)
    for probe in found.probes:
        for point in probe.trend.points:
            rows.writerow(_probe_row(probe, point))
    for told in found.here:
        for time, one in told.documents:
            if found.asked.since <= time < found.asked.until:
                hatched = one["hatched"]
                ends = [_number(hatched[end]) for end in ("lo", "mid", "hi")]
                rows.writerow((as_rfc3339(time), _text(told.life.id), "hatched", "1", "", *ends, "", "", "", ""))
    return text.getvalue()


def _probe_row(probe: Shown, point: Point) -> tuple[object, ...]:
    air = probe.measures == "air"
    return (
        as_rfc3339(point.time),
        _text(probe.id),
        probe.measures,
        "1" if air else probe.unit,
        f"{probe.trend.width / SECOND:g}",
        *(_number(value) for value in (point.low, point.mean, point.high)),
        point.count,
        point.suspect,
        point.weak if air else "",
        point.stopped if air else "",
    )


def _number(value: float | None) -> str:
    return "" if value is None else f"{round(value, 4):g}"


def _text(name: str) -> str:
    """A name that a spreadsheet does not take for a formula."""
    return f"'{name}" if name.startswith(_FORMULA) else name


def as_senml(found: Gathered) -> str:
    """A pack of records in order of time. A single reading has the probe's name; an interval has /low, /mean and /high.

    Air is the share of readings that said running; a share has the unit ``/`` (RFC 8428 section 12.1).
    """
    records = sorted(_records(found), key=lambda record: (record["t"], record["n"]))
    if records:
        records[0] = {"bn": f"{senml_name(found.bench['site'])}/", **records[0]}
    return json.dumps(records, separators=(",", ":"), ensure_ascii=False)


def _records(found: Gathered) -> Iterator[dict[str, Any]]:
    for probe in found.probes:
        name = senml_name(probe.id)
        for point in probe.trend.points:
            if not point.count:
                continue
            time = _seconds(point.time)
            if probe.measures == "air":
                running = (point.count - point.stopped - point.weak) / point.count
                yield {"n": f"{name}/running", "u": "/", "t": time, "v": round(running, 4)}
                if point.weak:
                    yield {"n": f"{name}/weak", "u": "/", "t": time, "v": round(point.weak / point.count, 4)}
            elif not probe.trend.width:
                yield {"n": name, "u": probe.unit, "t": time, "v": point.mean}
            else:
                for what, value in (("low", point.low), ("mean", point.mean), ("high", point.high)):
                    yield {"n": f"{name}/{what}", "u": probe.unit, "t": time, "v": round(value or 0.0, 4)}
    for told in found.here:
        name = senml_name(told.life.id)
        for instant, one in told.documents:
            if found.asked.since <= instant < found.asked.until:
                for what, end in (("low", "lo"), ("middle", "mid"), ("high", "hi")):
                    if (share := one["hatched"][end]) is not None:
                        yield {"n": f"{name}/hatched/{what}", "u": "/", "t": _seconds(instant), "v": share}


def _seconds(instant: int) -> float:
    return instant // SECOND if instant % SECOND == 0 else instant / SECOND


def senml_name(name: str) -> str:
    """A name with only the letters RFC 8428 allows, beginning with a letter or a figure."""
    safe = _STRANGE.sub("_", name)
    return safe if safe[:1].isalnum() else f"x{safe}"
