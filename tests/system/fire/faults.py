"""All faults."""

from __future__ import annotations

from typing import Final

from tests.system.fire import crash, stopping, tasks

FAULTS: Final = (*crash.FAULTS, *stopping.FAULTS, *tasks.FAULTS)
