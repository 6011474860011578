"""Between the words of the core and the columns of the store: exact in both directions."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from monitor.core.light import light
from monitor.core.log import (
    Chill,
    Discard,
    Emptied,
    Harvest,
    Lapse,
    LogEntry,
    Seen,
    Settle,
    Sight,
    Start,
    Undo,
    Work,
    kind_of,
)
from monitor.core.log_food import Brood, BroodEnded, Correct, Counted, Drawn, Eater, Fed, Tin, Weighed
from monitor.core.model import SECOND, Air, Alarm, AlarmState, Ms, Priority, Quality, Reading, Transition

if TYPE_CHECKING:
    from collections.abc import Mapping

ReadingRow = tuple[int, int, int, int | None, int | None]
"""at, milli, mark, late, seq: the columns of table ``reading``; for ``at`` see ``at_of``.

``late`` is arrival minus time in whole seconds, rounded down: mostly 0, which takes no room.
"""

LARGEST = 2**63 - 1
"""What an SQLite integer can hold."""

OWN_TIME = 1 << 3
_QUALITY = 0b111
_STATE_SHIFT = 4
_REASON_SHIFT = 6
_AIR = frozenset(Air)

ENTRY_KINDS: dict[str, type[LogEntry]] = {
    "start": Start,
    "seen": Seen,
    "harvest": Harvest,
    "discard": Discard,
    "settle": Settle,
    "work": Work,
    "chill": Chill,
    "emptied": Emptied,
    "lapse": Lapse,
    "undo": Undo,
    "tin": Tin,
    "weighed": Weighed,
    "fed": Fed,
    "drawn": Drawn,
    "brood": Brood,
    "counted": Counted,
    "broodended": BroodEnded,
    "eater": Eater,
    "correct": Correct,
}


SERIES_BITS = 13
NUMBER_BITS = 8
TIME_SHIFT = SERIES_BITS + NUMBER_BITS
MOST_SERIES = (1 << SERIES_BITS) - 1
"""So many probes can ever have been in one store."""
MOST_AT_ONCE = 1 << NUMBER_BITS
"""So many readings of one probe fit into one millisecond."""
LAST_TIME = 1 << (63 - TIME_SHIFT)
"""Ms: no reading can be of this instant or later (the year 2109), or as long before 1970."""


def at_of(time: Ms, series: int, n: int) -> int:
    """What identifies a reading, in one number that goes with time."""
    return time << TIME_SHIFT | n << SERIES_BITS | series


def begin_of(time: Ms) -> int:
    """Every reading at ``time`` or later has this ``at`` or a greater one; a time beyond all of them is taken for the last."""
    return LARGEST if time >= LAST_TIME else max(time, -LAST_TIME) << TIME_SHIFT


def time_of(at: int) -> Ms:
    return at >> TIME_SHIFT


def series_of(at: int) -> int:
    return at & MOST_SERIES


def number_of(at: int) -> int:
    """The ``n`` of a reading."""
    return at >> SERIES_BITS & (MOST_AT_ONCE - 1)


def plain(text: str) -> str:
    """The text without lone surrogates, which JSON can smuggle in and SQLite cannot store."""
    return text.encode("utf-8", "replace").decode("utf-8")


def check_storable(reading: Reading) -> None:
    """Raise ValueError for a reading that no row can hold: found at the door, not in the middle of a commit."""
    if (
        -LAST_TIME <= reading.time < LAST_TIME
        and -LARGEST <= reading.milli <= LARGEST
        and -LARGEST <= reading.arrived <= LARGEST
        and (reading.seq is None or -LARGEST <= reading.seq <= LARGEST)
        and (reading.state is None or reading.state in _AIR)
    ):
        return
    _say_why_not(reading)


def _say_why_not(reading: Reading) -> None:
    for name in ("time", "milli", "seq", "arrived"):
        number = getattr(reading, name)
        if number is not None and not -LARGEST <= number <= LARGEST:
            raise ValueError(f"probe {reading.probe}: {name} is {number:.3e}, allowed are 64-bit integers")
    if not -LAST_TIME <= reading.time < LAST_TIME:
        raise ValueError(f"probe {reading.probe}: its time is {reading.time:.3e} ms, allowed is until the year 2109")
    if reading.state is not None and reading.state not in _AIR:
        raise ValueError(f"probe {reading.probe}: state is {reading.state}, allowed are 0, 1, 2 and none")


def to_row(reading: Reading, series: int, reason: int) -> ReadingRow:
    """``reason`` is the id of ``reading.reason``; 0 when there is none."""
    mark = int(reading.quality) | reason << _REASON_SHIFT
    if reading.own_time:
        mark |= OWN_TIME
    if reading.state is not None:
        mark |= reading.state + 1 << _STATE_SHIFT
    late = (reading.arrived - reading.time) // SECOND if reading.arrived else None
    return (at_of(reading.time, series, reading.n), reading.milli, mark, late, reading.seq)


def reason_of(row: ReadingRow) -> int:
    return row[2] >> _REASON_SHIFT


def from_row(row: ReadingRow, probe: str, reason: str) -> Reading:
    at, milli, mark, late, seq = row
    time = time_of(at)
    state = (mark >> _STATE_SHIFT) & 0b11
    return Reading(
        probe=probe,
        time=time,
        milli=milli,
        quality=Quality(mark & _QUALITY),
        reason=reason,
        state=state - 1 if state else None,
        seq=seq,
        own_time=bool(mark & OWN_TIME),
        arrived=0 if late is None else time + late * SECOND,
        n=number_of(at),
    )


def exact_time(reading: Reading) -> bool:
    """Its time identifies it: it is the probe's own and was not replaced by the time of arrival."""
    return reading.own_time and reading.quality is not Quality.CLAMPED


def row_exact_time(row: ReadingRow) -> bool:
    return bool(row[2] & OWN_TIME) and row[2] & _QUALITY != Quality.CLAMPED


def entry_to_record(entry: LogEntry) -> tuple[str, str]:
    """Kind and JSON of all fields but ``time`` and ``logged``, which are columns."""
    values = asdict(entry)
    del values["time"], values["logged"]
    return kind_of(entry), json.dumps(values, sort_keys=True)


def entry_from_record(time: Ms, logged: Ms, kind: str, text: str) -> LogEntry:
    values = json.loads(text)
    if kind == "seen":
        values["what"] = Sight(values["what"])
    return ENTRY_KINDS[kind](time=time, logged=logged, **values)


def alarm_to_record(alarm: Alarm) -> str:
    return json.dumps(asdict(alarm), sort_keys=True)


def alarm_from_record(text: str) -> Alarm:
    values = json.loads(text)
    values["priority"] = Priority(values["priority"])
    values["state"] = AlarmState(values["state"])
    return Alarm(**values)


def transition_to_record(transition: Transition) -> tuple[Ms, str, str, str, int, str, str]:
    """time, alarm, before, after, notify, reason, fields."""
    return (
        transition.time,
        transition.alarm.id,
        transition.before.value,
        transition.alarm.state.value,
        int(transition.notify),
        plain(transition.reason),
        alarm_to_record(transition.alarm),
    )


def transition_from_record(time: Ms, before: str, notify: int, reason: str, text: str) -> Transition:
    return Transition(time, alarm_from_record(text), AlarmState(before), bool(notify), reason)


SPANS = ("hatched", "t10", "t50", "t90", "ready")


def told_to_record(document: Mapping[str, Any]) -> str:
    """An estimate's document without ``time`` and ``batch``, which are columns, and without names: it is kept for ever."""
    spans = [document[name][side] for name in SPANS for side in ("lo", "mid", "hi")]
    return json.dumps([document["stage"], document["water_c"], document["air"], *spans], separators=(",", ":"))


def told_from_record(time: str, batch: str, text: str) -> dict[str, Any]:
    """``time`` is in RFC 3339."""
    stage, water, air, *spans = json.loads(text)
    sides = iter(spans)
    ranges = {name: {side: next(sides) for side in ("lo", "mid", "hi")} for name in SPANS}
    return {"time": time, "batch": batch, "stage": stage, **ranges, "water_c": water, "air": air}


@light
class Quarantined:
    """A message that could not be read: at most the first 512 bytes of it, and why."""

    probe: str
    time: Ms
    reason: str
    payload: bytes
