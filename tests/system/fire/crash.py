"""Faults against: an accepted reading survives a crash; and every alarm transition is told, whenever the process is ended.

Ended means SIGKILL: at each place of ``monitor.failpoint``, and at random moments.
"""

from __future__ import annotations

import json
import signal
import sqlite3
import time
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Final

from monitor.cli.client import Client
from monitor.failpoint import Point
from monitor.store.aside import mark_damaged
from monitor.store.backup import faults_of
from monitor.store.backups import BackupFolder
from monitor.store.schema import MIGRATIONS
from tests.system.daemon import configuration, send, until, water
from tests.system.fire.fault import Fault
from tests.system.fire.speaker import readings
from tests.system.fire.traffic import in_use

if TYPE_CHECKING:
    from tests.system.fire.fault import Ground
    from tests.system.quick import QuickDaemon

KILLS: Final = 10  # at random moments in one try
OLDEST: Final = Path(__file__).parents[2] / "adapters/store/released/schema-1.sql"
RELEASED: Final = (
    "SELECT time, series, milli, seq FROM reading ORDER BY time, series, milli",
    "SELECT id, time, kind, fields FROM event ORDER BY id",
    "SELECT id, time, alarm, after FROM transition ORDER BY id LIMIT 1",
)
"""What of that store is written alike in all schemas; the run adds transitions of its own."""

UPDATING: Final = (
    Point.BACKUP_COPIED,
    Point.BACKUP_NAMED,
    Point.BEFORE_MIGRATION_COMMIT,
    Point.MIGRATED,
)
TIDYING: Final = (Point.BEFORE_UPKEEP_COMMIT, Point.UPKEEP_COMMITTED)
OFTEN: Final = (Point.BEFORE_COMMIT, Point.COMMITTED, Point.BEFORE_ACKNOWLEDGING, Point.ACKNOWLEDGED)
"""Reached many times a second: any of the first of them may be the one."""
NOW_AND_THEN: Final = (
    Point.COMMAND_TAKEN,
    Point.COMMAND_SAVED,
    Point.COMMAND_ANSWERED,
    Point.BEFORE_HAND_OVER,
    Point.BEFORE_SENDING,
    Point.SENT,
    Point.STRUCK_OFF,
    Point.PLAN_FOUND,
    Point.PLAN_TAKEN,
)
BEGINNING_ANEW: Final = (Point.PUT_ASIDE, Point.MIGRATED, Point.BEGUN_ANEW)
TRIED: Final = (*OFTEN, *NOW_AND_THEN, *UPDATING, *TIDYING, *BEGINNING_ANEW)


def killed_at_each_place(ground: Ground) -> None:
    """In a shed in use: what the broker and the keeper were told is kept, once; all air that stops is told."""
    daemon, traffic = in_use(ground)
    daemon.kill()
    places = [*OFTEN, *NOW_AND_THEN]
    ground.random.shuffle(places)
    with traffic:
        for place in places:
            traffic.stop_air()
            times = ground.random.randint(1, 9) if place in OFTEN else 1
            _dies_at(daemon, f"{place}:{times}")
        daemon.start()
        traffic.settle()


def killed_at_random_moments(ground: Ground) -> None:
    """While it starts or in the second after, in a shed in use: the same is true."""
    daemon, traffic = in_use(ground)
    with traffic:
        for _ in range(KILLS):
            traffic.stop_air()
            time.sleep(ground.random.uniform(0.0, 1.0))
            daemon.kill()
            daemon.start(ready=ground.random.random() < 0.75)
        until(daemon.answers)
        traffic.settle()


def killed_while_it_updates(ground: Ground) -> None:
    """An older store is brought up to date all the same, nothing of it is lost, and every backup that has a name is whole."""
    broker = ground.broker()
    daemon = ground.quick_daemon(configuration(broker.url, water("ash")))
    daemon.store.parent.mkdir()
    with closing(sqlite3.connect(daemon.store)) as connection:
        connection.executescript(OLDEST.read_text())
    old = [daemon.rows(query) for query in RELEASED]
    for place in UPDATING:
        _dies_at(daemon, place)
        assert daemon.rows("PRAGMA integrity_check") == [("ok",)]
    daemon.start()
    assert daemon.rows("PRAGMA user_version") == [(MIGRATIONS[-1].number,)]
    assert daemon.terminate() == 0
    assert [daemon.rows(query) for query in RELEASED] == old
    folder = BackupFolder.of(daemon.store)
    backups = folder.all()
    assert backups, "no backup was made ahead of the update"
    assert [faults_of(one.path) for one in backups] == [[]] * len(backups)


def killed_while_it_tidies_up(ground: Ground) -> None:
    """What was rolled up stays true of the readings, each of which is there once."""
    broker = ground.broker()
    daemon = ground.quick_daemon(configuration(broker.url, water("ash")))
    simulated = ("--sim-epoch", "2026-02-03T06:00:00Z", "--sim-speed", "3600", "--sim-anchor", f"{time.time():.3f}")
    daemon.start(*simulated)
    until(daemon.connected)
    values = list(range(20_000, 20_400))
    send(broker, readings(values), 0.002)
    until(lambda: daemon.stored("ash-water") == values, "not all readings were stored")
    daemon.kill()
    for place in TIDYING:
        _dies_at(daemon, place, *simulated)
    daemon.start(*simulated)
    until(lambda: daemon.rows("SELECT count(*) FROM stale") == [(0,)], "not all is rolled up")
    assert daemon.terminate() == 0
    assert daemon.stored("ash-water") == values
    assert daemon.rows("PRAGMA integrity_check") == [("ok",)]
    quarters = "SELECT slot, count, total, low, high FROM rollup_quarter ORDER BY slot"
    from_readings = """SELECT time - time % 900000 AS quarter, count(*), sum(milli), min(milli), max(milli)
        FROM reading WHERE (mark & 7) IN (0, 4) GROUP BY quarter ORDER BY quarter"""
    assert daemon.rows(quarters) == daemon.rows(from_readings) != []


def killed_while_it_begins_anew(ground: Ground) -> None:
    """A damaged store gives its log to a new one all the same, and stands aside once."""
    broker = ground.broker()
    daemon = ground.quick_daemon(configuration(broker.url, water("ash")))
    daemon.start()
    with Client(daemon.config) as keeper:
        keeper.post("/tins/tin-7/weighed", {"grams": 41.5})
    assert daemon.terminate() == 0
    ((page,),) = daemon.rows("SELECT rootpage FROM sqlite_schema WHERE name = 'rollup_day'")
    with daemon.store.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\xa5" * 4096)
    mark_damaged(daemon.store)
    for place in BEGINNING_ANEW:
        _dies_at(daemon, place)
    daemon.start()
    assert len(list(daemon.store.parent.glob("*.aside-*Z"))) == 1
    assert daemon.terminate() == 0
    assert [json.loads(fields)["grams"] for (fields,) in daemon.rows("SELECT fields FROM event")] == [41.5]
    ((anew,),) = daemon.rows("SELECT value FROM kept WHERE key = 'run/anew'")
    assert json.loads(anew)["log_taken"] is True
    assert daemon.rows("PRAGMA integrity_check") == [("ok",)]


def _dies_at(daemon: QuickDaemon, place: str, *arguments: str) -> None:
    """Start it, to end itself there."""
    daemon.fail_at = place
    daemon.start(*arguments, ready=False)
    try:
        code = daemon.wait()
    except TimeoutError:
        raise AssertionError(f"{place} was not reached:\n{daemon.log}") from None
    daemon.fail_at = ""
    assert code == -signal.SIGKILL, f"at {place} it ended with {code}:\n{daemon.log}"


FAULTS: Final = (
    Fault("SIGKILL at random moments", "crash", killed_at_random_moments, long=50, each=KILLS),
    Fault("SIGKILL at each place", "told", killed_at_each_place, long=20, each=len(OFTEN) + len(NOW_AND_THEN)),
    Fault("SIGKILL in an update", "crash", killed_while_it_updates, each=len(UPDATING)),
    Fault("SIGKILL in a new beginning", "crash", killed_while_it_begins_anew, each=len(BEGINNING_ANEW)),
    Fault("SIGKILL while tidying up", "crash", killed_while_it_tidies_up, each=len(TIDYING)),
)
