"""After the hatch: how long nauplii are at their best. Time to the second stage, and what they burn of their yolk."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.light import light
from monitor.core.model import HOUR, Ms
from monitor.core.oxygen import MG_PER_UMOL, NAUPLII_UMOL_MG_H, Q10

if TYPE_CHECKING:
    from monitor.core.hatch import Array

FIRST_STAGE_H: Final = 8.0  # first to second stage about 8 h at 25-28 C (Ghent course, restated); sources range 6-24 h
STAGE_REFERENCE_C: Final = 28.0
STAGE_BASE_C: Final = 6.3  # 8 h * 21.7 / (T - 6.3): a law borrowed from later stages, scaled as an estimate
J_PER_MG_OXYGEN: Final = 14.1
J_PER_MG_DRY: Final = 22.4
# At their best while half of the swimmers are in the first stage, and the middle one keeps this much of its energy; common
# practice, no source.
BEST_ENERGY: Final = 0.85
LEAST: Final = HOUR  # a batch is given at least this long after ready


def first_stage_ms(water_c: float) -> Ms:
    """Time from hatching to the second stage at a temperature in C."""
    warm = max(water_c - STAGE_BASE_C, 2.0)
    return int(FIRST_STAGE_H * (STAGE_REFERENCE_C - STAGE_BASE_C) / warm * HOUR)


def energy_loss_per_h(water_c: float) -> float:
    """Share of its energy that an unfed nauplius burns in an hour at a temperature in C."""
    oxygen = NAUPLII_UMOL_MG_H * Q10 ** ((water_c - 30.0) / 10) * MG_PER_UMOL
    return float(oxygen * J_PER_MG_OXYGEN / J_PER_MG_DRY)


@light
class Window:
    """``until``: end of the best time, ms. The shares (0..1) are of the swimmers now; ``None`` while there are none."""

    until: float | None
    first_stage: float | None
    energy: float | None
    reason: str = ""


def window(t50: Array, ready_mid: float | None, weights: Array, water_c: float, now: Ms) -> Window:
    """From when half had hatched in each sample (n,), ms; half are in the first stage until one stage after that."""
    if ready_mid is None:
        return Window(None, None, None)
    finite = np.isfinite(t50)
    half = float(np.average(t50[finite], weights=weights[finite])) if finite.any() else ready_mid
    stage = first_stage_ms(water_c)
    by_stage = half + stage
    by_energy = half + (1 - BEST_ENERGY) / energy_loss_per_h(water_c) * HOUR
    until = max(min(by_stage, by_energy), ready_mid + LEAST)
    reason = "half of them will have moulted" if by_stage <= by_energy else "they will have burnt much of their yolk"
    age = max(now - half, 0.0)
    if now < half:
        return Window(until, None, None, reason)
    energy = max(1 - energy_loss_per_h(water_c) * age / HOUR, 0.0)
    # Those that hatched within one stage of now are still in it; the spread of the hatch is about ready - half on each side.
    spread = max(ready_mid - half, HOUR)
    first = float(np.clip(0.5 - (age - stage) / (2 * spread), 0.0, 1.0))
    return Window(until, first, energy, reason)
