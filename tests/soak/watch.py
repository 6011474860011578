"""What a long run is watched for: what the process holds, and how much lies in every container the service owns."""

from __future__ import annotations

import gc
import os
import sys
import time
from collections import Counter, deque
from dataclasses import dataclass, field
from pathlib import Path
from queue import SimpleQueue
from types import FrameType, ModuleType
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

OURS: Final = ("monitor.", "paho.")
PAGE_MB: Final = os.sysconf("SC_PAGE_SIZE") / 1e6
FLAT: Final = (str, bytes, int, float, type(None))


@dataclass(frozen=True, slots=True)
class Sample:
    """One look. ``sizes``: things in all containers of one place in the program, by that place."""

    readings: int
    real_s: float
    cpu_s: float
    rss_mb: float
    handles: int
    threads: int
    children: int
    wal_mb: float
    store_mb: float
    batches: int
    sizes: dict[str, int] = field(default_factory=dict)


def look(readings: int, batches: int, store: Path, roots: Iterable[object]) -> Sample:
    """Now. Garbage is collected first: what only waits for that is no leak."""
    gc.collect()
    return Sample(
        readings=readings,
        real_s=time.monotonic(),
        cpu_s=time.process_time(),
        rss_mb=int(Path("/proc/self/statm").read_text().split()[1]) * PAGE_MB,
        handles=_entries("/proc/self/fd") - 1,  # one of them is this very look
        threads=_entries("/proc/self/task"),
        children=children(),
        wal_mb=_size_mb(store.with_name(store.name + "-wal")),
        store_mb=_size_mb(store),
        batches=batches,
        sizes=sizes(roots) | caches(),
    )


def _entries(folder: str) -> int:
    return sum(1 for _ in Path(folder).iterdir())


def children() -> int:
    """Processes that this one has started and not yet buried."""
    lists = Path("/proc/self/task").glob("*/children")
    return sum(len(one.read_text().split()) for one in lists)


def written_mb() -> tuple[float, float]:
    """Handed to the system for writing so far, and what of it went to a disk (nothing where the folder lies in memory)."""
    words = dict(line.split(": ") for line in Path("/proc/self/io").read_text().splitlines())
    return int(words["wchar"]) / 1e6, int(words["write_bytes"]) / 1e6


def _size_mb(path: Path) -> float:
    return path.stat().st_size / 1e6 if path.exists() else 0.0


def sizes(roots: Iterable[object]) -> dict[str, int]:
    """How many things lie in each container that can be reached from these objects through objects of ours.

    The key is the way to it; those of like containers in a container are added up; an array
    counts for one and each thousand numbers in it for one more. So nothing has to be named to be watched.
    """
    roots = list(roots)
    first = {id(root) for root in roots}
    found: Counter[str] = Counter()
    seen: set[int] = set()
    stack: list[tuple[str, Any]] = [(type(root).__name__, root) for root in roots]
    while stack:
        way, one = stack.pop()
        if isinstance(one, FLAT) or id(one) in seen:
            continue
        seen.add(id(one))
        if isinstance(one, np.ndarray):
            found[way] += 1 + one.size // 1000
        elif isinstance(one, SimpleQueue):
            found[way] += one.qsize()
        elif isinstance(one, (dict, list, tuple, set, frozenset, deque)):
            found[way] += len(one)
            stack += [(f"{way}[]", inner) for inner in _inside(one)]
        elif id(one) in first or any(kind.__module__.startswith(OURS) for kind in type(one).__mro__):
            stack += [(f"{way}.{name}", value) for name, value in _attributes(one)]
    return dict(found)


def _inside(one: Any) -> list[Any]:
    """A copy; other threads may be at work in it."""
    for _ in range(20):
        try:
            return list(one.values() if isinstance(one, dict) else one)
        except RuntimeError:
            continue
    return []


def _attributes(one: object) -> Iterator[tuple[str, Any]]:
    yield from list(getattr(one, "__dict__", {}).items())
    for kind in type(one).__mro__:
        slots = kind.__dict__.get("__slots__", ())
        for name in (slots,) if isinstance(slots, str) else slots:
            if hasattr(one, name):
                yield name, getattr(one, name)


def caches() -> dict[str, int]:
    """What functions of ours remember, and what lies in the containers of their modules."""
    found: dict[str, int] = {}
    for name, module in list(sys.modules.items()):
        if name.startswith("monitor.") and isinstance(module, ModuleType):
            for word, one in list(vars(module).items()):
                if hasattr(one, "cache_info"):
                    found[f"{name}:{word}"] = one.cache_info().currsize
                elif isinstance(one, (dict, list, set, deque)) and not word.startswith("__"):
                    found[f"{name}:{word}"] = len(one)
    return found


def living(*names: str) -> list[object]:
    """All objects of these classes that threads have in their own variables, where nothing else leads to them."""
    found: dict[int, object] = {}
    for last in sys._current_frames().values():
        frame: FrameType | None = last
        while frame is not None:
            ours = (one for one in frame.f_locals.values() if type(one).__module__.startswith(OURS))
            found |= {id(one): one for one in ours if type(one).__name__ in names}
            frame = frame.f_back
    return list(found.values())
