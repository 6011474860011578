"""Five years of eight probes at 10 s, put into a store as the daemon would have left it.

    python -m tests.bench.five_years STORE.sqlite3 [--years 5] [--raw-days 60] [--until 2026-03-01T00:00:00Z]

The readings are made up: a room with days and seasons, water that follows it, pumps that stop now and then. They go into the
table of readings some days at a time, in bulk, since nobody has five years to wait; roll-ups and clearing are the product's own.
About a quarter of an hour on one core for the five years.
"""

from __future__ import annotations

import argparse
import sqlite3
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.model import DAY, SECOND
from monitor.store import Keep, Store
from monitor.store.records import TIME_SHIFT
from monitor.store.rollups import QUARTER
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from monitor.core.model import Ms

PROBES: Final = (
    "ash-water",
    "birch-water",
    "cedar-water",
    "ash-air",
    "birch-air",
    "cedar-air",
    "shed-room",
    "fridge-store",
)
EVERY: Final[Ms] = 10 * SECOND
CHUNK: Final[Ms] = 10 * DAY
OWN_TIME: Final = 8


def values(probe: int, times: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Thousandths and marks of one probe's readings at ``times`` (ms)."""
    days = times / DAY
    name = PROBES[probe]
    if name.endswith("air"):
        stopped = np.sin(days * 1.7 + probe) > 0.9995
        weak = np.sin(days * 0.31 + probe) > 0.998
        state = np.where(stopped, 0, np.where(weak, 2, 1))
        return np.choose(state, [0, 1000, 199]), OWN_TIME | (state + 1) << 4
    noise = rng.normal(0, 60, times.size)
    room = 15_000 + 5_000 * np.sin(2 * np.pi * days / 365.25) + 2_500 * np.sin(2 * np.pi * days)
    level = {"shed-room": room, "fridge-store": 4_000 + 300 * np.sin(days * 40)}.get(
        name, 0.35 * room + 18_500 + 200 * probe
    )
    milli = np.rint(level + noise)
    spike = rng.random(times.size) < 1e-4
    return np.where(spike, 85_000, milli), np.where(spike, OWN_TIME | 1, OWN_TIME)


def add_chunk(connection: sqlite3.Connection, begin: Ms, end: Ms, rng: np.random.Generator) -> None:
    """All readings from ``begin`` to ``end`` in one transaction, each probe a little after the one before it."""
    times = np.arange(begin, end, EVERY)
    columns = []
    for probe in range(len(PROBES)):
        milli, mark = values(probe, times, rng)
        columns.append(np.stack([(times + probe * 100) << TIME_SHIFT | probe + 1, milli.astype(int), mark.astype(int)]))
    rows = np.stack(columns, axis=2).reshape(3, -1)  # in order of time
    connection.execute("BEGIN")
    connection.executemany(
        "INSERT INTO reading (at, milli, mark, late) VALUES (?, ?, ?, 0)", zip(*rows.tolist(), strict=True)
    )
    slots = range(begin, end, QUARTER)
    connection.executemany(
        "INSERT INTO stale VALUES (?, ?)", [(slot, n + 1) for slot in slots for n in range(len(PROBES))]
    )
    connection.execute("COMMIT")


def load(path: Path, years: float, until: Ms, keep: Keep) -> None:
    """Make the store at ``path``; progress goes to standard error. Raises FileExistsError."""
    if path.exists():
        raise FileExistsError(path)
    began = time.monotonic()
    begin = (until - round(years * 365.25 * DAY)) // DAY * DAY
    rng = np.random.default_rng(5)
    with Store.open(path, now=begin) as store:
        bulk = sqlite3.connect(path, isolation_level=None)
        bulk.execute("PRAGMA synchronous = OFF")
        bulk.executemany("INSERT INTO series VALUES (?, ?)", [(n + 1, probe) for n, probe in enumerate(PROBES)])
        for chunk in range(begin, until, CHUNK):
            end = min(chunk + CHUNK, until)
            add_chunk(bulk, chunk, end, rng)
            while store.roll_up(end):
                pass
            while store.clear(end, keep):
                pass
            share = (end - begin) / (until - begin)
            spent = time.monotonic() - began
            left = spent / share - spent
            sys.stderr.write(f"\r{'#' * round(30 * share):30} {share:6.1%}, about {left / 60:.0f} min left ")
            sys.stderr.flush()
        bulk.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        bulk.close()
    sys.stderr.write(f"\n{path}: {path.stat().st_size / 1e6:.0f} MB after {(time.monotonic() - began) / 60:.1f} min\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("store", type=Path)
    parser.add_argument("--years", type=float, default=5.0)
    parser.add_argument("--raw-days", type=int, default=60)
    parser.add_argument("--until", default="2026-03-01T00:00:00Z")
    asked = parser.parse_args()
    load(asked.store, asked.years, rfc3339(asked.until), Keep(asked.raw_days * DAY))


if __name__ == "__main__":
    main()
