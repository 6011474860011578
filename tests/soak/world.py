"""The world of a soak in a process of its own, so that its memory is not taken for the monitor's: readings on its output.

    python -m tests.soak.world 90 60 60 | ...

The second number is the second of the scenario to begin with, the third how often each probe tells. Each reading is a
little-endian record: seconds since the scenario began, number of the probe, thousandths of the value or 1 and 0 for air.
"""

from __future__ import annotations

import struct
import sys
from typing import Final

from simulator.feed import Feed
from simulator.world import World
from tests.month.scenario import DAY_S, LEAD_DAYS
from tests.soak.season import season

RECORD: Final = struct.Struct("<iHi")
STRETCH_S: Final = 600
BEGIN_S: Final = -LEAD_DAYS * DAY_S + 60


def main(days: int, begin_s: int, every_s: int) -> None:
    plan = season(days, every_s)
    places = {probe.id: nth for nth, probe in enumerate(plan.probe)}
    feed = Feed(World(plan), begin_s)
    for goal in range(begin_s + STRETCH_S, days * DAY_S, STRETCH_S):
        told = bytearray()
        for one in feed.until(goal):
            value = int(one.value == "on") if isinstance(one.value, str) else round(one.value * 1000)
            told += RECORD.pack(one.offset_s, places[one.probe.id], value)
        sys.stdout.buffer.write(told)
    sys.stdout.buffer.flush()


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
