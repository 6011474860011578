"""Which tin is the cheapest for what swims of it, as far as that can be told."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core.cost_batch import MILLION
from monitor.core.food import RINSED_SHARE
from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.cost_batch import TinFacts


@light
class Offer:
    """A million live nauplii of a tin in cysts alone: likely, and the range that its learned hatch leaves open."""

    lot: str
    strain: str
    lo: float
    mid: float
    hi: float
    batches: int


def offers(tins: Iterable[TinFacts]) -> tuple[Offer, ...]:
    """What a million live nauplii of each tin with a price costs in cysts, the cheapest first."""
    found = []
    for tin in tins:
        if tin.price_per_g is None:
            continue
        low, mid, high = (_million(tin, share) for share in tin.share)
        found.append(Offer(tin.id, tin.strain, high, mid, low, tin.batches))
    return tuple(sorted(found, key=lambda offer: (offer.mid, offer.lot)))


def _million(tin: TinFacts, share: float) -> float:
    return (tin.price_per_g or 0.0) / (tin.cysts_per_g * max(share, 1e-3) * RINSED_SHARE) * MILLION


def apart(first: Offer, second: Offer) -> bool:
    """Whether what is known of two tins is enough to tell that the first is cheaper."""
    return first.hi < second.lo
