"""A week in the shed, in a real store: eight probes every ten minutes, batches with what was told of them, alarms, the log.

It ends at the bad night of ``memory_desk``: ash and birch hold the same batches, and birch has lost its air.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from monitor.core.log import Chill, Discard, Harvest, Seen, Sight, Start, Work
from monitor.core.model import (
    DAY,
    HOUR,
    MINUTE,
    Air,
    Alarm,
    AlarmState,
    Ms,
    Priority,
    Reading,
    Transition,
)
from monitor.store.record import Record
from monitor.store.store import Store
from monitor.web.when import as_rfc3339
from tests.adapters.web.memory_desk import NOW, MemoryDesk, a_content, a_store, bad_night
from tests.adapters.web.tin_example import tins

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

EVERY: Final[Ms] = 10 * MINUTE
PROBES: Final = (
    ("ash-water", "water", "ash", None),
    ("ash-air", "air", "ash", None),
    ("birch-water", "water", "birch", None),
    ("birch-air", "air", "birch", None),
    ("cedar-water", "water", "cedar", None),
    ("shed-room", "room", None, None),
    ("fridge-cold", "store", None, "fridge"),
    ("fridge-air", "air", None, "fridge"),
)
_LEVEL: Final = {"ash-water": 25.5, "birch-water": 26.5, "cedar-water": 19.5, "shed-room": 17.0, "fridge-cold": 4.3}
_SWING: Final = {"ash-water": 0.6, "birch-water": 0.4, "cedar-water": 1.2, "shed-room": 2.5, "fridge-cold": 0.8}
# vessel, started how many hours before NOW, lived how long, ready after
_PAST: Final = (
    ("ash", 158, 27, 24.0),
    ("birch", 130, 26, 23.0),
    ("ash", 110, 28, 25.5),
    ("birch", 82, 26, 22.5),
    ("ash", 62, 27, 24.5),
)
_OPEN: Final = (("ash", 15, 19.6), ("birch", 15, 13.4))


def batch_id(vessel: str, hours: float) -> str:
    return f"{vessel}-{as_rfc3339(NOW - round(hours * HOUR))[:10]}"


PAST: Final = tuple(batch_id(vessel, hours) for vessel, hours, _, _ in _PAST)
"""Batches that have ended, the oldest first."""


def shed_bench() -> dict[str, Any]:
    """The bench of the bad night, with its probes and a fridge."""
    bench = bad_night()
    bench["probes"] = [
        {
            "id": name,
            "measures": measures,
            "vessel": vessel,
            "store": store,
            "unit": None if measures == "air" else "Cel",
            "every_s": EVERY // 1000,
            "newest": None,
        }
        for name, measures, vessel, store in PROBES
    ]
    bench["stores"] = [a_store("fridge", a_content())]
    bench["tins"] = tins()
    return bench


def fill(path: Path, days: int = 7) -> None:
    """Write the week (or so many days) into a new store, rolled up."""
    with Store.open(path, now=NOW - days * DAY) as store:
        for reading in readings(days):
            store.add(reading)
        for entry in _log():
            store.log(entry)
        for hours, alarm in _rang():
            for transition in _life(NOW - round(hours * HOUR), alarm):
                store.put_alarm(transition)
        for vessel, begun, lived, ready in _PAST:
            _tell(store, batch_id(vessel, begun), NOW - begun * HOUR, lived, ready)
        for vessel, begun, ready in _OPEN:
            _tell(store, batch_id(vessel, begun), NOW - begun * HOUR, begun, ready)
        store.commit()
        while store.roll_up(NOW):
            pass


def shed_desk(path: Path) -> MemoryDesk:
    """The desk of the bad night over such a store."""
    desk = MemoryDesk(shed_bench())
    desk.record = Record(path)
    return desk


def value(probe: str, time: Ms) -> float:
    """A daily swing and a little noise, the same at every run."""
    noise = 0.05 * math.sin(time / 7_000_000.0 * 13)
    return _LEVEL[probe] + _SWING[probe] * math.sin(2 * math.pi * (time % DAY) / DAY - 2) + noise


def readings(days: int) -> Iterator[Reading]:
    for time in range(NOW - days * DAY, NOW, EVERY):
        for name, measures, vessel, _ in PROBES:
            if name == "cedar-water" and time > NOW - 25 * MINUTE:
                continue
            if measures == "air":
                air = _air(vessel, time)
                yield Reading(name, time, air.milli, state=int(air), own_time=True, arrived=time)
            else:
                yield Reading(name, time, round(value(name, time) * 1000), own_time=True, arrived=time)


def _air(vessel: str | None, time: Ms) -> Air:
    if vessel == "birch" and time > NOW - 10 * MINUTE:
        return Air.STOPPED
    if vessel == "ash" and NOW - 70 * HOUR < time < NOW - 67 * HOUR:
        return Air.WEAK
    if vessel == "birch" and NOW - 40 * HOUR < time < NOW - 39 * HOUR:
        return Air.STOPPED
    return Air.RUNNING


def _log() -> Iterator[Any]:
    entries: list[Any] = []
    for vessel, begun, lived, ready in _PAST:
        name, start = batch_id(vessel, begun), NOW - begun * HOUR
        entries.append(_start(name, vessel, start))
        for hours, what in ((ready - 6, Sight.FIRST), (ready - 2, Sight.SOME), (ready + 0.5, Sight.MOST)):
            at = start + round(hours * HOUR)
            entries.append(Seen(at, at, name, what))
        end = start + lived * HOUR
        if name == PAST[3]:
            entries.append(Discard(end, end, name, "smells"))
        else:
            entries.append(Harvest(end, end, name, 0.72, 310_000))
            if name == PAST[-1]:
                entries.append(Chill(end + MINUTE, end + MINUTE, "fridge", 200_000, 0.5, aerated=True, batch=name))
    for vessel, begun, _ in _OPEN:
        entries.append(_start(batch_id(vessel, begun), vessel, NOW - begun * HOUR))
    entries.append(Work(NOW - 20 * HOUR, NOW - 20 * HOUR, "cedar", NOW - 20 * HOUR + 30 * MINUTE))
    yield from sorted(entries, key=lambda entry: entry.logged)


def _start(name: str, vessel: str, start: Ms) -> Start:
    return Start(start, start, name, vessel, "tin-7", 2.0, 1.5 if vessel == "ash" else 2.0, 25.0)


def _tell(store: Store, batch: str, start: Ms, lived: float, ready: float) -> None:
    """Each quarter of an hour; the range closes as it comes nearer, and the middle was an hour and a half late at first."""
    for quarter in range(1, round(lived * 4)):
        hours = quarter / 4
        left = max(ready - hours, 0.0)
        mid = ready + 1.5 * left / ready
        wide = 0.4 + 0.18 * left
        hatched = 0.75 / (1 + math.exp(-(hours - ready + 4) / 1.6))
        instants = {
            end: as_rfc3339(start + round(at * HOUR / MINUTE) * MINUTE)
            for end, at in (("lo", mid - wide), ("mid", mid), ("hi", mid + 1.3 * wide))
        }
        store.tell(
            batch,
            start + round(hours * HOUR),
            {
                "time": as_rfc3339(start + round(hours * HOUR)),
                "batch": batch,
                "stage": "hatching" if hatched > 0.02 else "developing",
                "hatched": {
                    "lo": round(hatched * 0.7, 4),
                    "mid": round(hatched, 4),
                    "hi": round(min(0.9, hatched * 1.25 + 0.02), 4),
                },
                "t10": instants,
                "t50": instants,
                "t90": instants,
                "ready": instants,
                "water_c": 25.5,
                "air": "running",
            },
        )


def _rang() -> Iterator[tuple[float, Alarm]]:
    for hours, rule, subject, priority, title in (
        (70, "air-weak", "ash", Priority.MEDIUM, "Air is weak in ash"),
        (40, "air-stopped", "birch", Priority.HIGH, "Air stopped in birch"),
        (30, "probe-silent", "cedar-water", Priority.LOW, "cedar-water is silent"),
    ):
        at = NOW - hours * HOUR
        yield (
            hours,
            Alarm(
                f"{rule}:{subject}",
                rule,
                subject,
                priority,
                AlarmState.UNACKNOWLEDGED,
                at,
                at,
                title,
                "",
                "",
                "first time",
            ),
        )


def _life(at: Ms, alarm: Alarm) -> Iterator[Transition]:
    yield Transition(at, alarm, AlarmState.NORMAL, True, "first time")
    seen = replace(alarm, state=AlarmState.ACKNOWLEDGED, changed=at + 5 * MINUTE)
    yield Transition(at + 5 * MINUTE, seen, AlarmState.UNACKNOWLEDGED, False, "seen")
    over = replace(alarm, state=AlarmState.NORMAL, changed=at + HOUR)
    yield Transition(at + HOUR, over, AlarmState.ACKNOWLEDGED, False, "over")
