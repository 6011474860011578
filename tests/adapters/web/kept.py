"""A shed with a past: a real store that was filled before the bad night."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.log import Chill, Discard, Harvest, Lapse, Seen, Settle, Sight, Start
from monitor.core.model import (
    HOUR,
    MINUTE,
    Air,
    Alarm,
    AlarmState,
    Priority,
    Quality,
    Reading,
    Transition,
)
from monitor.store import Store
from monitor.store.record import Record
from monitor.web.when import as_rfc3339
from tests.adapters.web.memory_desk import NOW, MemoryDesk, a_content, a_store, bad_night, measured, span

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.core.log import LogEntry

READINGS: Final = 240
"""One a minute, up to the bad night."""
BEGUN: Final = NOW - READINGS * MINUTE


def whole() -> dict[str, Any]:
    """The bad night with its probes and a store."""
    bench = bad_night()
    common = {"store": None, "every_s": 60}
    bench["probes"] = [
        {
            "id": "ash-water",
            "measures": "water",
            "vessel": "ash",
            "unit": "Cel",
            "newest": measured(24.1, 12, "ash-water"),
            **common,
        },
        {
            "id": "birch-air",
            "measures": "air",
            "vessel": "birch",
            "unit": None,
            "newest": measured("stopped", 8, "birch-air"),
            **common,
        },
        {"id": "cedar-air", "measures": "air", "vessel": "cedar", "unit": None, "newest": None, **common},
    ]
    bench["stores"] = [a_store("fridge", a_content(200_000))]
    return bench


LOG: Final[tuple[LogEntry, ...]] = (
    Start(NOW - 90 * HOUR, NOW - 90 * HOUR, "birch-2026-02-26", "birch", "tin-6", 2.0, 2.0, 30.0),
    Start(NOW - 80 * HOUR, NOW - 80 * HOUR, "ash-2026-02-26", "ash", "tin-7", 1.5, 1.5, 25.0),
    Seen(NOW - 70 * HOUR, NOW - 69 * HOUR, "birch-2026-02-26", Sight.SOME, 0.4),
    Settle(NOW - 61 * HOUR, NOW - 61 * HOUR, "birch", NOW - 60 * HOUR),
    Harvest(NOW - 60 * HOUR, NOW - 60 * HOUR, "birch-2026-02-26", 0.8, 180_000.0),
    Chill(NOW - 59 * HOUR, NOW - 59 * HOUR, "fridge", 90_000.0, 0.5, batch="birch-2026-02-26"),
    Lapse(NOW - 20 * HOUR, NOW - 20 * HOUR, "ash-2026-02-26"),
    Discard(NOW - 30 * HOUR, NOW - 19 * HOUR, "ash-2026-02-26", "smells"),
    Start(NOW - 15 * HOUR, NOW - 15 * HOUR, "ash-2026-03-01", "ash", "tin-7", 2.0, 1.5, 25.0),
)


def a_transition(at: int, state: AlarmState = AlarmState.UNACKNOWLEDGED) -> Transition:
    name, rule, subject = "air-stopped:birch", "air-stopped", "birch"
    alarm = Alarm(name, rule, subject, Priority.HIGH, state, at, at, "Air stopped in birch", "", "", "", at + HOUR)
    return Transition(at, alarm, AlarmState.NORMAL, notify=True, reason="new")


def told(batch: str, at: int) -> dict[str, Any]:
    ranges = {name: span(1, 2.5, 4) for name in ("t10", "t50", "t90", "ready")}
    shares = {"lo": 0.1, "mid": 0.2, "hi": 0.35}
    rest = {"stage": "hatching", "water_c": 24.5, "air": "running"}
    return {"time": as_rfc3339(at), "batch": batch, "hatched": shares, **ranges, **rest}


def fill(store: Store) -> None:
    for n in range(READINGS):
        time = BEGUN + n * MINUTE
        quality = Quality.SUSPECT if n % 10 == 7 else Quality.OK
        reason = "too fast" if quality is Quality.SUSPECT else ""
        store.add(Reading("ash-water", time, 24_000 + n, quality, reason, seq=n, own_time=True, arrived=time + 5))
        air = Air.STOPPED if n >= 200 else Air.WEAK if n % 3 == 0 else Air.RUNNING
        store.add(Reading("birch-air", time, air.milli, state=int(air), arrived=time))
    store.add(Reading("oak-water", BEGUN, 21_500, arrived=BEGUN))
    for entry in LOG:
        store.log(entry)
    for hours in range(5):
        store.put_alarm(a_transition(NOW - (5 - hours) * HOUR))
        store.tell("ash-2026-03-01", NOW - (5 - hours) * HOUR, told("ash-2026-03-01", NOW - (5 - hours) * HOUR))
    store.tell("birch-2026-02-26", NOW - HOUR, told("birch-2026-02-26", NOW - HOUR))
    store.commit()


def desk_with_past(folder: Path) -> MemoryDesk:
    """``oak-water`` is on record but configured no more."""
    path = folder / "kept.sqlite3"
    with Store.open(path, now=NOW) as store:
        fill(store)
    desk = MemoryDesk(whole())
    desk.record = Record(path)
    return desk
