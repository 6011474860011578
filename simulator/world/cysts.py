"""Cysts one by one: each has its own threshold, heat limit, soaking time and amount of development to do.

A batch is a sample of individuals drawn from the tin's distributions. Development adds up by one of two laws, chosen
per tin: Sharpe & DeMichele 1977 in the form of Schoolfield, Sharpe & Magnuson 1981 (J. theor. Biol. 88:719-731), and
Briere et al. 1999 (Environ. Entomol. 28:22-29). Without oxygen a cyst pauses and restarts late; a nauplius dies.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from simulator.world.numbers import Floats, stream
from simulator.world.oxygen import cyst_demand_mg_h, nauplius_demand_mg_h

if TYPE_CHECKING:
    from collections.abc import Callable

    from simulator.scenario.models import Batch, Tin

LawName = Literal["sharpe-schoolfield", "briere"]

ANOXIC_MG_L = 0.5  # assumption; no dose-response curve is published
SLOWED_MG_L = 0.2  # oxygen at which development is about halved; assumption
AIRY_MG_L = 6.8  # a well-aerated vessel: development runs at its full rate
REFERENCE_C = 25.0
GAS_J_MOL_K = 8.314462618
ACTIVATION_J_MOL = 65_000.0  # gives Q10 2.4 near 25 C; with the thresholds 2.6-2.9, as the 20/24 C pair of an SFB lot
COLD_J_MOL = -250_000.0
HEAT_J_MOL = 500_000.0
NO_UPTAKE_G_L = 85.0  # above, cysts take up no water (secondary handbooks)
NAUPLIUS_LIMIT_H = 0.75  # median hours without oxygen at 25 C; "hours at most, minutes when dense", trade experience
NAUPLIUS_LIMIT_SPREAD = 0.4
EXPOSURE_Q10 = 2.5


def sharpe_schoolfield(celsius: float, low_c: Floats, high_c: Floats) -> Floats:
    """Relative rate: Arrhenius, half switched off at ``low_c`` by cold and at ``high_c`` by heat."""
    kelvin = celsius + 273.15
    reference = REFERENCE_C + 273.15
    per_r = 1.0 / GAS_J_MOL_K
    drive = kelvin / reference * np.exp(ACTIVATION_J_MOL * per_r * (1 / reference - 1 / kelvin))
    cold = np.exp(np.minimum(COLD_J_MOL * per_r * (1 / (low_c + 273.15) - 1 / kelvin), 60.0))
    heat = np.exp(np.minimum(HEAT_J_MOL * per_r * (1 / (high_c + 273.15) - 1 / kelvin), 60.0))
    rate: Floats = drive / (1.0 + cold + heat)
    return rate


def briere(celsius: float, low_c: Floats, high_c: Floats) -> Floats:
    """Relative rate: T (T - low) sqrt(high - T) between ``low_c`` and ``high_c``, zero outside."""
    above = np.maximum(celsius - low_c, 0.0)
    below = np.maximum(high_c - celsius, 0.0)
    rate: Floats = max(celsius, 0.0) * above * np.sqrt(below)
    return rate


LAWS: dict[LawName, Callable[[float, Floats, Floats], Floats]] = {
    "sharpe-schoolfield": sharpe_schoolfield,
    "briere": briere,
}
HEAT_LIMIT_C: dict[LawName, float] = {"sharpe-schoolfield": 34.5, "briere": 37.0}


@dataclass(frozen=True, slots=True)
class Traits:
    """What is true of one tin, whether the scenario said it or chance did."""

    law: LawName
    median_h: float
    spread: float
    threshold_c: float
    heat_limit_c: float
    viable: float


def tin_traits(tin: Tin, seed: int) -> Traits:
    """Fill in what the scenario leaves open. All draws are made in any case, so saying one changes no other.

    Spread of medians: lot to lot log-SD 0.25 about 20 h, held to 16-26 h. Synchrony T90 - T10 of published lots is
    mostly 6-12 h (Yang, Bian & Li 1989; J. Biol. Res. 2005): a log-SD of 0.12-0.22. Threshold: A. sinica 9.07 C,
    an SFB pair 11.5-12.3 C. Viable: 18 published lots hatched 65 % with SD 18.
    """
    draws = stream(seed, "tin", tin.id)
    law: LawName = "briere" if draws.random() < 0.5 else "sharpe-schoolfield"
    median = float(np.clip(20.0 * np.exp(0.25 * draws.standard_normal()), 16.0, 26.0))
    spread = float(draws.uniform(0.12, 0.22))
    threshold = float(np.clip(draws.normal(11.0, 1.2), 8.0, 13.5))
    heat = float(draws.normal(0.0, 0.8))
    viable = float(draws.beta(4.0, 2.2))
    law = tin.law or law
    return Traits(
        law=law,
        median_h=median if tin.median_h is None else tin.median_h,
        spread=spread if tin.spread is None else tin.spread,
        threshold_c=threshold if tin.threshold_c is None else tin.threshold_c,
        heat_limit_c=HEAT_LIMIT_C[law] + heat if tin.heat_limit_c is None else tin.heat_limit_c,
        viable=viable if tin.viable is None else tin.viable,
    )


def salt_factor(salinity_g_l: float) -> float:
    """Development takes about 1 % longer for each g/L above 20 (computed from published times), equal to 1 at 25."""
    return (1.0 + 0.01 * max(salinity_g_l - 20.0, 0.0)) / 1.05


class Population:
    """The cysts of one batch. Shares are of all cysts put in."""

    def __init__(self, batch: Batch, tin: Tin, seed: int, count: int) -> None:
        traits = tin_traits(tin, seed)
        draws = stream(seed, "batch", batch.id)
        shift = tin.batch_sd * draws.standard_normal()
        self.traits = traits
        self.median_h = float(np.clip(traits.median_h * np.exp(shift), 16.0, 26.0))
        self.count = count
        viable = round(count * traits.viable) if batch.salinity_g_l < NO_UPTAKE_G_L else 0
        self.viable = viable
        self._law = LAWS[traits.law]
        total_h = self.median_h * np.exp(traits.spread * draws.standard_normal(viable))
        self._soak_h = draws.uniform(1.0, 2.0, viable)  # hydration to a sphere takes 1-2 h (handbooks)
        self._left_h = np.maximum(total_h - self._soak_h, 1.0) * salt_factor(batch.salinity_g_l)
        self._low_c = traits.threshold_c + tin.threshold_sd_c * draws.standard_normal(viable)
        self._high_c = traits.heat_limit_c + 0.8 * draws.standard_normal(viable)
        # Hydrated cysts die above 40 C (FAO T428 annex 4).
        self._deadly_c = draws.normal(40.5, 0.2, viable)
        self._restart_h = draws.uniform(0.0, 1.0, viable) * tin.restart_h
        self._limit_h = NAUPLIUS_LIMIT_H * np.exp(NAUPLIUS_LIMIT_SPREAD * draws.standard_normal(viable))
        self._scale = 1.0 / self._law(REFERENCE_C, self._low_c, self._high_c)
        self._debt_h = np.zeros(viable)
        self._nauplii_limit_h = np.zeros(0)
        self._nauplii_exposure_h = np.zeros(0)
        self._hatched_at: list[tuple[int, int]] = []
        self._hatched = 0
        self._cysts_g = batch.cysts_g
        self._nauplii_mg = batch.cysts_g * tin.cysts_per_g * tin.nauplius_ug / 1000.0

    def step(self, now_s: int, celsius: float, oxygen_mg_l: float, step_h: float) -> None:
        """Live through one step that ends at ``now_s`` (offset from the scenario's start)."""
        anoxic = oxygen_mg_l < ANOXIC_MG_L
        self._suffer(celsius, anoxic, step_h)
        if celsius > 39.0:
            self._keep(self._deadly_c > celsius)
        if anoxic:
            self._debt_h = np.minimum(self._debt_h + step_h, self._restart_h)
            return
        paid = np.minimum(self._debt_h, step_h)
        self._debt_h -= paid
        soaked = np.minimum(self._soak_h, step_h - paid)
        self._soak_h -= soaked
        air = min(1.0, oxygen_mg_l / (oxygen_mg_l + SLOWED_MG_L) * (1.0 + SLOWED_MG_L / AIRY_MG_L))
        rate = self._law(celsius, self._low_c, self._high_c) * self._scale * air
        self._left_h -= rate * (step_h - paid - soaked)
        done = self._left_h <= 0.0
        if done.any():
            self._hatch(now_s, done)

    def _hatch(self, now_s: int, done: np.ndarray) -> None:
        number = int(done.sum())
        self._hatched += number
        self._hatched_at.append((now_s, number))
        self._nauplii_limit_h = np.append(self._nauplii_limit_h, self._limit_h[done])
        self._nauplii_exposure_h = np.append(self._nauplii_exposure_h, np.zeros(number))
        self._keep(~done)

    def _keep(self, stays: np.ndarray) -> None:
        for name in (
            "_soak_h",
            "_left_h",
            "_low_c",
            "_high_c",
            "_deadly_c",
            "_restart_h",
            "_limit_h",
            "_scale",
            "_debt_h",
        ):
            setattr(self, name, getattr(self, name)[stays])

    def _suffer(self, celsius: float, anoxic: bool, step_h: float) -> None:
        """Nauplii count the time without oxygen, faster when warm, and get over it at the same pace."""
        if not len(self._nauplii_limit_h):
            return
        if celsius > 40.0:
            self._nauplii_limit_h, self._nauplii_exposure_h = np.zeros(0), np.zeros(0)
            return
        if not anoxic:
            self._nauplii_exposure_h = np.maximum(self._nauplii_exposure_h - step_h, 0.0)
            return
        self._nauplii_exposure_h += step_h * EXPOSURE_Q10 ** ((celsius - 25.0) / 10.0)
        alive = self._nauplii_exposure_h < self._nauplii_limit_h
        self._nauplii_limit_h = self._nauplii_limit_h[alive]
        self._nauplii_exposure_h = self._nauplii_exposure_h[alive]

    @property
    def hatched(self) -> float:
        """Share of all cysts that have hatched so far."""
        return self._hatched / self.count

    @property
    def alive(self) -> float:
        """Share of all cysts that are living nauplii now."""
        return len(self._nauplii_limit_h) / self.count

    def demand_mg_h(self, celsius: float) -> float:
        """Oxygen used per hour by the whole batch when there is plenty (mg/h)."""
        waiting = len(self._left_h) / self.viable if self.viable else 0.0
        cysts = cyst_demand_mg_h(self._cysts_g * waiting, celsius)
        return cysts + nauplius_demand_mg_h(self._nauplii_mg * self.alive, celsius)

    def when(self, share: float) -> int | None:
        """Offset (s) at which ``share`` of the viable cysts had hatched; None when that has not happened."""
        needed, so_far = share * self.viable, 0
        for moment, number in self._hatched_at:
            so_far += number
            if so_far >= needed:
                return moment
        return None
