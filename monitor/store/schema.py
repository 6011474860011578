"""The tables, as numbered migrations. A migration that was released is never edited; a new one is added below it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor import failpoint
from monitor.core.light import light
from monitor.failpoint import Point
from monitor.store.errors import SchemaTooNew, StoreCorrupt, StoreError

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable
    from pathlib import Path

    from monitor.core.model import Ms

APPLICATION_ID = 0x5377696D
"""Marks the file as ours for ``file`` and for the check at opening."""


@light
class Migration:
    number: int
    name: str
    statements: tuple[str, ...]


FIRST = Migration(
    1,
    "first",
    (
        "CREATE TABLE series (id INTEGER PRIMARY KEY, probe TEXT NOT NULL UNIQUE)",
        "CREATE TABLE reason (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE)",
        # Clustered by time: one commit of many probes touches neighbouring pages, which is what spares a memory card.
        # `mark` packs quality (bits 0-2), own time (3), air state (4-5: 0 none, 1 stopped, 2 running, 3 weak) and reason (6-)
        # because every column costs a byte in every row. `late` is arrival minus time.
        """CREATE TABLE reading (
             time INTEGER NOT NULL, series INTEGER NOT NULL, n INTEGER NOT NULL,
             milli INTEGER NOT NULL, mark INTEGER NOT NULL, late INTEGER, seq INTEGER,
             PRIMARY KEY (time, series, n)) WITHOUT ROWID""",
        """CREATE VIEW plain_reading AS
             SELECT strftime('%Y-%m-%dT%H:%M:%SZ', reading.time / 1000, 'unixepoch') AS utc, reading.time, series.probe,
                    reading.n, reading.milli / 1000.0 AS value, reading.mark & 7 AS quality,
                    CASE (reading.mark >> 4) & 3 WHEN 1 THEN 'stopped' WHEN 2 THEN 'running' WHEN 3 THEN 'weak' END
                    AS air,
                    (reading.mark >> 3) & 1 AS own_time, reading.seq, reason.text AS reason
             FROM reading JOIN series ON series.id = reading.series
             LEFT JOIN reason ON reason.id = reading.mark >> 6""",
        """CREATE TABLE slot (
             slot INTEGER NOT NULL, series INTEGER NOT NULL, count INTEGER NOT NULL, total INTEGER NOT NULL,
             PRIMARY KEY (slot, series)) WITHOUT ROWID""",
        # `place` goes round, so that a probe that only sends rubbish rewrites its own few rows.
        """CREATE TABLE quarantine (
             series INTEGER NOT NULL, place INTEGER NOT NULL, nth INTEGER NOT NULL, time INTEGER NOT NULL,
             reason TEXT NOT NULL, payload BLOB NOT NULL, PRIMARY KEY (series, place)) WITHOUT ROWID""",
        "CREATE TABLE delivery (id INTEGER PRIMARY KEY, entries BLOB NOT NULL)",
        "CREATE TABLE kept (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID",
        """CREATE TABLE event (
             id INTEGER PRIMARY KEY, time INTEGER NOT NULL, logged INTEGER NOT NULL, kind TEXT NOT NULL,
             fields TEXT NOT NULL)""",
        "CREATE INDEX event_logged ON event (logged, id)",
        "CREATE TABLE alarm (id TEXT PRIMARY KEY, fields TEXT NOT NULL) WITHOUT ROWID",
        """CREATE TABLE transition (
             id INTEGER PRIMARY KEY, time INTEGER NOT NULL, alarm TEXT NOT NULL, before TEXT NOT NULL,
             after TEXT NOT NULL, notify INTEGER NOT NULL, reason TEXT NOT NULL, fields TEXT NOT NULL)""",
        "CREATE INDEX transition_time ON transition (time)",
        """CREATE TABLE outbox (
             id INTEGER PRIMARY KEY, transition_id INTEGER REFERENCES transition (id), alarm TEXT NOT NULL,
             channel TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL, priority TEXT NOT NULL,
             created INTEGER NOT NULL, token TEXT NOT NULL, state TEXT NOT NULL, tries INTEGER NOT NULL,
             next_try INTEGER NOT NULL, told INTEGER, error TEXT NOT NULL)""",
        "CREATE INDEX outbox_state ON outbox (state, created)",
    ),
)

SECOND = Migration(
    2,
    "letters that wait and are merged",
    (
        "ALTER TABLE outbox ADD COLUMN kind TEXT NOT NULL DEFAULT 'trouble'",
        # Before `hold` it does not go, for `cause`, which `why` says in words. `hold` and `went` (when it was handed out) are
        # in the engine's time, which may be simulated; `created`, `next_try` and `told` are real.
        "ALTER TABLE outbox ADD COLUMN hold INTEGER NOT NULL DEFAULT 0",
        "ALTER TABLE outbox ADD COLUMN cause TEXT NOT NULL DEFAULT 'now'",
        "ALTER TABLE outbox ADD COLUMN why TEXT NOT NULL DEFAULT ''",
        "ALTER TABLE outbox ADD COLUMN went INTEGER",
        # What it tells of each alarm, as JSON.
        "ALTER TABLE outbox ADD COLUMN parts TEXT NOT NULL DEFAULT '[]'",
        # The letter that tells it instead. No REFERENCES: after a clock was set back, the newer of the two may be cleared away
        # first, and that must stop no commit.
        "ALTER TABLE outbox ADD COLUMN merged_into INTEGER",
        "CREATE INDEX outbox_created ON outbox (created)",
    ),
)

THIRD = Migration(
    3,
    "roll-ups, and estimates as they were told",
    (
        "DROP VIEW plain_reading",
        "ALTER TABLE reading RENAME TO reading_before",
        # `at` is time, n (8 bits) and series (13 bits) in one number: columns less save a byte each in every row, and only a
        # table by number fills its pages to the brim when rows come in order. A span of time is a span of `at`; the virtual
        # columns are for reading only, a search by them goes through the whole table. `late` is in whole seconds from here on.
        """CREATE TABLE reading (
             at INTEGER PRIMARY KEY, milli INTEGER NOT NULL, mark INTEGER NOT NULL, late INTEGER, seq INTEGER,
             time INTEGER GENERATED ALWAYS AS (at >> 21) VIRTUAL,
             series INTEGER GENERATED ALWAYS AS (at & 8191) VIRTUAL,
             n INTEGER GENERATED ALWAYS AS ((at >> 13) & 255) VIRTUAL)""",
        """INSERT OR IGNORE INTO reading (at, milli, mark, late, seq)
             SELECT (time << 21) | (n << 13) | series, milli, mark,
                    late / 1000 - (late % 1000 < 0), seq FROM reading_before
             WHERE series < 8192 AND n < 256 AND time >= -(1 << 42) AND time < 1 << 42 ORDER BY time, n, series""",
        "DROP TABLE reading_before",
        """CREATE VIEW plain_reading AS
             SELECT strftime('%Y-%m-%dT%H:%M:%SZ', reading.time / 1000, 'unixepoch') AS utc, reading.time, series.probe,
                    reading.n, reading.milli / 1000.0 AS value, reading.mark & 7 AS quality,
                    CASE (reading.mark >> 4) & 3 WHEN 1 THEN 'stopped' WHEN 2 THEN 'running' WHEN 3 THEN 'weak' END
                    AS air,
                    (reading.mark >> 3) & 1 AS own_time, reading.seq, reason.text AS reason
             FROM reading JOIN series ON series.id = reading.series
             LEFT JOIN reason ON reason.id = reading.mark >> 6""",
        # Clustered by series: a trend reads its own pages only. They are written about once an hour, since each flush touches
        # a page of every series and table; until then a quarter-hour that changed is in `stale` and is read from the readings.
        # `slot` is the ms at which it begins; total, low and high are thousandths, of usable readings only.
        *(
            f"""CREATE TABLE rollup_{name} (
             series INTEGER NOT NULL, slot INTEGER NOT NULL, count INTEGER NOT NULL, total INTEGER NOT NULL,
             low INTEGER, high INTEGER, suspect INTEGER NOT NULL, stopped INTEGER NOT NULL, weak INTEGER NOT NULL,
             PRIMARY KEY (series, slot)) WITHOUT ROWID"""
            for name in ("minute", "quarter", "day")
        ),
        "CREATE TABLE stale (slot INTEGER NOT NULL, series INTEGER NOT NULL, PRIMARY KEY (slot, series)) WITHOUT ROWID",
        "INSERT INTO stale SELECT DISTINCT time - time % 900000, series FROM reading",
        # What is older was cleared away: of readings ('raw'), of minutes ('minute').
        "CREATE TABLE horizon (kind TEXT PRIMARY KEY, time INTEGER NOT NULL) WITHOUT ROWID",
        """CREATE TABLE told_estimate (
             id INTEGER PRIMARY KEY, batch TEXT NOT NULL, time INTEGER NOT NULL, fields TEXT NOT NULL)""",
        "CREATE INDEX told_estimate_batch ON told_estimate (batch, id)",
    ),
)

FOURTH = Migration(
    4,
    "what time-series servers have got",
    (
        # All up to here: `reading` is an `at`, the others are ids.
        """CREATE TABLE sink (
             id TEXT PRIMARY KEY, reading INTEGER NOT NULL, told INTEGER NOT NULL, transition_id INTEGER NOT NULL)""",
        # Minutes that got readings after they had been sent. `mark` is another one each time, so that what is struck off is
        # what was sent.
        """CREATE TABLE resend (
             sink TEXT NOT NULL, slot INTEGER NOT NULL, series INTEGER NOT NULL, mark INTEGER NOT NULL,
             PRIMARY KEY (sink, slot, series)) WITHOUT ROWID""",
    ),
)

MIGRATIONS: tuple[Migration, ...] = (FIRST, SECOND, THIRD, FOURTH)


def migrate(
    connection: sqlite3.Connection,
    path: Path,
    now: Ms,
    migrations: tuple[Migration, ...] = MIGRATIONS,
    before: Callable[[int], None] | None = None,
) -> int:
    """Bring the file to the newest schema; give back how many migrations were applied.

    ``connection`` must be in autocommit mode. All that are due are one transaction together with their record: whenever it is
    killed, the file has the old schema or the new one. ``before`` is called with the schema found when an older store is about
    to be changed. Raises SchemaTooNew, or StoreError for another program's file.
    """
    (found,) = connection.execute("PRAGMA user_version").fetchone()
    _check_ours(connection, path, found)
    newest = migrations[-1].number
    if found > newest:
        raise SchemaTooNew(
            f"{path}: the store has schema {found}, this version knows schemas up to {newest}. Install the version "
            "that wrote it (or a newer one), or give another path in [store]; nothing was changed."
        )
    due = [migration for migration in migrations if migration.number > found]
    if not due:
        return 0
    if found and before is not None:
        before(found)
    connection.execute("BEGIN IMMEDIATE")
    try:
        for migration in due:
            _apply(connection, migration, now)
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    failpoint.reach(Point.BEFORE_MIGRATION_COMMIT)
    connection.execute("COMMIT")
    failpoint.reach(Point.MIGRATED)
    return len(due)


def _check_ours(connection: sqlite3.Connection, path: Path, found: int) -> None:
    (mark,) = connection.execute("PRAGMA application_id").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    if mark == APPLICATION_ID:
        if found == 0 and tables:
            raise StoreCorrupt(f"{path}: the store carries our mark but no schema number. Restore it from a backup.")
        return
    if mark or tables:
        raise StoreError(f"{path}: the file is a database of another program. Give another path in [store].")


def _apply(connection: sqlite3.Connection, migration: Migration, now: Ms) -> None:
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(
        "CREATE TABLE IF NOT EXISTS migration "
        "(number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied INTEGER NOT NULL)"
    )
    for statement in migration.statements:
        connection.execute(statement)
    connection.execute("INSERT INTO migration VALUES (?, ?, ?)", (migration.number, migration.name, now))
    connection.execute(f"PRAGMA user_version = {migration.number}")
