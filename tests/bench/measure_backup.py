"""What the nightly backup costs the commits that go on meanwhile; prints a table for people.

    python -m tests.bench.measure_backup

One thread commits six readings and a note every 20 ms, as the thread of decisions does, idle, during a backup of a store of three
million readings, and idle again. Nothing here is asserted: a loaded machine measures itself.
"""

from __future__ import annotations

import sqlite3
import statistics
import tempfile
import time
from contextlib import closing
from pathlib import Path
from typing import Final

from monitor.core.model import Reading
from monitor.service.backing import Backer, Plan
from monitor.service.clock import SystemClock
from monitor.store import Store
from monitor.store.backups import BackupFolder
from monitor.store.rotation import Stay
from tests.bench.markdown import line, say

READINGS: Final = 3_000_000
BEAT_S: Final = 0.02
IDLE_S: Final = 8.0
T0: Final = 1_770_000_000_000


def fill(path: Path) -> None:
    with Store.open(path, now=T0) as store:
        store.add(Reading("ash-water", T0, 24_000))
        store.commit()
    rows = (((T0 + number * 1_000) << 21 | 1, 24_000, 8, number) for number in range(1, READINGS))
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.executemany("INSERT OR IGNORE INTO reading (at, milli, mark, seq) VALUES (?, ?, ?, ?)", rows)


class Beats:
    """Commits one after the other; ``number`` goes on over all of them."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._number = 10_000_000

    def beat(self) -> float:
        """One commit; how long it took, ms."""
        began = time.monotonic()
        for _ in range(6):
            self._store.add(Reading("birch-water", T0 + self._number * 1_000, 24_000, own_time=True))
            self._number += 1
        self._store.keep("bench", str(self._number))
        self._store.commit()
        return (time.monotonic() - began) * 1_000

    def idle(self) -> list[float]:
        took: list[float] = []
        end = time.monotonic() + IDLE_S
        while time.monotonic() < end:
            took.append(self.beat())
            time.sleep(BEAT_S)
        return took

    def beside(self, backer: Backer) -> list[float]:
        took: list[float] = []
        backer.start()
        backer.wake()
        while (known := backer.health()) is None or known.good is None:
            took.append(self.beat())
            time.sleep(BEAT_S)
        return took


def row(name: str, took: list[float]) -> list[str]:
    took = sorted(took)
    places = [statistics.median(took), took[int(0.95 * len(took))], took[int(0.99 * len(took))], took[-1]]
    return [name, str(len(took)), *(f"{place:.1f}" for place in places)]


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shed.sqlite3"
        fill(path)
        with Store.open(path) as store:
            beats = Beats(store)
            backer = Backer(path, Plan(BackupFolder.of(path), 210, Stay(), "UTC"), SystemClock())
            rows = [row("idle", beats.idle())]
            began = time.monotonic()
            rows.append(row("during the backup", beats.beside(backer)))
            lasted = time.monotonic() - began
            rows.append(row("idle again", beats.idle()))
            backer.stop(10)
        size = path.stat().st_size / 1e6
    say(f"{size:.0f} MB were copied and verified in {lasted:.0f} s. Milliseconds a commit:\n")
    line("", "commits", "half", "95 %", "99 %", "longest")
    line("---", *["---:"] * 5)
    for cells in rows:
        line(*cells)


if __name__ == "__main__":
    main()
