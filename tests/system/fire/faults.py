"""All faults."""

from __future__ import annotations

from typing import Final

from tests.system.fire import stopping

FAULTS: Final = (*stopping.FAULTS,)
