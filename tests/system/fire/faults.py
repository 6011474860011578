"""All faults."""

from __future__ import annotations

from typing import Final

from tests.system.fire import input as bad_input
from tests.system.fire import network, order, stale, stopping, told

FAULTS: Final = (*stopping.FAULTS, *bad_input.FAULTS, *network.FAULTS, *order.FAULTS, *stale.FAULTS, *told.FAULTS)
