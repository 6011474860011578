"""What it costs to reckon a batch anew after a reading, and how that grows with the number of batches; prints Markdown.

    python -m tests.bench.measure_estimate

On one core: a batch of a learned tin, 30 h old, four looks in its log, a reading each minute. Nothing here is asserted.
"""

from __future__ import annotations

import os
import statistics
import time
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.log import Harvest, Seen, Sight, Start
from monitor.core.model import HOUR, MINUTE, SECOND
from tests.bench.markdown import line, say
from tests.unit.core.worlds import Shed, site

if TYPE_CHECKING:
    from monitor.core.lots import Lot

AGE_H: Final = 30
LOOKS: Final = ((16.0, Sight.NONE), (21.0, Sight.FIRST), (25.0, Sight.SOME), (29.0, Sight.SOME))
TAUGHT: Final = 5
READINGS: Final = 300
SIZES: Final = (1, 2, 4, 8, 16, 32, 64)
ROUNDS: Final = 15
PROMISED_MS: Final = 3.0


def celsius(hours: float) -> float:
    """A room by day and night."""
    return 24.0 + 1.5 * float(np.sin(2 * np.pi * hours / 24))


def learned() -> Lot:
    """A tin of which some batches were finished."""
    shed = Shed()
    shed.remember("ash-water", AGE_H, celsius).remember("ash-air", AGE_H, lambda _: 1)
    shed.run(MINUTE, 24.0)
    for k in range(TAUGHT):
        batch = f"b{k}"
        shed.do(Start(shed.now - AGE_H * HOUR, shed.now, batch, "ash", "tin", 1.0, 1.0, 25.0))
        shed.do(Seen(shed.now - 6 * HOUR, shed.now, batch, Sight.SOME, 0.3))
        shed.do(Harvest(shed.now, shed.now, batch, 0.65))
    return shed.engine.state.lots["tin"]


def full_shed(vessels: int, lot: Lot) -> Shed:
    """So many batches of that tin, each 30 h old and looked into four times."""
    shed = Shed(site(*(f"v{k}" for k in range(vessels))))
    shed.engine.state.lots["tin"] = lot
    for vessel in shed.site.vessels:
        shed.remember(f"{vessel}-water", 2 * AGE_H, celsius).remember(f"{vessel}-air", 2 * AGE_H, lambda _: 1)
        shed.engine.recall_entry(Start(shed.now - AGE_H * HOUR, shed.now, vessel, vessel, "tin", 1.0, 1.0, 25.0))
        for hour, sight in LOOKS:
            when = shed.now - round((AGE_H - hour) * HOUR)
            shed.engine.recall_entry(Seen(when, when, vessel, sight))
    shed.now += 20 * MINUTE  # what was looked at has settled
    news(shed)
    for vessel in shed.site.vessels:
        shed.engine.estimate(vessel, shed.now)
    return shed


def news(shed: Shed) -> None:
    """A reading of each water probe, not timed."""
    for vessel in shed.site.vessels:
        shed.say(f"{vessel}-water", celsius(shed.now / HOUR))


def timed(shed: Shed) -> float:
    """Milliseconds of processor time for one estimate of each batch; what else the machine does counts little."""
    began = time.process_time()
    for batch in shed.site.vessels:
        shed.engine.estimate(batch, shed.now)
    return (time.process_time() - began) * 1000


def one_batch(lot: Lot) -> tuple[list[float], list[float]]:
    """Milliseconds of each estimate after a new reading, and after a new look as well."""
    shed = full_shed(1, lot)
    after_reading, after_look = [], []
    for k in range(READINGS):
        shed.now += 20 * SECOND
        news(shed)
        after_reading.append(timed(shed))
        if k % 20 == 19:
            belief = shed.engine.state.batches["v0"].belief
            assert belief is not None  # the batch is open
            belief.start_over()  # a look is weighed from the start, as is a reading that comes hours late
            after_look.append(timed(shed))
    return after_reading, after_look


def many(lot: Lot) -> dict[int, float]:
    """Median milliseconds for an estimate of every batch, by the number of batches."""
    found = {}
    for vessels in SIZES:
        shed = full_shed(vessels, lot)
        spent = []
        for _ in range(ROUNDS):
            shed.now += MINUTE
            news(shed)
            spent.append(timed(shed))
        found[vessels] = statistics.median(spent)
    return found


def main() -> None:
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    lot = learned()
    after_reading, after_look = one_batch(lot)
    line("what", "median", "95 of 100 below")
    line("---", "---:", "---:")
    for what, spent in (("after a reading", after_reading), ("after a look, weighed from the start", after_look)):
        line(what, f"{statistics.median(spent):.2f} ms", f"{float(np.quantile(spent, 0.95)):.2f} ms")
    kept = statistics.median(after_reading) <= PROMISED_MS
    say(f"\nAt most {PROMISED_MS:g} ms after a reading: {'holds' if kept else 'does NOT hold'}.\n")
    spent_on = many(lot)
    line("batches", "all of them", "each")
    line("---:", "---:", "---:")
    for vessels, whole in spent_on.items():
        line(str(vessels), f"{whole:.1f} ms", f"{whole / vessels:.2f} ms")
    exponent = float(np.polyfit(np.log(list(spent_on)), np.log(list(spent_on.values())), 1)[0])
    say(f"\nThe cost grows with the number of batches to the power of {exponent:.2f} (1 is linear).")


if __name__ == "__main__":
    main()
