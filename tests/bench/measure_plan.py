"""What planning takes: a room of 6 vessels, 4 tins and 6 broods, 14 days ahead; prints Markdown.

    python -m tests.bench.measure_plan

Ten rooms that differ; wall clock and processor time on this machine. Nothing here is asserted.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.pantry_codec import to_json
from monitor.planner.run import plan_in_child
from monitor.planner.table import Table
from monitor.planner.work import SCENARIOS, SEED, problem_of, work_out
from tests.bench.markdown import say
from tests.unit.planner.rooms import room

if TYPE_CHECKING:
    from monitor.core.food import Pantry

ROOMS: Final = 10


@dataclass(frozen=True, slots=True)
class Measured:
    problem_s: float
    solve_s: float
    all_s: float
    processor_s: float
    options: int
    cells: int
    gap: float
    sure: bool
    unmet: int


def varied(number: int) -> Pantry:
    """A room whose water, broods and prices are its own."""
    dice = np.random.default_rng(number)
    whole = room(vessels=6, tins=4, broods=6, days=14)
    return replace(
        whole,
        vessels=tuple(replace(v, water_c=tuple(c + float(dice.normal()) for c in v.water_c)) for v in whole.vessels),
        broods=tuple(replace(b, larvae=b.larvae * float(dice.uniform(0.6, 1.5))) for b in whole.broods),
        lots=tuple(replace(t, price_per_g=float(dice.uniform(0.1, 0.4))) for t in whole.lots),
    )


def measure(number: int) -> Measured:
    pantry = varied(number)
    begun = time.perf_counter()
    problem = problem_of(pantry, SCENARIOS, SEED, 4.0)
    problem_s = time.perf_counter() - begun
    pantry = replace(pantry, salinity_g_l=pantry.salinity_g_l)  # another object: nothing of it is known yet
    begun, used = time.perf_counter(), time.process_time()
    worked = work_out(pantry)
    return Measured(
        problem_s=problem_s,
        solve_s=worked.choice.seconds,
        all_s=time.perf_counter() - begun,
        processor_s=time.process_time() - used,
        options=len(problem.options),
        cells=Table.of(problem).pools.need.size,
        gap=worked.choice.gap,
        sure=worked.choice.sure,
        unmet=len(worked.choice.unmet),
    )


def child() -> tuple[float, float, float]:
    """Seconds to a plan of a small room, to the start of an empty child, and the most memory a child held, MB."""
    begun = time.perf_counter()
    plan_in_child(varied(0), 120, 1024)
    whole = time.perf_counter() - begun
    begun = time.perf_counter()
    code = [sys.executable, "-c", "import monitor.planner.work"]
    subprocess.run(code, check=True, env={**os.environ, "OPENBLAS_NUM_THREADS": "1"})
    return whole, time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def main() -> None:
    found = [measure(number) for number in range(ROOMS)]
    say("| | median | worst |\n|---|---|---|")
    for name, told in (
        ("options and what they give, s", [one.problem_s for one in found]),
        ("optimiser, s", [one.solve_s for one in found]),
        ("all of a look ahead, s", [one.all_s for one in found]),
        ("all of it, processor, s", [one.processor_s for one in found]),
        ("options", [one.options for one in found]),
        ("cells (scenario, pool)", [one.cells for one in found]),
        ("gap, %", [100 * one.gap for one in found]),
        ("meals nothing makes full", [one.unmet for one in found]),
    ):
        say(f"| {name} | {statistics.median(told):.2f} | {max(told):.2f} |")
    say(f"\nFewest short meals proven in {sum(one.sure for one in found)} of {ROOMS} rooms.")
    whole, start, memory = child()
    say(
        f"Child: {whole:.1f} s to a plan, {start:.1f} s to load; {memory:.0f} MB at most, of {len(to_json(varied(0)))} bytes."
    )


if __name__ == "__main__":
    main()
