"""What a batch costs: cysts, salt, electricity, oxygen, and the keeper's way at a bad hour."""

from __future__ import annotations

from statistics import fmean
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.light import light
from monitor.core.model import HOUR
from monitor.core.supply_times import keeper_from

if TYPE_CHECKING:
    from monitor.core.food import Costs, LotHeld, Pantry, VesselHeld
    from monitor.core.model import Ms

OXYGEN_L: Final = 2.0
"""Litres of oxygen for a million nauplii: a bag of a litre of water and twice as much gas; common practice, no source."""


@light
class Prices:
    pantry: Pantry
    untold: float  # of a gram of a tin without a price

    def per_g(self, lot: LotHeld) -> float:
        return self.untold if lot.price_per_g is None else lot.price_per_g

    def batch(self, vessel: VesselHeld, lot: LotHeld, grams: float, start: Ms, harvest: float, nauplii: float) -> float:
        """All that it costs, in the site's currency; in grams of cysts where no price at all is known."""
        costs = self.pantry.costs
        salt = vessel.litres * self.pantry.salinity_g_l / 1000 * costs.salt_per_kg
        power = max(harvest - start, 0.0) / HOUR * costs.vessel_w / 1000 * costs.kwh
        oxygen = nauplii / 1e6 * OXYGEN_L * costs.oxygen_per_l if self.pantry.cooled else 0.0
        return grams * self.per_g(lot) + salt + power + oxygen + self._visits(costs, float(start), harvest)

    def _visits(self, costs: Costs, *at: float) -> float:
        there = keeper_from(self.pantry, np.array(at))
        return costs.visit * int((there > np.array(at) + 1).sum())


def prices_of(pantry: Pantry) -> Prices:
    """A tin without a price costs what is told for such, or what the others cost on average."""
    told = _told(pantry)
    untold = pantry.costs.cysts_per_g or (fmean(told) if told else 0.0)
    return Prices(pantry, untold if priced(pantry) else 1.0)


def priced(pantry: Pantry) -> bool:
    """Whether costs are money: without the price of any cysts a gram counts as one, so that fewer are still better."""
    return bool(pantry.costs.cysts_per_g or any(_told(pantry)))


def _told(pantry: Pantry) -> list[float]:
    return [lot.price_per_g for lot in pantry.lots if lot.price_per_g is not None]
