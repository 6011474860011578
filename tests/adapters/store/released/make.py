"""Writes ``schema-<n>.sql`` beside itself: a small store as the version with schema ``n`` left it. Run once for each new schema.

A file that is there is never written again: it stands for stores that are out in the world.
"""

from __future__ import annotations

import json
import sqlite3
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.core.log import Harvest, Start
from monitor.core.model import Alarm, AlarmState, Priority, Transition
from monitor.store.records import alarm_to_record, entry_to_record, transition_to_record
from monitor.store.schema import APPLICATION_ID, MIGRATIONS, migrate

if TYPE_CHECKING:
    from monitor.core.log import LogEntry

HERE = Path(__file__).parent
T0 = 1_770_000_000_000
PROBES = ("ash-water", "ash-air", "shed-room")
COUNT = 40

START = Start(T0, T0 + 500, "ash-1", "ash", "tin-7", 2.0, 1.5, 30.0)
HARVEST = Harvest(T0 + 90_000_000, T0 + 90_000_500, "ash-1", 0.8, None)
RUNG = Transition(
    T0 + 60_000,
    Alarm(
        id="air-stopped:ash",
        rule="air-stopped",
        subject="ash",
        priority=Priority.HIGH,
        state=AlarmState.UNACKNOWLEDGED,
        since=T0,
        changed=T0 + 60_000,
        title="Air stopped in ash",
        text="Since 05:10.",
        todo="Look at the pump.",
        reason="held for 60 s",
    ),
    AlarmState.NORMAL,
    notify=True,
    reason="held for 60 s",
)


def fill(connection: sqlite3.Connection, schema: int, count: int = COUNT) -> None:
    """The same history in the columns of each schema."""
    connection.execute("BEGIN")
    connection.executemany("INSERT INTO series VALUES (?, ?)", enumerate(PROBES, 1))
    connection.execute("INSERT INTO reason VALUES (1, 'it jumped')")
    for number in range(count):
        time, series = T0 + number // 3 * 10_000, number % 3 + 1
        # Every seventh is suspect for reason 1, all have an own time; every fifth came three seconds late.
        mark = (1 << 6 | 1 << 3 | 1) if number % 7 == 6 else 1 << 3
        late = 3_000 if number % 5 == 4 else None
        if schema < 3:
            row = (time, series, 0, 24_000 + number, mark, late, number)
            connection.execute("INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?, ?)", row)
        else:
            at = (time << 21) | series
            packed = (at, 24_000 + number, mark, None if late is None else late // 1000, number)
            connection.execute("INSERT INTO reading (at, milli, mark, late, seq) VALUES (?, ?, ?, ?, ?)", packed)
            connection.execute("INSERT OR IGNORE INTO stale VALUES (?, ?)", (time - time % 900_000, series))
    connection.execute("INSERT INTO slot VALUES (?, 1, 30, 720000)", (T0,))
    connection.execute("INSERT INTO quarantine VALUES (1, 0, 1, ?, 'no number', X'3F3F')", (T0 + 5,))
    connection.execute("INSERT INTO kept VALUES ('lot/tin-7', ?)", (json.dumps({"hatched": 0.8}),))
    entries: tuple[LogEntry, ...] = (START, HARVEST)
    for number, entry in enumerate(entries, 1):
        noted = (number, entry.time, entry.logged, *entry_to_record(entry))
        connection.execute("INSERT INTO event VALUES (?, ?, ?, ?, ?)", noted)
    connection.execute("INSERT INTO alarm VALUES (?, ?)", (RUNG.alarm.id, alarm_to_record(RUNG.alarm)))
    connection.execute("INSERT INTO transition VALUES (1, ?, ?, ?, ?, ?, ?, ?)", transition_to_record(RUNG))
    letter = (
        1,
        1,
        RUNG.alarm.id,
        "phone",
        "Air stopped in ash",
        "Since 05:10.",
        "high",
        T0,
        "c0ffee00",
        "waiting",
        1,
        T0,
    )
    columns = "id, transition_id, alarm, channel, title, body, priority, created, token, state, tries, next_try, error"
    connection.execute(f"INSERT INTO outbox ({columns}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, '')", letter)  # noqa: S608
    connection.execute("COMMIT")


def build(path: Path, schema: int, count: int = COUNT) -> None:
    """A store of this schema at ``path``."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA auto_vacuum = INCREMENTAL")
    connection.execute("PRAGMA journal_mode = WAL").fetchall()
    migrate(connection, path, T0, MIGRATIONS[:schema])
    fill(connection, schema, count)
    connection.close()


def dump(path: Path) -> str:
    """The file as SQL, its two numbers in the header too."""
    connection = sqlite3.connect(path)
    (schema,) = connection.execute("PRAGMA user_version").fetchone()
    text = "\n".join(connection.iterdump())
    connection.close()
    return f"PRAGMA application_id = {APPLICATION_ID};\nPRAGMA user_version = {schema};\n{text}\n"


def main(folder: str) -> None:
    for migration in MIGRATIONS:
        target = HERE / f"schema-{migration.number}.sql"
        if not target.exists():
            path = Path(folder) / f"{migration.number}.sqlite3"
            build(path, migration.number)
            target.write_text(dump(path), "utf-8")


if __name__ == "__main__":
    main(sys.argv[1])
