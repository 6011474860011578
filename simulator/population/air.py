"""Oxygen in the vessel: what it does to development in ordinary air, and what happens when the air stops."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from simulator.population.cohort import share_out
from simulator.population.heat import BEGIN
from simulator.population.priors import STANDARD
from simulator.world import oxygen
from simulator.world.cysts import (
    AIRY_MG_L,
    ANOXIC_MG_L,
    EXPOSURE_Q10,
    NAUPLIUS_LIMIT_H,
    NAUPLIUS_LIMIT_SPREAD,
    SLOWED_MG_L,
)
from simulator.world.world import STEP_H

if TYPE_CHECKING:
    from simulator.population.laws import Reals
    from simulator.population.tins import Place, Tin
    from simulator.world.numbers import Floats

GRAIN = 10  # rows between two looks at the oxygen while the air runs: it follows within minutes
LOOK_AHEAD = 24 * 60  # rows after a stop within which 2 mg/L must be reached to count
AFTERMATH = 4 * 60  # rows after a stop until lags are paid and the oxygen is back
SHORT_MG_L = 2.0  # development wants more (FAO T361, from memory)


@dataclass(frozen=True, slots=True)
class Charge:
    """What is in the vessel: true amounts."""

    cysts_g: float
    salinity_g_l: float
    hatchable: float


@dataclass(frozen=True, slots=True)
class Vessel:
    """A charge of one tin in its vessel."""

    tin: Tin
    place: Place
    charge: Charge

    def demand_mg_l_h(self, celsius: Floats, out: Floats, alive: Floats) -> Floats:
        """Oxygen used when there is plenty, for shares of the hatchable cysts that are out and that are alive."""
        cysts = self.charge.cysts_g * (1.0 - out)
        nauplii_mg = self.charge.cysts_g * self.tin.cysts_per_g * self.tin.nauplius_ug / 1000.0 * self.charge.hatchable
        warm_cysts = oxygen.CYST_Q10 ** ((celsius - 25.0) / 10.0)
        warm_nauplii = oxygen.NAUPLIUS_Q10 ** ((celsius - 30.0) / 10.0)
        used = cysts * oxygen.CYST_MG_PER_G_H * warm_cysts
        used = used + nauplii_mg * alive * oxygen.NAUPLIUS_UMOL_PER_MG_H * oxygen.MG_PER_UMOL * warm_nauplii
        return np.asarray(used / self.place.litres)

    def aired_mg_l(self, celsius: Floats, out: Floats) -> Floats:
        """Oxygen while the air runs: exchange and uptake in balance, exchange k (Cs - C) = D C / (C + half)."""
        exchange = self.place.surface_per_h + self.place.stone_per_h
        full = oxygen.saturation_mg_l(celsius, np.asarray(self.charge.salinity_g_l))
        half = exchange * (oxygen.HALF_MG_L - full) + self.demand_mg_l_h(celsius, out, out)
        level: Floats = (-half + np.sqrt(half * half + 4.0 * exchange * exchange * oxygen.HALF_MG_L * full)) / (
            2.0 * exchange
        )
        return level


def gate(oxygen_mg_l: Floats) -> Floats:
    """Share of its full rate at which development goes on."""
    share: Floats = np.minimum(1.0, oxygen_mg_l / (oxygen_mg_l + SLOWED_MG_L) * (1.0 + SLOWED_MG_L / AIRY_MG_L))
    return share


def aired_gate(vessel: Vessel, water: Floats, total: Reals, log_median_h: float) -> Floats:
    """``gate`` in each minute from the start on while the air runs, for progress ``total`` (minutes + 1, classes)."""
    rows = np.arange(0, len(total), GRAIN)
    out = share_out(total[rows], log_median_h, vessel.tin.shares)
    coarse = gate(vessel.aired_mg_l(water[BEGIN + rows], out))
    fine: Floats = np.interp(np.arange(len(total) - 1), rows, coarse)
    return fine


@dataclass(slots=True)
class Stop:
    """Air off between two minutes since the start. What came of it is filled in by ``live_through``."""

    from_minute: int
    to_minute: int
    minutes_to_short: float | None = None  # until 2 mg/L, had it stayed off; None when not within a day
    out: float = 0.0  # share of the hatchable cysts out when it began
    dead: float = 0.0  # share of the hatchable cysts that were nauplii and died


class _Minutes:
    """The vessel minute by minute while the air is off and shortly after."""

    def __init__(self, vessel: Vessel, log_median_h: float, restart_h: Floats, advance: Reals, celsius: float) -> None:
        self.vessel, self.log_median_h, self.restart_h = vessel, log_median_h, restart_h
        self.advance = advance.copy()
        self.debt_h = np.zeros(len(restart_h))
        self.exposed_h = self.worst_h = self.gasping = self.dead = 0.0
        self.oxygen_mg_l = float(vessel.aired_mg_l(np.asarray(celsius), np.asarray(self.out)))

    @property
    def out(self) -> float:
        return float(share_out(self.advance, self.log_median_h, self.vessel.tin.shares))

    def minute(self, free: Reals, celsius: float, aired: bool) -> Reals:
        """One minute; ``free`` is what each class would advance with all the air it wants. Returns what it did."""
        out = self.out
        anoxic = self.oxygen_mg_l < ANOXIC_MG_L
        if anoxic:
            self.debt_h = np.minimum(self.debt_h + STEP_H, self.restart_h)
            done = np.zeros_like(free)
        else:
            paid = np.minimum(self.debt_h, STEP_H)
            self.debt_h = self.debt_h - paid
            done = free * float(gate(np.asarray(self.oxygen_mg_l))) * (1.0 - paid / STEP_H)
        self.advance += done
        self._suffer(anoxic, celsius, out)
        self._breathe(celsius, out, aired)
        return done

    def _suffer(self, anoxic: bool, celsius: float, out: float) -> None:
        """Nauplii count the time without oxygen, each up to a limit of its own, and get over it at the same pace."""
        if not anoxic:
            self.exposed_h = max(self.exposed_h - STEP_H, 0.0)
            return
        self.exposed_h += STEP_H * EXPOSURE_Q10 ** ((celsius - 25.0) / 10.0)
        if self.exposed_h > self.worst_h:
            self.worst_h, self.gasping = self.exposed_h, out
            beyond = float(np.log(self.worst_h / NAUPLIUS_LIMIT_H)) / NAUPLIUS_LIMIT_SPREAD
            self.dead = max(self.dead, self.gasping * STANDARD.cdf(beyond))

    def _breathe(self, celsius: float, out: float, aired: bool) -> None:
        place, alive = self.vessel.place, max(out - self.dead, 0.0)
        demand = self.vessel.demand_mg_l_h(np.asarray(celsius), np.asarray(out), np.asarray(alive))
        exchange = place.surface_per_h + (place.stone_per_h if aired else 0.0)
        full = oxygen.saturation_mg_l(np.asarray(celsius), np.asarray(self.vessel.charge.salinity_g_l))
        level = oxygen.step(np.asarray(self.oxygen_mg_l), np.asarray(exchange), full, demand, STEP_H)
        self.oxygen_mg_l = float(level)


def live_through(
    stop: Stop, vessel: Vessel, water: Floats, free: Reals, done: Reals, restart_h: Floats, log_median_h: float
) -> None:
    """Write into ``done`` (minutes, classes) what is left of the progress from the stop on, and fill in ``stop``.

    ``free``: progress in each minute with all the air there could be, ``water`` from the lead on.
    """
    before = done[: stop.from_minute].sum(axis=0)
    celsius = water[BEGIN:].tolist()
    ahead = _Minutes(vessel, log_median_h, restart_h, before, celsius[stop.from_minute])
    stop.out = ahead.out
    for minute in range(stop.from_minute, min(stop.from_minute + LOOK_AHEAD, len(done))):
        level = ahead.oxygen_mg_l
        ahead.minute(free[minute], celsius[minute], aired=False)
        if ahead.oxygen_mg_l < SHORT_MG_L:
            part = (level - SHORT_MG_L) / (level - ahead.oxygen_mg_l)
            stop.minutes_to_short = minute - stop.from_minute + max(part, 0.0)
            break
    real = _Minutes(vessel, log_median_h, restart_h, before, celsius[stop.from_minute])
    for minute in range(stop.from_minute, min(stop.to_minute + AFTERMATH, len(done))):
        done[minute] = real.minute(free[minute], celsius[minute], aired=minute >= stop.to_minute)
    stop.dead = real.dead
