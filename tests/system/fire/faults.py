"""All faults."""

from __future__ import annotations

from typing import Final

from tests.system.fire import network, stale, stopping, told

FAULTS: Final = (*stopping.FAULTS, *network.FAULTS, *stale.FAULTS, *told.FAULTS)
