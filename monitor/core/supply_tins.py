"""Whether a tin has gone bad since it was last seen hatching: one damp spoon is no drift, and all its batches share it.

Of a tin that has begun to fall nobody knows where it stops, so it is not relied on alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.hatch import Prior
from monitor.core.lots import Lot
from monitor.core.supply_draws import uniforms

if TYPE_CHECKING:
    from monitor.core.food import LotHeld
    from monitor.core.hatch import Array

BAD_CHANCE: Final = 0.01
"""That a tin which has shown nothing has gone bad; an assumption."""
BAD_KEEPS: Final = (0.1, 0.6)  # of what it gave; an assumption
FALLING_CHANCE: Final = 0.5
"""That a tin whose newest batches were clearly worse goes on falling; an assumption."""
FALLING_KEEPS: Final = (0.4, 1.0)  # of what was learned of it; an assumption


def prior_of(lot: LotHeld) -> Prior:
    """What is believed of the next batch of a tin."""
    return Lot.from_document(lot.known).before_next() if lot.known else Prior.of_label(None)


def keeps(lot: LotHeld, scenarios: int, seed: int) -> Array:
    """What a tin still gives, as a share of what was learned of it; shape (scenarios,), the same for all its batches."""
    chance, (least, most) = (FALLING_CHANCE, FALLING_KEEPS) if lot.falling else (BAD_CHANCE, BAD_KEEPS)
    level = uniforms(seed, f"goes bad {lot.id}", scenarios)
    return np.where(level < chance, least + (most - least) * level / chance, 1.0)


def likely_share(lot: LotHeld) -> float:
    """Of its cysts, so many can be counted on to hatch: as learned, or as on its label, less what a falling tin may lose."""
    share = prior_of(lot).likely_share
    return share * (1 - FALLING_CHANCE * (1 - sum(FALLING_KEEPS) / 2)) if lot.falling else share
