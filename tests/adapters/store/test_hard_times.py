from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from monitor.core.model import Reading
from monitor.store import DiskFull, Store, StoreInUse, integrity

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.model import Transition

HERE = Path(__file__).parent
ROOT = HERE.parents[2]
T0 = 1_770_000_000_000
ROUNDS = 20

NEW_ROOT = ["unshare", "--map-root-user", "--mount"]


def may_mount() -> bool:
    """Whether this machine lets us make a small disk of our own."""
    if shutil.which("unshare") is None:
        return False
    trial = [*NEW_ROOT, "mount", "-t", "tmpfs", "-o", "size=64k", "none", "/mnt"]
    return subprocess.run(trial, check=False, capture_output=True).returncode == 0


def run_trial(command: list[str]) -> None:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, check=False, capture_output=True, text=True, env=environment)
    assert done.returncode == 0, done.stderr


def killed_writer(path: Path, first: int, lines: int) -> int:
    """Start a writer, kill it some time after so many commits, and give back the last number it said was saved."""
    command = [sys.executable, str(HERE / "endless_writer.py"), str(path), str(first)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as child:
        assert child.stdout is not None
        said = [child.stdout.readline() for _ in range(lines)]
        time.sleep(random.uniform(0, 0.02))  # noqa: S311  (any instant will do)
        child.send_signal(signal.SIGKILL)
        said += child.stdout.readlines()
    return int([line for line in said if line.endswith("\n")][-1])


def test_a_killed_process_loses_nothing_it_had_committed(path: Path) -> None:
    """Killed at any instant, again and again: every committed reading is there exactly once and the file is sound."""
    saved = -1
    for turn in range(ROUNDS):
        saved = killed_writer(path, saved + 1, lines=1 + turn % 7)
        assert integrity(path) == []
        with Store.open(path) as store:
            found = [reading.seq for reading in store.readings(0)]
            assert found == list(range(len(found)))
            assert len(found) > saved
            assert store.delivered_before(saved % 65_535 + 1, b"%d" % saved)
            assert len(store.undelivered()) == len(store.transitions(0))
            assert store.alarms() == [store.transitions(0)[-1].alarm]


def test_no_file_may_grow(path: Path) -> None:
    """When writing fails everything goes on from memory, and is written without a restart when writing works again."""
    run_trial([sys.executable, str(HERE / "disk_trial.py"), str(path), "file-size"])


@pytest.mark.skipif(not may_mount(), reason="this machine does not let us mount a small disk")
def test_a_full_disk_still_takes_alarms(tmp_path: Path) -> None:
    """On a full disk alarms are saved with the space set aside for them, even over a restart; readings wait."""
    script = 'mount -t tmpfs -o size=6m none "$1" && exec "$2" "$3" "$1/swimup.db" small-disk'
    trial = str(HERE / "disk_trial.py")
    run_trial([*NEW_ROOT, "sh", "-c", script, "trial", str(tmp_path), sys.executable, trial])


def limit_pages(store: Store, more: int) -> None:
    (pages,) = store._connection.execute("PRAGMA page_count").fetchone()
    store._connection.execute(f"PRAGMA max_page_count = {pages + more}").fetchone()


def add(store: Store, count: int, first: int = 0) -> None:
    for step in range(first, first + count):
        store.add(Reading("ash-water", T0 + step, 24_000, arrived=T0 + step))


def test_ten_thousand_readings_wait_and_then_the_oldest_give_way(
    store: Store, transition: Callable[..., Transition]
) -> None:
    """A live alarm beats a complete record: beyond 10 000 unsaved readings the oldest go, counted; alarms never do."""
    limit_pages(store, 1)
    store.put_alarm(transition())
    add(store, 5_000)
    with pytest.raises(DiskFull, match="Readings wait in memory; free some space"):
        store.commit()
    add(store, 5_050, first=5_000)
    assert store.lost == 50
    assert next(store.readings(0)).time == T0 + 50
    assert len(store.alarms()) == 1
    with pytest.raises(DiskFull):
        store.commit()
    limit_pages(store, 10_000)
    assert store.commit() >= 10_000
    assert [reading.time - T0 for reading in store.readings(0)] == list(range(50, 10_050))
    assert len(store.transitions(0)) == 1


def test_of_a_burst_no_more_gives_way_than_must(store: Store) -> None:
    """What came in one millisecond goes one by one, the first first; what is left of it is written, and more of it taken."""

    def burst(numbers: range) -> None:
        for number in numbers:
            store.add(Reading("ash-water", T0, number, arrived=T0))

    limit_pages(store, 1)
    burst(range(200))
    add(store, 4_800, first=1)
    with pytest.raises(DiskFull):
        store.commit()
    add(store, 5_100, first=4_801)
    assert store.lost == 100
    burst(range(200, 210))
    assert store.lost == 110
    limit_pages(store, 10_000)
    assert store.commit() >= 10_000
    assert [reading.milli for reading in store.readings(0, T0 + 1)] == list(range(110, 210))


def test_a_busy_stretch_is_not_cut_short(store: Store) -> None:
    """As long as the disk takes everything nothing gives way, however much comes between two commits."""
    add(store, 10_050)
    assert store.commit() == 10_050
    assert store.lost == 0


def test_another_program_that_holds_the_file_only_delays(path: Path, store: Store) -> None:
    """A backup that locks the file makes a commit wait, fail for a time, and lose nothing."""
    store._connection.execute("PRAGMA busy_timeout = 10").fetchone()
    add(store, 3)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreInUse) as refused:
            store.commit()
        assert refused.value.transient
        other.execute("ROLLBACK")
    assert store.commit() == 3
