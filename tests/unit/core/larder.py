"""Small pantries for tests of food: one tin, one vessel, water as wanted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.core.food import BatchHeld, Costs, Demand, LotHeld, Meal, Pantry, Source, StoreHeld, VesselHeld
from monitor.core.hatch import LOT_DIMENSIONS, Prior
from monitor.core.lots import Lot
from monitor.core.model import HOUR, LotSpec, Ms
from tests.unit.core.worlds import T0

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

ALWAYS = Costs(there_from=0, there_until=24 * 60)
"""A keeper who is always there."""
NEVER_FAILS = (0, 10**9)


def known(share: float, sure: float = 0.05) -> dict[str, Any]:
    """What is known of a tin of which this share hatches: all its coordinates within ``sure`` of the usual."""
    logit = float(np.log(share / (1 - share)))
    prior = Prior(np.zeros(LOT_DIMENSIONS), sure * np.eye(LOT_DIMENSIONS), logit, 0.4)
    return Lot("tin-8", prior, batches=9).document()


def tin(name: str = "tin-8", **changes: Any) -> LotHeld:
    values: dict[str, Any] = {
        "id": name,
        "strain": "",
        "length_um": None,
        "cysts_per_g": 250_000.0,
        "left_g": None,
        "price_per_g": None,
        "known": Lot.new(LotSpec(name, label_hatch_percent=80)).document(),
    }
    return LotHeld(**(values | changes))


def vessel(name: str = "ash", water_c: float = 25.0, sd_c: float = 1.0, begin: Ms = T0, hours: int = 337) -> VesselHeld:
    return VesselHeld(
        id=name,
        litres=2.0,
        most_g_l=5.0,
        batch="",
        begin=begin,
        water_c=(water_c,) * hours,
        water_sd_c=(sd_c,) * hours,
    )


def fridge(nauplii: float = 0.0, **changes: Any) -> StoreHeld:
    values: dict[str, Any] = {
        "id": "fridge",
        "nauplii": nauplii,
        "lots": ("tin-8",),
        "until": (None, None, None),
        "keeps_h": (30.0, 40.0, 50.0),
    }
    return StoreHeld(**(values | changes))


def pantry(**changes: Any) -> Pantry:
    values: dict[str, Any] = {
        "now": T0,
        "timezone": "Europe/Berlin",
        "feeding_times": (7 * 60, 12 * 60, 18 * 60),
        "vessels": (vessel(),),
        "lots": (tin(),),
        "stores": (fridge(),),
        "costs": ALWAYS,
        "failed": NEVER_FAILS,
    }
    return Pantry(**(values | changes))


def source(since: ArrayLike, until: ArrayLike, nauplii: ArrayLike, **changes: Any) -> Source:
    """In hours from ``T0``."""
    values: dict[str, Any] = {"kind": "planned", "name": "ash", "lot": "tin-8", "length_um": None}
    return Source(
        since=T0 + np.array(since, dtype=float) * HOUR,
        until=T0 + np.array(until, dtype=float) * HOUR,
        nauplii=np.array(nauplii, dtype=float),
        **(values | changes),
    )


def demand(meals: Sequence[tuple[float, str, float | None]], need: ArrayLike) -> Demand:
    """Meals as hours from ``T0``, eater and largest nauplius."""
    made = tuple(Meal(time=T0 + round(h * HOUR), eater=eater, largest_um=largest) for h, eater, largest in meals)
    return Demand(meals=made, need=np.array(need, dtype=float))


def under_way(name: str, ready_h: float = 20.0, share: float = 0.7, **changes: Any) -> BatchHeld:
    """A batch of which all is known but whether it fails."""
    values: dict[str, Any] = {
        "id": name,
        "vessel": "ash",
        "lot": "tin-8",
        "start": T0 - 4 * HOUR,
        "cysts_g": 1.0,
        "ready": (T0 + ready_h * HOUR,) * 50,
        "share": (share,) * 50,
        "best_h": 6.0,
    }
    return BatchHeld(**(values | changes))
