"""All faults."""

from __future__ import annotations

from typing import Final

from tests.system.fire import clocks, disk, hang, nights, stopping

FAULTS: Final = (*stopping.FAULTS, *disk.FAULTS, *clocks.FAULTS, *nights.FAULTS, *hang.FAULTS)
