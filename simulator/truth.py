"""The truth beside the readings, as JSON lines.

``{"what": "outcome", "batch", "vessel", "tin", "strain", "law", "median_h", "viable", "start", "t10", "t50", "t90",
"until"}``: one per batch, first in the file, from looking ahead; t10..t90 are shares of the viable cysts, null when
not reached by ``until``.
``{"what": "vessel", "time", "vessel", "room_c", "water_c", "oxygen_mg_l", "pump"}`` and
``{"what": "batch", "time", "batch", "hatched", "alive"}``: every 10 simulated minutes; shares are of all cysts.
"""

from __future__ import annotations

import json
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from simulator.payload import instant
from simulator.world import STEP_S

if TYPE_CHECKING:
    from simulator.world import Trace, World

EVERY_S = 600
LOOK_AHEAD_S = 96 * 3600


def outcomes(world: World, until_s: float) -> list[dict[str, Any]]:
    """Look ahead to ``until_s`` (or as far as there is weather) in a copy of the world: how each batch comes out."""
    ahead = world.fork()
    ahead.advance(min(until_s, world.weather.ends_s // STEP_S * STEP_S))
    start_ms = world.scenario.start_ms

    def moment(offset_s: float | None) -> str | None:
        return None if offset_s is None else instant(start_ms + round(offset_s * 1000))

    lines = []
    strains = {tin.id: tin.strain for tin in world.scenario.tin}
    for brood in ahead.broods:
        population, spec = brood.population, brood.spec
        lines.append(
            {
                "what": "outcome",
                "batch": spec.id,
                "vessel": spec.vessel,
                "tin": spec.tin,
                "strain": strains[spec.tin],
                "law": population.traits.law,
                "median_h": round(population.median_h, 3),
                "viable": round(population.viable / population.count, 4),
                "start": moment(spec.at),
                **{name: moment(population.when(share)) for name, share in (("t10", 0.1), ("t50", 0.5), ("t90", 0.9))},
                "until": moment(ahead.offset_s),
            }
        )
    return lines


class TruthFile:
    """Writes the truth as the world goes on; ``since_s`` is where its rows begin."""

    def __init__(self, file: IO[str], world: World, since_s: int) -> None:
        self._file = file
        self._world = world
        self._next_s = -(-since_s // EVERY_S) * EVERY_S

    def foretell(self, until_s: float) -> None:
        """Write one outcome line per batch."""
        for line in outcomes(self._world, until_s):
            self._write(line)

    def take(self, trace: Trace) -> None:
        """Write the rows of one stretch."""
        for row, offset_s in enumerate(trace.offset_s):
            if offset_s >= self._next_s and offset_s % EVERY_S == 0:
                self._row(trace, row, instant(self._world.scenario.start_ms + round(offset_s) * 1000))
                self._next_s = int(offset_s) + EVERY_S
        self._file.flush()

    def _row(self, trace: Trace, row: int, time: str) -> None:
        for column, vessel in enumerate(self._world.vessels):
            self._write(
                {
                    "what": "vessel",
                    "time": time,
                    "vessel": vessel.id,
                    "room_c": round(float(trace.room_c[row]), 4),
                    "water_c": round(float(trace.water_c[row, column]), 4),
                    "oxygen_mg_l": round(float(trace.oxygen_mg_l[row, column]), 4),
                    "pump": round(float(trace.strength[row, column]), 3),
                }
            )
        for column, brood in enumerate(self._world.broods):
            if not np.isnan(trace.hatched[row, column]):
                shares = {"hatched": trace.hatched[row, column], "alive": trace.alive[row, column]}
                told = {name: round(float(share), 4) for name, share in shares.items()}
                self._write({"what": "batch", "time": time, "batch": brood.spec.id, **told})

    def _write(self, line: dict[str, Any]) -> None:
        self._file.write(json.dumps(line) + "\n")
