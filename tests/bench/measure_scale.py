"""What a shed costs that is far larger than any: 10 to 1000 vessels with a batch each; prints Markdown.

    python -m tests.bench.measure_scale
    python -m tests.bench.measure_scale --level 17 --sizes 1000

The second is a shed so cold that no water can be heated: where no probe tells the room, the vessels tell it to each other.
The real supervisor with its store, engine, rules and page, in virtual time: each vessel's water and air are told every 10 s, one
message a turn of its loop, over five minutes in which an hour begins. Only the broker is missing. Each size has a process of its
own, bound to one core. Nothing here is asserted.
"""

from __future__ import annotations

import argparse
import json
import logging
import os
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from monitor.core.log import Seen, Sight, Start
from monitor.core.model import HOUR, SECOND, SLOT, BrokerLink, Measures, ProbeSpec
from monitor.intake.binding import Binding
from monitor.intake.incoming import Incoming
from monitor.intake.link import Link
from monitor.service.supervisor import Supervisor
from monitor.service.wiring import Wiring
from tests.logs import only
from tests.unit.core.worlds import T0, probe, site

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from monitor.core.model import Ms, SiteSpec
    from monitor.store.history import Columns

SIZES: Final = (10, 30, 100, 300, 1000)
EVERY: Final = 10  # s, of each probe
WARM: Final = 20  # s before the count begins, so that every probe has spoken and every batch was reckoned
LASTS: Final = 300  # s that are counted: one slot ends in them, and one hour
BEGIN: Final[Ms] = T0 // HOUR * HOUR + HOUR - (WARM + LASTS // 2) * SECOND
HISTORY_H: Final = 40
OLDEST_H: Final = 34
LEVEL_C: Final = 24.0
LOOKS: Final = ((16.0, Sight.NONE), (21.0, Sight.FIRST), (25.0, Sight.SOME))
PARTS: Final = ("a reading", "the tick", "estimates", "the bench's document", "commits")
PROMISED_SHARE, PROMISED_EXPONENT, PROMISED_SECOND_MS = 0.60, 1.05, 1000


class VirtualClock:
    """Stands still unless it is moved."""

    speed = None

    def __init__(self, begin: Ms) -> None:
        self._now = begin

    def move(self, to: Ms) -> None:
        self._now = to

    def now(self) -> Ms:
        return self._now

    def wall(self) -> Ms:
        return self._now

    def steady(self) -> float:
        return self._now / SECOND

    def jumped(self) -> None:
        return None


def celsius(hours: float, number: int, level: float) -> float:
    """A room by day and night, each vessel a little different."""
    return level + number % 7 / 4 + 1.5 * float(np.sin(2 * np.pi * hours / 24))


def names(vessels: int) -> list[str]:
    return [f"v{number}" for number in range(vessels)]


def large_shed(vessels: int) -> SiteSpec:
    probes: dict[str, ProbeSpec] = {}
    for vessel in names(vessels):
        for measures in (Measures.WATER, Measures.AIR):
            name = f"{vessel}-{measures.value}"
            probes[name] = probe(name, measures, vessel, every=EVERY * SECOND)
    return site(*names(vessels), probes=probes)


def bound(spec: SiteSpec) -> list[Binding]:
    return [
        Binding(f"shed/{name}", name, "number", one.measures, is_word=one.measures is Measures.AIR)
        for name, one in spec.probes.items()
    ]


class Driven(Supervisor):
    """A supervisor whose broker and clock are this measurement."""

    def __init__(self, wiring: Wiring, clock: VirtualClock, level: float) -> None:
        super().__init__(wiring)
        self._level = level
        self._virtual = clock
        self.spent: dict[str, float] = defaultdict(float)
        self.turns: list[float] = []
        self.document_bytes = 0

    def _recall(self, columns: Columns | None) -> None:
        """Two nights of every probe, and a batch in each vessel, of every age."""
        super()._recall(columns)
        engine, vessels = self._engine, list(self._w.site.vessels)
        for number, vessel in enumerate(vessels):
            slots = [(BEGIN // SLOT - k) * SLOT for k in range(HISTORY_H * HOUR // SLOT, 0, -1)]
            water = [(slot, 30, 30 * round(1000 * celsius(slot / HOUR, number, self._level))) for slot in slots]
            engine.recall_past(f"{vessel}-water", water)
            engine.recall_past(f"{vessel}-air", [(slot, 30, 30_000) for slot in slots])
            age_h = 1 + OLDEST_H * number / len(vessels)
            begun = BEGIN - round(age_h * HOUR)
            engine.recall_entry(Start(begun, begun, f"b{number}", vessel, "tin-7", 1.0, 1.0, 25.0))
            for hour, sight in LOOKS:
                if hour < age_h:
                    seen = begun + round(hour * HOUR)
                    engine.recall_entry(Seen(seen, seen, f"b{number}", sight))

    def _work(self) -> None:
        self.last_tick = self._clock.steady()
        self._carrier.carry(self._engine.step(BrokerLink(self._clock.now(), up=True)))
        self._second(BEGIN)
        for batch in self._engine.open_batches():  # after a start each look is weighed anew: not what is measured here
            self._engine.estimate(batch, self._clock.now())
        for turn in range(1, WARM):
            self._second(BEGIN + turn * SECOND)
        self._watch()
        began = time.process_time()
        for turn in range(WARM, WARM + LASTS):
            since = time.thread_time()
            self._second(BEGIN + turn * SECOND)
            self.turns.append(time.thread_time() - since)
        self.spent["all"] = time.process_time() - began
        self.document_bytes = len(json.dumps(self.desk.bench()))

    def _second(self, now: Ms) -> None:
        """What the loop does in a second in which these messages come one after the other."""
        messages = list(self._messages(now))
        for k, message in enumerate(messages):
            self._virtual.move(now + k * SECOND // len(messages))
            self._inputs.put(message)
            self._take_inputs(0.0)
            self._teller.run()
            self._committer.look()
        self._virtual.move(now + SECOND - 1)
        self._tick()
        self._teller.run()
        self._committer.look()

    def _messages(self, now: Ms) -> Iterator[Incoming]:
        turn = now // SECOND
        for number, name in enumerate(self._w.site.probes):
            if (number // 2 - turn) % EVERY:
                continue
            told = f"{celsius(now / HOUR, number // 2, self._level):.3f}" if name.endswith("-water") else "on"
            mid = (turn * len(self._w.site.probes) + number) % 65_000 + 1
            yield Incoming(f"shed/{name}", told.encode(), 1, False, False, mid, now, False, 1, 1)

    def _watch(self) -> None:
        """From now on, what takes how long."""
        teller, ingest = self._teller, self._ingest
        for owner, name, part in (
            (ingest, "take", "a reading"),
            (self, "_tick", "the tick"),
            (teller, "_reckon", "estimates"),
            (teller, "_show", "the bench's document"),
            (self._committer, "commit", "commits"),
        ):
            setattr(owner, name, self._timed(getattr(owner, name), part))

    def _timed(self, work: Callable[..., Any], part: str) -> Callable[..., Any]:
        def timed(*given: Any) -> Any:
            began = time.thread_time()
            try:
                return work(*given)
            finally:
                self.spent[part] += time.thread_time() - began

        return timed


def resident_mb() -> float:
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS:")) / 1024


def one_size(vessels: int, level: float) -> dict[str, Any]:
    """Run it here; milliseconds of processor time a simulated second by part, and what else is worth telling."""
    only(logging.CRITICAL)
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    before, clock, spec = resident_mb(), VirtualClock(BEGIN), large_shed(vessels)
    with tempfile.TemporaryDirectory() as folder:
        link = Link("127.0.0.1", 1, "scale")  # nobody is there
        wiring = Wiring(spec, bound(spec), link, [], str(Path(folder) / "s.sqlite3"), 60_000, clock)
        driven = Driven(wiring, clock, level)
        driven.run()
    found: dict[str, Any] = {part: 1000 * spent / LASTS for part, spent in driven.spent.items()}
    found["longest"] = 1000 * max(driven.turns)
    found["memory"] = resident_mb() - before
    found["document"] = driven.document_bytes
    return found


def in_its_own_process(vessels: int, level: float) -> dict[str, Any]:
    command = [sys.executable, "-m", "tests.bench.measure_scale", "--only", str(vessels), "--level", str(level)]
    done = subprocess.run(command, stdout=subprocess.PIPE, check=True, text=True)
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def line(*cells: str) -> None:
    sys.stdout.write("| " + " | ".join(cells) + " |\n")
    sys.stdout.flush()


def table(sizes: tuple[int, ...], level: float) -> None:
    line("vessels", "of a core", *(f"{part}, ms/s" for part in PARTS), "longest second", "memory", "document")
    line(*["---:"] * (len(PARTS) + 5))
    whole: dict[int, float] = {}
    longest = 0.0
    for vessels in sizes:
        found = in_its_own_process(vessels, level)
        whole[vessels], longest = found["all"], max(longest, found["longest"])
        parts = (f"{found.get(part, 0.0):.1f}" for part in PARTS)
        rest = f"{found['longest']:.0f} ms", f"{found['memory']:.0f} MB", f"{found['document'] / 1000:.0f} kB"
        line(str(vessels), f"{found['all'] / 10:.1f} %", *parts, *rest)
    share, most = whole[sizes[-1]] / 1000, sizes[-1]
    kept = "holds" if share < PROMISED_SHARE else "does NOT hold"
    sys.stdout.write(f"\n{most} vessels on less than {PROMISED_SHARE:.0%} of a core: {share:.1%}, {kept}.\n")
    kept = "holds" if longest <= PROMISED_SECOND_MS else "does NOT hold"
    sys.stdout.write(f"No second took more than {longest:.0f} ms (at most {PROMISED_SECOND_MS}): {kept}.\n")
    if len(sizes) > 1:
        exponent = float(np.polyfit(np.log(sizes), np.log([whole[n] for n in sizes]), 1)[0])
        kept = "holds" if exponent <= PROMISED_EXPONENT else "does NOT hold"
        sys.stdout.write(f"The cost grows with the vessels to the power of {exponent:.2f} (at most ")
        sys.stdout.write(f"{PROMISED_EXPONENT}): {kept}.\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", type=int, help="this size alone, as JSON")
    parser.add_argument("--sizes", type=int, nargs="+", default=list(SIZES))
    parser.add_argument("--level", type=float, default=LEVEL_C, help="of the water, C (default: %(default)s)")
    asked = parser.parse_args()
    if asked.only is not None:
        sys.stdout.write(json.dumps(one_size(asked.only, asked.level)))
        return
    table(tuple(asked.sizes), asked.level)


if __name__ == "__main__":
    main()
