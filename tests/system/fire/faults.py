"""All faults."""

from __future__ import annotations

from typing import Final

from tests.system.fire import clocks, crash, disk, hang, network, nights, order, stale, stopping, tasks, told
from tests.system.fire import input as bad_input

FAULTS: Final = (
    *crash.FAULTS,
    *tasks.FAULTS,
    *network.FAULTS,
    *order.FAULTS,
    *stale.FAULTS,
    *bad_input.FAULTS,
    *told.FAULTS,
    *disk.FAULTS,
    *clocks.FAULTS,
    *nights.FAULTS,
    *hang.FAULTS,
    *stopping.FAULTS,
)
