"""Heat of the water: exchange with the room and an electric heater with a thermostat."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from simulator.world.numbers import relax

if TYPE_CHECKING:
    from collections.abc import Sequence

    from simulator.scenario.models import Vessel
    from simulator.world.numbers import Flags, Floats

HEAT_J_PER_L_K = 4.1e3  # salt water of 25 g/L near 25 C: 1.016 kg/L at 4.04 kJ/(kg K), textbook values
LOSS_W_PER_M2_K = 10.0  # still air, radiation included; common practice, no source


def time_constant_h(litres: Floats) -> Floats:
    """Hours to the room for a compact vessel: heat held grows with the volume, loss with the surface.

    The surface is that of a cube of the same volume, 0.06 m2 for one litre.
    """
    surface_m2 = 6.0 * (litres / 1000.0) ** (2 / 3)
    constant: Floats = HEAT_J_PER_L_K * litres / (LOSS_W_PER_M2_K * surface_m2) / 3600.0
    return constant


class Waters:
    """Water temperature of all vessels (C), stepped together."""

    def __init__(self, vessels: Sequence[Vessel], room_c: float) -> None:
        litres = np.array([vessel.litres for vessel in vessels])
        own = np.array([vessel.time_constant_h or np.nan for vessel in vessels])
        self.constant_h: Floats = np.where(np.isnan(own), time_constant_h(litres), own)
        watts = np.array([vessel.heater.watts if vessel.heater else 0.0 for vessel in vessels])
        self.heating_c_h: Floats = watts * 3600.0 / (HEAT_J_PER_L_K * litres)
        self.goal_c = np.array([vessel.heater.thermostat_c if vessel.heater else -99.0 for vessel in vessels])
        self.half_band_c = np.array([vessel.heater.deadband_c / 2 if vessel.heater else 0.0 for vessel in vessels])
        self.heating: Flags = np.zeros(len(vessels), dtype=bool)
        self.celsius: Floats = np.full(len(vessels), room_c)

    def step(self, room_c: float, stuck: Floats, step_h: float) -> None:
        """One step. ``stuck``: per vessel NaN when the thermostat rules, 0 when the heater is dead, 1 when stuck on."""
        self.heating = np.where(self.celsius < self.goal_c - self.half_band_c, True, self.heating)
        self.heating &= self.celsius <= self.goal_c + self.half_band_c
        power = np.where(np.isnan(stuck), self.heating, stuck)
        goal = room_c + power * self.heating_c_h * self.constant_h
        self.celsius = relax(self.celsius, goal, self.constant_h, step_h)


def heater_stuck(vessels: Sequence[Vessel], offsets_s: Floats) -> Floats:
    """Heater failures at each offset, shape (offsets, vessels): NaN working, 0 dead, 1 stuck on."""
    state = np.full((len(offsets_s), len(vessels)), np.nan)
    for column, vessel in enumerate(vessels):
        for failure in vessel.heater.failure if vessel.heater else ():
            inside = (offsets_s >= failure.at) & (offsets_s < failure.ends)
            state[inside, column] = 1.0 if failure.stuck == "on" else 0.0
    return state
