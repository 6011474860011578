"""A store with everything in it that there can be, and folders compared."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Any, Final

from monitor.core.log import Chill, Discard, Emptied, Harvest, Lapse, LogEntry, Seen, Settle, Sight, Start, Undo, Work
from monitor.core.log_food import Brood, BroodEnded, Correct, Counted, Drawn, Eater, Fed, Tin, Weighed
from monitor.core.model import (
    DAY,
    HOUR,
    MINUTE,
    Alarm,
    AlarmState,
    Priority,
    Quality,
    Reading,
    SlotClosed,
    Transition,
)
from monitor.store import Draft, Keep, Store

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

T0: Final = 1_770_000_000_000
"""2026-02-02T02:40:00Z"""
ODD_PROBES: Final = ("ash-water", "ash-air", "../../etc/passwd", 'quo"te, comma', "=1+1\r\nline", "Бирюза", ".")
SECRETS: Final = ("https://push.example/secret", "p256dh-secret", "auth-secret")

ESTIMATE: Final[dict[str, Any]] = {
    "time": "2026-02-02T02:40:00Z",
    "batch": "one",
    "stage": "developing",
    **{
        name: {"lo": "2026-02-02T20:00:00Z", "mid": "2026-02-02T22:00:00Z", "hi": None}
        for name in ("t10", "t50", "t90", "ready")
    },
    "hatched": {"lo": 0.0, "mid": 0.0123, "hi": 0.5},
    "water_c": 27.125,
    "air": "running",
}

ENTRIES: Final[tuple[LogEntry, ...]] = (
    Start(T0, T0, "one", "ash", "tin-7", 2, 1.5, 25.0),
    Seen(T0 + 15 * HOUR, T0 + 16 * HOUR + 1, "one", Sight.SOME, 0.1 + 0.2),
    Seen(T0 + 17 * HOUR, T0 + 17 * HOUR, "one", Sight.NONE),
    Settle(T0 + 18 * HOUR, T0 + 18 * HOUR, "ash", T0 + 18 * HOUR + 123),
    Work(T0 + 19 * HOUR, T0 + 19 * HOUR, "ash", T0 + 20 * HOUR),
    Harvest(T0 + 20 * HOUR, T0 + 20 * HOUR, "one", 0.71, 123_456.0),
    Undo(T0 + 20 * HOUR + 60_123, T0 + 20 * HOUR + 60_123, "harvest", "one", T0 + 20 * HOUR),
    Chill(T0 + 20 * HOUR, T0 + 20 * HOUR, "fridge", 1e5, 0.5, "oxygen", 1.0, aerated=True, batch="one"),
    Emptied(T0 + 21 * HOUR, T0 + 21 * HOUR, "fridge"),
    Start(T0 + 22 * HOUR, T0 + 22 * HOUR, "two", "ash", "tin-7", 2.5, 1.5, 0),
    Discard(T0 + 23 * HOUR, T0 + 23 * HOUR, "two", 'smelt, "bad"\nvery \ud83d bad 🦐'),
    Start(T0 + 24 * HOUR, T0 + 24 * HOUR, "three", "ash", "tin-7", 2.5, 1.5, 0),
    Lapse(T0 + 3 * DAY, T0 + 3 * DAY, "three"),
    Tin(T0, T0 + 3 * DAY, "tin-7", "sfb", 85.0, 50.0, 12.5, 270_000.0, 480.0, T0 + HOUR + 7, "cool"),
    Tin(T0, T0 + 3 * DAY + 1, "tin-8"),
    Weighed(T0 + 3 * DAY, T0 + 3 * DAY + 2, "tin-7", 41.5),
    Fed(T0 + 21 * HOUR, T0 + 3 * DAY + 3, "killi-3", 1e4, store="fridge"),
    Fed(T0 + 21 * HOUR, T0 + 3 * DAY + 4, "", 500, batch="one"),
    Drawn(T0 + 21 * HOUR, T0 + 3 * DAY + 5, "fridge", 1e3, 'for a "count"\n🦐'),
    Brood(T0, T0 + 3 * DAY + 6, "killi-3", "killi", 40, swam_up=T0 + DAY + 5, ration=500.0, meals=2),
    Counted(T0 + 2 * DAY, T0 + 3 * DAY + 7, "killi-3", 38.5),
    BroodEnded(T0 + 3 * DAY, T0 + 3 * DAY + 8, "killi-3", "moved"),
    Eater(T0, T0 + 3 * DAY + 9, "adults", 20_000.0, 1, 900.0),
    Correct(T0 + 3 * DAY + 10, T0 + 3 * DAY + 10, "start", "one", T0, {"time": T0 + 61_007, "cysts_g": 2.25}),
    Correct(T0 + 3 * DAY + 11, T0 + 3 * DAY + 11, "tin", "tin-7", T0 + 3 * DAY, {"opened": T0 + 3, "price": None}),
    Correct(T0 + 3 * DAY + 12, T0 + 3 * DAY + 12, "drawn", "fridge", T0 + 3 * DAY + 5, gone=True),
    Undo(T0 + 3 * DAY + 13, T0 + 3 * DAY + 13, "correct", "fridge", T0 + 3 * DAY + 12),
)


def transition(n: int, after: AlarmState = AlarmState.UNACKNOWLEDGED) -> Transition:
    alarm = Alarm(
        id=f"cold:{'ash' if n % 2 else 'birch'}",
        rule="cold",
        subject="ash" if n % 2 else "birch",
        priority=Priority.HIGH,
        state=after,
        since=T0 + n,
        changed=T0 + n * MINUTE,
        title="Cold",
        text="It is 12.0 °C.",
        todo="Look at the heater.",
        reason="",
        deadline=T0 + HOUR if n % 3 else None,
        told=T0,
        until=None,
    )
    return Transition(T0 + n * MINUTE, alarm, AlarmState.NORMAL, notify=bool(n % 2), reason=f"number {n}")


def plain_readings() -> list[Reading]:
    """A day and a half of two probes, with one that came late."""
    found = []
    for n in range(360):
        time = T0 + n * 6 * MINUTE
        found.append(Reading("ash-water", time, 24_000 + n % 90, arrived=time + 40, own_time=True, seq=n))
        state = n % 3
        found.append(Reading("ash-air", time, (0, 1000, 199)[state], state=state, arrived=time))
    found.append(Reading("ash-water", T0 + 61_000, 24_001, own_time=True, seq=9_999, arrived=T0 + DAY))
    return found


def fill(store: Store, readings: Iterable[Reading] = (), *, rolled_up: bool = True) -> None:
    """Everything there can be in a store; some of it is cleared away again when it is rolled up."""
    for probe in ODD_PROBES:
        store.add(Reading(probe, T0 + 5, 1_001, Quality.SUSPECT, f"odd, {probe}", seq=2**62, arrived=T0))
    for reading in (*plain_readings(), *readings):
        store.add(reading)
    for n in range(20):
        store.put_slot(SlotClosed("ash-water", T0 + 22 * HOUR + n * 5 * MINUTE, 30, 30 * 24_123 + n))
        store.quarantine("ash-water", T0 + n, "no number", bytes(range(n, 256)) * 2)
        store.quarantine("ash-water", T0 + n, "no number", b"")
    for entry in ENTRIES:
        store.log(entry)
    for n in range(5):
        store.tell("one", T0 + n * 15 * MINUTE + n, ESTIMATE)
        number = store.put_alarm(transition(n))
        store.enqueue(number, "phone", Draft("cold:ash", "Cold", "body", Priority.HIGH, T0))
    store.put_alarm(transition(6, AlarmState.NORMAL))
    store.remember_delivery(1, 7, b"24.0")
    store.keep("lot/tin-7", '{"mean": [0.1, -1e-09, 1e+300], "count": 3}')
    store.keep("vessel/ash", '{"held":[27.5]}')  # not as we would write it
    store.keep("prior/one", "no JSON at all \n")
    store.keep("run/alive", str(T0))
    store.keep("run/clean", "false")
    store.keep("broker.session", "12345678")
    phone = {"endpoint": SECRETS[0], "p256dh": SECRETS[1], "auth": SECRETS[2]}
    store.keep("phones/site", str(phone).replace("'", '"'))
    store.commit()
    if rolled_up:
        keep = Keep(raw=3 * HOUR, minute=6 * HOUR)
        while store.roll_up(T0 + 37 * HOUR):
            pass
        while store.clear(T0 + 10 * HOUR, keep):
            pass
        store.add(Reading("ash-water", T0 + 11 * HOUR + 7, 25_000, arrived=T0 + 13 * HOUR))  # its quarter is due anew
        store.commit()


def files(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def rows(path: Path, table: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        return connection.execute(f"SELECT * FROM {table}").fetchall()  # noqa: S608  (ours)
