"""What a tin holds of cysts that hatch, as it is known: told by the keeper, learned from its batches, or usual of its strain."""

from __future__ import annotations

from statistics import NormalDist
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from monitor.core.cost import TinFacts
from monitor.core.hatch import LOT_COORDINATES, Prior
from monitor.core.lots import Lot

if TYPE_CHECKING:
    from monitor.core.log_food import Tin

CYSTS_PER_G: Final = 250_000.0
"""Of any cysts; about what strains' figures lie around, see the table of strains."""
_SHARE: Final = LOT_COORDINATES.index("share")
_LEVELS: Final = (0.1, 0.5, 0.9)


def hatching(prior: Prior) -> tuple[float, float, float]:
    """Low, likely and high (central 80 %) of the share of all cysts that hatches."""
    sd = float(np.sqrt((prior.factor @ prior.factor.T)[_SHARE, _SHARE])) * prior.share_logit_sd
    mean = prior.share_logit_mean + prior.share_logit_sd * float(prior.mean[_SHARE])
    low, mid, high = (_logistic(mean + NormalDist().inv_cdf(level) * sd) for level in _LEVELS)
    return low, mid, high


def _logistic(value: float) -> float:
    return float(1 / (1 + np.exp(-value)))


def facts(
    lot: str,
    told: Tin | None,
    known: dict[str, Any] | None,
    strain: str,
    label: float | None,
    cysts_per_g: float | None,
) -> TinFacts:
    """``told`` by the keeper goes before the configuration; ``known`` is ``Lot.document()``, None for one never hatched."""
    price, batches = None, 0
    if told is not None:
        strain, cysts_per_g = strain or told.strain, told.cysts_per_g or cysts_per_g
        label = label if told.label_hatch_percent is None else told.label_hatch_percent
        if told.price is not None and told.grams:
            price = told.price / told.grams
    prior = Prior.of_label(label)
    if known:
        try:
            learned = Lot.from_document(known)
        except (KeyError, ValueError):  # another version's: it starts anew
            pass
        else:
            prior, batches = learned.prior, learned.batches
    return TinFacts(
        id=lot,
        price_per_g=price,
        cysts_per_g=cysts_per_g or CYSTS_PER_G,
        share=hatching(prior),
        strain=strain,
        batches=batches,
    )
