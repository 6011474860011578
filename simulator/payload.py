"""What a probe's message looks like on the wire."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from simulator.scenario.models import JsonPayload, SenmlPayload

if TYPE_CHECKING:
    from simulator.world import Sample

SENML_UNIT = {"C": "Cel", "power": "W", "bubbles": "1/min"}


def instant(milliseconds: int) -> str:
    """RFC 3339 with Z; fractions only where there are some."""
    moment = datetime.fromtimestamp(milliseconds / 1000, tz=UTC)
    precision = "milliseconds" if milliseconds % 1000 else "seconds"
    return moment.isoformat(timespec=precision).replace("+00:00", "Z")


def encode(sample: Sample, start_ms: int) -> bytes:
    """The payload of one reading in its probe's style."""
    style, milliseconds = sample.probe.payload, start_ms + sample.offset_s * 1000
    if isinstance(style, JsonPayload):
        body: dict[str, Any] = {}
        if style.time:
            _put(body, style.time, instant(milliseconds))
        if style.sequence:
            _put(body, style.sequence, sample.sequence)
        _put(body, style.value, sample.value)
        return json.dumps(body).encode()
    if isinstance(style, SenmlPayload):
        return json.dumps([_record(sample, style, milliseconds)]).encode()
    return str(sample.value).encode()


def _put(body: dict[str, Any], pointer: str, value: Any) -> None:
    *parents, last = pointer.split("/")[1:]
    for parent in parents:
        body = body.setdefault(parent, {})
    body[last] = value


def _record(sample: Sample, style: SenmlPayload, milliseconds: int) -> dict[str, Any]:
    """RFC 8428: base name and base time, then the record's own name, unit and value."""
    record: dict[str, Any] = {"bn": style.base} if style.base else {}
    if style.own_time:
        record["bt"] = milliseconds / 1000 if milliseconds % 1000 else milliseconds // 1000
    record["n"] = style.name
    if isinstance(sample.value, str):
        return {**record, "vs": sample.value}
    probe = sample.probe
    return {**record, "u": SENML_UNIT[probe.reads if probe.measures == "air" else probe.unit], "v": sample.value}
