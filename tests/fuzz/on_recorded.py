"""Recorded nights: readings as CSV, the log as JSON lines, and both through the engine."""

from __future__ import annotations

import atexit
import json
import math
import shutil
import tempfile
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Final

from monitor.core.log import LogEntry, key_of
from monitor.core.model import DAY, HOUR, MINUTE, Measures, Refused
from monitor.core.replay import replay
from monitor.core.wording import rfc3339
from monitor.intake.binding import Binding
from monitor.intake.recorded import RecordProblem, entries, readings
from tests.fuzz.target import Target
from tests.unit.core.worlds import T0, slow_site
from tests.unit.intake.outcomes import sound

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.replay import Measured

FOLDER: Final = Path(tempfile.mkdtemp(prefix="fuzz-"))
atexit.register(shutil.rmtree, FOLDER, ignore_errors=True)
ROWS, LOG = FOLDER / "R.csv", FOLDER / "L.jsonl"
BINDINGS: Final = (
    Binding("t", "ash-water", "number", Measures.WATER),
    Binding("t", "ash-air", "number", Measures.AIR, is_word=True),
    Binding("t", "shed-room", "number", Measures.ROOM, scale=0.5555, offset=-17.77),
    Binding("t", "pump", "number", Measures.AIR, unit="W"),
)
SITE: Final = slow_site("ash", "birch")
LONGEST: Final = DAY // 2
"""Of what is played: a longer recording takes longer by its nature."""
EVERY: Final = HOUR
LINES: Final = 40
BETWEEN: Final = b"\n---\n"
LIMIT_MS: Final = 3000.0


def rows(data: bytes) -> bool:
    """A file of readings gives sound samples, or is refused with its line."""
    ROWS.write_bytes(data)
    try:
        found = list(readings(ROWS, BINDINGS))
    except RecordProblem as problem:
        return refused(problem)
    for one in found:
        sound([one.sample])
        assert one.sample.time == one.time
        rfc3339(one.time)
    return bool(found)


def log(data: bytes) -> bool:
    """A file of events gives entries whose numbers can be reckoned with, or is refused with its line."""
    LOG.write_bytes(data)
    try:
        found = list(entries(LOG))
    except RecordProblem as problem:
        return refused(problem)
    for entry in found:
        key_of(entry)
        for name in entry.__dataclass_fields__:
            value = getattr(entry, name)
            assert not isinstance(value, float) or math.isfinite(value), name
        rfc3339(entry.time)
        rfc3339(entry.logged)
    return bool(found)


def refused(problem: RecordProblem) -> bool:
    """False, when it says what was found and what is allowed."""
    assert "found" in str(problem)
    assert "allowed is" in str(problem)
    return False


def played(data: bytes) -> bool:
    """Readings and a log, ``---`` between them, through the engine: forecasts, or a refusal."""
    first, _, second = data.partition(BETWEEN)
    ROWS.write_bytes(first)
    LOG.write_bytes(second)
    try:
        measured, logged = list(readings(ROWS, BINDINGS)), list(entries(LOG))
    except RecordProblem as problem:
        return refused(problem)
    if _spans(measured, logged) > LONGEST:
        return False
    try:
        lines = list(islice(replay(SITE, measured, logged, EVERY), LINES))
    except Refused as why:
        assert str(why)
        return False
    for line in lines:
        assert json.dumps(line, allow_nan=False)
    return bool(lines)


def _spans(measured: list[Measured], logged: list[LogEntry]) -> int:
    times = [one.time for one in measured] + [time for one in logged for time in (one.time, one.logged)]
    return max(times, default=0) - min(times, default=0)


def _rows() -> Iterator[bytes]:
    head = "time,probe,value\n"
    lines = (
        "2026-03-02T07:00:00Z,ash-water,24.1",
        "2026-03-02T08:05:00+01:00,ash-air,running",
        '"2026-03-02T07:10:00.5Z", shed-room ,70.1',
        "2026-03-02T07:15:00Z,pump,3.2\n\n2026-03-02T07:15:00Z,pump,",
        "2026-03-02T07:20:00Z,ash-air,weak",
    )
    yield from ((head + line).encode() for line in lines)
    yield ("\ufeff" + head + "\n".join(lines)).encode()


EVENTS: Final[tuple[dict[str, object], ...]] = (
    {"event": "start", "batch": "b1", "vessel": "ash", "lot": "tin-7", "cysts_g": 1, "litres": 1, "salinity_g_l": 25},
    {"event": "seen", "batch": "b1", "what": "some", "fraction": 0.2},
    {"event": "harvest", "batch": "b1", "hatched_fraction": 0.7, "nauplii": 1e5},
    {"event": "discard", "batch": "b1", "reason": "smells"},
    {"event": "settle", "vessel": "ash", "until": "2026-03-02T08:00:00Z"},
    {"event": "work", "vessel": "ash", "until": "2026-03-02T08:00:00Z"},
    {"event": "chill", "store": "fridge", "nauplii": 1e5, "litres": 0.5, "gas": "oxygen", "gas_l": 1, "batch": "b1"},
    {"event": "emptied", "store": "fridge"},
    {"event": "lapse", "batch": "b1"},
    {"event": "undo", "kind": "seen", "subject": "b1", "at": "2026-03-02T07:00:00Z"},
    {"event": "tin", "lot": "tin-7", "grams": 50, "price": 12.5, "opened": "2026-03-01T07:00:00Z", "kept": "cool"},
    {"event": "weighed", "lot": "tin-7", "grams": 41.5},
    {"event": "fed", "brood": "killi", "nauplii": 1e4, "batch": "b1"},
    {"event": "drawn", "store": "fridge", "nauplii": 10, "why": "counted"},
    {"event": "brood", "brood": "killi", "fish": "killi", "larvae": 40, "swam_up": "2026-03-01T07:00:00Z", "meals": 2},
    {"event": "counted", "brood": "killi", "larvae": 38.5},
    {"event": "broodended", "brood": "killi", "how": "moved"},
    {"event": "eater", "eater": "adults", "nauplii_per_day": 2e4},
    {
        "event": "correct",
        "kind": "start",
        "subject": "b1",
        "at": "2026-03-02T07:00:00Z",
        "values": {"time": "2026-03-02T06:00:00Z", "cysts_g": 2},
    },
)


def _line(event: dict[str, object], minutes: int = 0) -> str:
    return json.dumps({"time": rfc3339(T0 + minutes * MINUTE), **event})


def _events() -> Iterator[bytes]:
    yield from (_line(event).encode() for event in EVENTS)
    yield "\n".join(_line(event, 10 * n) for n, event in enumerate(EVENTS)).encode()


def _nights() -> Iterator[bytes]:
    water = "".join(f"{rfc3339(T0 + n * 30 * MINUTE)},ash-water,{24 + n % 3}\n" for n in range(20))
    head = "time,probe,value\n"
    start = EVENTS[0]
    few = "".join(water.splitlines(keepends=True)[:5])
    for event in EVENTS[1:]:
        yield f"{head}{few}\n---\n{_line(start)}\n{_line(event, 60)}".encode()
    yield f"{head}{water}\n---\n{_line(start)}".encode()
    yield f"{head}\n---\n{_line(start)}\n{_line({**start, 'batch': 'b2', 'vessel': 'birch'}, 600)}".encode()


IN_LINES: Final = (
    *sorted({f'"{key}":'.encode() for event in EVENTS for key in event} | {b'"time":', b'"logged":'}),
    *(f'"{event["event"]}"'.encode() for event in EVENTS),
    b"0001-01-01T00:00:00+23:59",
    b"9999-12-31T23:59:59-23:59",
    b"2026-W10-1T07:00Z",
    b"1e308",
    b"NaN",
    b"null",
    b"\n",
)
IN_ROWS: Final = (b"ash-water", b"ash-air", b"shed-room", b"pump", b"time,probe,value\n", b",,", b'"', b"\r", b"1e9")
TARGETS: Final = (
    Target("readings", rows, _rows, (*IN_ROWS, *IN_LINES[-6:]), 2048),
    Target("log", log, _events, IN_LINES, 2048),
    Target("replay", played, _nights, (*IN_ROWS, *IN_LINES), 4096, LIMIT_MS, share=0.02),
)
