"""What must not grow in a long run, and how that is told from noise."""

from __future__ import annotations

import re
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.trail import KEEP_HOURS
from monitor.core.why import KEPT
from monitor.intake.connection import MOST_OWED, MOST_UNSETTLED
from monitor.store.sequences import REMEMBERED

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tests.soak.watch import Sample

RECORD: Final = re.compile(r"\.state\.(batches|broods|cold_stores|food|lots|sown)\b")
"""What the engine holds of the log of its newest sixty days; every other place must not grow at all."""
PROBES: Final = 30
OWED: Final = MOST_OWED + 2000  # messages on their way, or waiting for a commit, at most; the latter of one read
ALARMS: Final = 100  # that can ring in that room, and some
FULL: Final = {
    re.compile(r"_windows\[\]\._seen$"): PROBES * REMEMBERED,
    re.compile(r"_windows\[\]\._seen\[\]$"): 2 * PROBES * REMEMBERED,
    re.compile(r"\.trail\._hours$"): PROBES * KEEP_HOURS,
    re.compile(r"\.trail\._hours\[\]$"): 2 * PROBES * KEEP_HOURS,
    re.compile(r"\._waiting(\[\])*$"): 5 * OWED,  # fields of a row
    re.compile(r"_shelves\[\]\._new(\[\])*$"): 2 * OWED,  # deliveries, and what else waits for the next commit
    re.compile(r"\.(unacknowledged|_inputs|acks|_order\._told)(\[\])*$"): OWED,
    re.compile(r"\._(unsettled|out_messages|out_packet)\b"): 5 * MOST_UNSETTLED,  # letters of ours on the way; fields
    re.compile(r"\._decisions\._kept\[\]$"): ALARMS * KEPT,
    re.compile(r"\._(view|document)\b"): 5_000,
}
"""What fills and empties all the time, tables that take days to fill, and how much they hold at most; documents for the page
are as long as the room is busy."""
SHARE: Final = 0.1


@dataclass(frozen=True, slots=True)
class Limits:
    """``mb_a_million`` is None where a run is too short for a slope; ``more_mb`` then bounds what is held more at its end.

    ``a_batch``: until sixty days have passed each batch may leave so many things in all places of RECORD together.
    ``noise``: so many things more in a place in the last third than in the first are no growth, nor is a tenth of what was there;
    common practice, no source.
    """

    warm_up: float = 1 / 3
    mb_a_million: float | None = 1.0
    more_mb: float = 16.0
    wal_mb: float = 32.0
    a_batch: float = 200.0
    noise: int = 50


def settled(samples: Sequence[Sample], warm_up: float) -> list[Sample]:
    """Those after the warm-up, by readings."""
    last = samples[-1].readings
    return [sample for sample in samples if sample.readings >= warm_up * last]


def slope(samples: Sequence[Sample]) -> float:
    """Resident memory over readings by least squares, MB a million."""
    readings = np.array([sample.readings / 1e6 for sample in samples])
    held = np.array([sample.rss_mb for sample in samples])
    return float(np.polyfit(readings, held, 1)[0])


def thirds(samples: Sequence[Sample]) -> tuple[Sequence[Sample], Sequence[Sample]]:
    """The first third and the last."""
    third = max(len(samples) // 3, 1)
    return samples[:third], samples[-third:]


def full(way: str) -> int:
    """How much may lie in a place whatever lay there before."""
    return next((most for place, most in FULL.items() if place.search(way)), 0)


def growth(samples: Sequence[Sample], noise: int) -> dict[str, tuple[int, int]]:
    """Places that hold more in the last third than in the first by more than noise: the medians of both."""
    first, last = thirds(samples)
    found: dict[str, tuple[int, int]] = {}
    for way in last[-1].sizes.keys() | first[0].sizes.keys():
        before = round(median(sample.sizes.get(way, 0) for sample in first))
        after = round(median(sample.sizes.get(way, 0) for sample in last))
        if after - before > max(noise, SHARE * before) and after > full(way):
            found[way] = before, after
    return found


def broken(samples: Sequence[Sample], limits: Limits) -> list[str]:
    """Each limit that was not kept, in words; empty when all were."""
    later = settled(samples, limits.warm_up)
    if len(later) < 6:
        return [f"only {len(later)} looks after the warm-up: too few to tell anything"]
    first, last = thirds(later)
    found = [*_memory(later, limits), *_grown(later, limits)]
    for name in ("handles", "threads", "children"):
        before, after = (max(getattr(sample, name) for sample in some) for some in (first, last))
        if after > before:
            found.append(f"{name}: {before} at most in the first third, {after} in the last")
    wal = max(sample.wal_mb for sample in samples)
    if wal > limits.wal_mb:
        found.append(f"the store's log was {wal:.1f} MB; at most {limits.wal_mb:g}")
    return found


def _memory(later: Sequence[Sample], limits: Limits) -> list[str]:
    first, last = thirds(later)
    more = median(sample.rss_mb for sample in last) - median(sample.rss_mb for sample in first)
    if limits.mb_a_million is None:
        return [] if more < limits.more_mb else [f"it holds {more:.1f} MB more; at most {limits.more_mb:g}"]
    steep = slope(later)
    if steep < limits.mb_a_million:
        return []
    return [f"memory grows by {steep:.2f} MB a million readings; at most {limits.mb_a_million:g}"]


def _grown(later: Sequence[Sample], limits: Limits) -> list[str]:
    first, last = thirds(later)
    batches = median(sample.batches for sample in last) - median(sample.batches for sample in first)
    grown = growth(later, limits.noise)
    record = {way: sizes for way, sizes in grown.items() if RECORD.search(way)}
    more = sum(after - before for before, after in record.values())
    found = []
    if more > limits.a_batch * max(batches, 0):
        found.append(f"the log takes {more} things more for {batches:g} batches: {_worst(record)}")
    if len(record) < len(grown):
        found.append(f"more lies in {_worst({way: sizes for way, sizes in grown.items() if way not in record})}")
    return found


def _worst(grown: dict[str, tuple[int, int]]) -> str:
    worst = sorted(grown.items(), key=lambda item: item[1][0] - item[1][1])[:8]
    return "; ".join(f"{way} {before} -> {after}" for way, (before, after) in worst)
