"""How long a trend takes, beside a scan of the readings, and what the record costs on the card; prints tables for people.

python -m tests.bench.five_years five.sqlite3 --raw-days 365
python -m tests.bench.measure_record five.sqlite3
"""

from __future__ import annotations

import argparse
import sqlite3
import statistics
import tempfile
import time
from collections import defaultdict
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final

from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Reading
from monitor.store import Store
from monitor.store.record import Record
from monitor.store.records import begin_of
from tests.bench.markdown import say

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.model import Ms

SPANS: Final = {
    "1 hour": HOUR,
    "6 hours": 6 * HOUR,
    "1 day": DAY,
    "1 week": 7 * DAY,
    "30 days": 30 * DAY,
    "90 days": 90 * DAY,
    "180 days": 180 * DAY,
    "1 year": 365 * DAY,
    "2 years": 730 * DAY,
    "5 years": 1826 * DAY,
}
TIMES: Final = 5
RATE: Final = 10  # readings a second


def timed(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return 1000 * (time.perf_counter() - began)


def trends(path: Path) -> None:
    record = Record(path)
    probes = record.probes()
    end = max(probe.last or 0 for probe in probes) + 15 * MINUTE
    say(f"{len(probes)} probes, {path.stat().st_size / 1e6:.0f} MB. Server time of one trend, at most 2000 points:\n")
    say("| span | from | points | median ms | worst ms |\n|---|---|---|---|---|")
    for name, span in SPANS.items():
        spent: list[float] = []
        points = 0
        steps: set[str] = set()
        for probe in probes:
            for back in (0, 37 * DAY):
                work = partial(record.trend, probe.id, end - back - span, end - back)
                spent += [timed(work) for _ in range(TIMES)]
                trend = record.trend(probe.id, end - back - span, end - back)
                points = max(points, len(trend.points))
                steps.add(trend.step.value)
        say(f"| {name} | {', '.join(sorted(steps))} | {points} | {statistics.median(spent):.1f} | {max(spent):.1f} |")
    scan(path, record, probes[0].id, end)


def scan(path: Path, record: Record, probe: str, end: Ms) -> None:
    """The same picture from the readings alone, as long as they reach."""
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as connection:
        (oldest,) = connection.execute("SELECT time FROM reading ORDER BY at LIMIT 1").fetchone()
        span = min(365 * DAY, end - oldest)
        width = span // 2000
        query = (
            "SELECT time / :width, count(*), avg(milli), min(milli), max(milli) FROM reading "
            "WHERE series = (SELECT id FROM series WHERE probe = :probe) AND at >= :since GROUP BY 1"
        )
        values = {"width": width, "probe": probe, "since": begin_of(end - span)}
        raw = timed(lambda: connection.execute(query, values).fetchall())
    rolled = statistics.median(timed(lambda: record.trend(probe, end - span, end)) for _ in range(TIMES))
    say(f"\n{span / DAY:.0f} days of one probe: {raw:.0f} ms from the readings, {rolled:.1f} ms from roll-ups,")
    say(f"{raw / rolled:.0f} times faster.")


def written() -> int:
    """Bytes this process has handed to the system for writing."""
    lines = Path("/proc/self/io").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("wchar"))


def card(hours: int, probes: int) -> None:
    """Ten readings a second with a commit a minute and a roll-up an hour, as the daemon does."""
    begin = 1_772_323_200_000
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "s.db", now=begin) as store:
        for number in range(probes):  # the names are there before it begins
            store.add(Reading(f"probe-{number}", begin - 1, 0))
        store.commit()
        store.roll_up(begin + HOUR)
        kinds: dict[str, int] = defaultdict(int)
        step = SECOND // RATE
        count = 0
        for now in range(begin, begin + hours * HOUR, step):
            number = count % probes
            milli = 24_000 + (count * 7919) % 997
            store.add(Reading(f"probe-{number}", now, milli, own_time=True, arrived=now + 40))
            count += 1
            if (now + step) % MINUTE == 0:
                before = written()
                store.commit()
                kinds["commits"] += written() - before
            if (now + step) % HOUR == 0:
                before = written()
                while store.roll_up(now + step):
                    pass
                kinds["roll-ups"] += written() - before
        pages = at_rest(store)
    total = sum(kinds.values())
    size = "not told" if pages is None else f"{pages / count:.1f}"
    say(f"| {probes} | {hours} h | {total / count:.0f} | {kinds['roll-ups'] / count:.0f} | {size} |")


def at_rest(store: Store) -> int | None:
    """Bytes of the readings' table; None where SQLite was built without telling."""
    options = {option for (option,) in store._connection.execute("PRAGMA compile_options")}
    if "ENABLE_DBSTAT_VTAB" not in options:
        return None
    (size,) = store._connection.execute("SELECT sum(pgsize) FROM dbstat WHERE name = 'reading'").fetchone()
    return int(size)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("store", type=Path)
    parser.add_argument("--hours", type=int, default=12)
    asked = parser.parse_args()
    trends(asked.store)
    say("\nTen readings a second, a commit a minute:\n")
    say(
        "| probes | for | bytes written a reading | of them for roll-ups | bytes a stored reading |\n|---|---|---|---|---|"
    )
    for probes in (10, 30, 100):
        card(asked.hours, probes)


if __name__ == "__main__":
    main()
