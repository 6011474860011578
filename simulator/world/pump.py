"""Air pumps: what is left of their strength, and when."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from simulator.scenario.models import Pump
    from simulator.world.numbers import Floats


def strength(pump: Pump | None, offsets_s: Floats) -> Floats:
    """Share of the pump's full air at each offset, 0..1; 0 where there is no pump. The worst failure rules."""
    if pump is None:
        return np.zeros_like(offsets_s, dtype=float)
    left = np.ones_like(offsets_s, dtype=float)
    for failure in pump.failure:
        inside = (offsets_s >= failure.at) & (offsets_s < failure.ends)
        left = np.where(inside, np.minimum(left, failure.strength), left)
    return left
