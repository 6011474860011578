"""An invented room: vessels in a shed, a tin or two, and broods that are about to eat."""

from __future__ import annotations

from math import pi, sin
from typing import Final

from monitor.core.food import (
    BroodHeld,
    Costs,
    FishSpec,
    LotHeld,
    Pantry,
    Plan,
    PlannedStart,
    StoreHeld,
    Unmet,
    VesselHeld,
)
from monitor.core.model import DAY, HOUR, Ms, Span

NOW: Ms = 1_780_034_400_000  # 2026-05-29 06:00 UTC, 08:00 in Berlin
NAMES = ("ash", "birch", "cedar", "damson", "elder", "fir")
MOUTHS = (None, 450.0, None)
LENGTHS = (430.0, 500.0, 480.0, None)

START: Final = PlannedStart(
    id="ash-tin-0529-07",
    vessel="ash",
    lot="tin",
    grams=3.5,
    litres=2.0,
    salinity_g_l=25.0,
    start=NOW,
    start_by=NOW + 1,
    harvest=Span(1.0, 2.0, None),
    nauplii=Span(1.0, 2.0, 3.0),
    store="",
    cost=0.1 + 0.2,  # which no short number is
    feeds_from=NOW,
    feeds_until=NOW,
    backup=True,
    reason="for Thu 07:00",
)
PLAN: Final = Plan(
    made=NOW, until=NOW + 1, starts=(START,), unmet=(Unmet(NOW, "killi", 0.5, "why", "help"),), changed=("x",)
)
"""With something in each of its fields."""


def vessel(name: str, water_c: float = 25.0, litres: float = 2.0, days: int = 15) -> VesselHeld:
    return VesselHeld(
        id=name,
        litres=litres,
        most_g_l=5.0,
        batch="",
        begin=NOW,
        water_c=tuple(water_c + sin(2 * pi * h / 24) for h in range(24 * days)),
        water_sd_c=tuple(min(0.3 + h / 100, 1.0) for h in range(24 * days)),
    )


def tin(name: str, length_um: float | None = 450.0, left_g: float | None = 200.0, price: float | None = 0.2) -> LotHeld:
    return LotHeld(
        id=name,
        strain="",
        length_um=length_um,
        cysts_per_g=250_000.0,
        left_g=left_g,
        price_per_g=price,
        known={},
    )


def brood(name: str, larvae: float = 100.0, mouth: float | None = None, age_days: float = 8.0) -> BroodHeld:
    fish = FishSpec(
        id="killi",
        name="killifish",
        ration=100.0,
        growth_per_day=0.15,
        meals=3,
        largest_um=mouth,
        largest_growth_um=20.0,
        swim_up_days=6.0,
        swim_up_c=25.0,
        swim_up_base_c=10.0,
        swim_up_log_sd=0.08,
        finer_days=0.0,
        wean_days=18.0,
    )
    return BroodHeld(
        id=name,
        fish=fish,
        spawned=NOW - round(age_days * DAY),
        larvae=larvae,
        counted=NOW - DAY,
        swam_up=None,
        tank_c=25.0,
    )


def room(vessels: int = 2, tins: int = 1, broods: int = 1, days: int = 4, chance: float = 0.98) -> Pantry:
    return Pantry(
        now=NOW,
        timezone="Europe/Berlin",
        feeding_times=(8 * 60, 13 * 60, 19 * 60),
        vessels=tuple(vessel(NAMES[k], 24.0 + k % 3) for k in range(vessels)),
        lots=tuple(tin(f"tin-{k}", LENGTHS[k % 4], 200.0, 0.15 + 0.05 * k) for k in range(tins)),
        broods=tuple(brood(f"killi-{k}", 60.0 + 20 * k, MOUTHS[k % 3], 4.0 + 2.0 * k) for k in range(broods)),
        stores=(
            StoreHeld(
                id="fridge",
                nauplii=60_000.0,
                lots=("tin-0",),
                until=(NOW + 30.0 * HOUR, NOW + 40.0 * HOUR, NOW + 50.0 * HOUR),
                keeps_h=(24.0, 36.0, 48.0),
            ),
        ),
        costs=Costs(currency="EUR", cysts_per_g=0.2, salt_per_kg=1.0, kwh=0.3, vessel_w=15.0),
        chance=chance,
        days=days,
    )
