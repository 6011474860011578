"""The world as a whole: fixed steps of 60 s, from the beginning of the lead to as far as anyone asks."""

from __future__ import annotations

import copy
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from simulator.world import oxygen as air_in_water
from simulator.world.cysts import Population
from simulator.world.numbers import Floats, relax
from simulator.world.pump import strength
from simulator.world.vessel import Waters, heater_stuck
from simulator.world.weather import Weather

if TYPE_CHECKING:
    from simulator.scenario.models import Batch, Scenario

STEP_S = 60
STEP_H = STEP_S / 3600.0
REST_SALINITY_G_L = 25.0


@dataclass(frozen=True, slots=True)
class Trace:
    """What was true, one row per step; the first row repeats the state the stretch began with.

    ``offset_s`` (n,), ``room_c`` (n,), ``water_c``, ``oxygen_mg_l``, ``strength`` (n, vessels) and ``hatched``,
    ``alive`` (n, batches; shares of all cysts, NaN while the batch is not in its vessel).
    """

    offset_s: Floats
    room_c: Floats
    water_c: Floats
    oxygen_mg_l: Floats
    strength: Floats
    hatched: Floats
    alive: Floats


@dataclass(slots=True)
class Brood:
    """A batch in its vessel."""

    spec: Batch
    vessel: int
    litres: float
    population: Population
    ends_s: float

    def present(self, offset_s: float) -> bool:
        return self.spec.at < offset_s <= self.ends_s


class World:
    """All that is true in one scenario. The same scenario gives the same world, however it is cut into stretches."""

    def __init__(self, scenario: Scenario, outdoor_hourly_c: Floats | None = None) -> None:
        self.scenario = scenario
        self.vessels = scenario.vessel
        self.index = {vessel.id: number for number, vessel in enumerate(scenario.vessel)}
        self.pumps = {pump.vessel: pump for pump in scenario.pump}
        self.offset_s = -scenario.lead
        self.weather = Weather(scenario, outdoor_hourly_c)
        self.room_c = float(self.weather.room_goal_c(np.array([float(self.offset_s)]))[0])
        self.waters = Waters(scenario.vessel, self.room_c)
        self.salinity_g_l = np.full(len(scenario.vessel), REST_SALINITY_G_L)
        self.oxygen_mg_l = air_in_water.saturation_mg_l(self.waters.celsius, self.salinity_g_l)
        self._surface = np.array([vessel.surface_per_h for vessel in scenario.vessel])
        self._kla = np.array(
            [self.pumps[vessel.id].kla_per_h if vessel.id in self.pumps else 0.0 for vessel in scenario.vessel]
        )
        self._lag_h = scenario.room.lag / 3600.0
        tins = {tin.id: tin for tin in scenario.tin}
        self.broods = tuple(
            Brood(
                spec=batch,
                vessel=self.index[batch.vessel],
                litres=batch.litres or scenario.vessel[self.index[batch.vessel]].litres,
                population=Population(batch, tins[batch.tin], scenario.seed, scenario.sampled_cysts),
                ends_s=float("inf") if batch.harvest is None else float(batch.harvest),
            )
            for batch in scenario.batch
        )

    def fork(self) -> World:
        """A copy that goes its own way: for looking ahead without disturbing this one."""
        return copy.deepcopy(self)

    def strength(self, vessel: str, offsets_s: Floats) -> Floats:
        """Share of the full air in a vessel at each offset."""
        return strength(self.pumps.get(vessel), offsets_s)

    def advance(self, until_s: float) -> Trace:
        """Go on in whole steps until ``until_s`` is reached or passed; raises SeriesTooShort."""
        steps = max(0, -int(-(until_s - self.offset_s) // STEP_S))
        offsets = self.offset_s + STEP_S * np.arange(steps + 1, dtype=float)
        goal_c = self.weather.room_goal_c(offsets)
        stuck = heater_stuck(self.vessels, offsets)
        air = np.column_stack([self.strength(vessel.id, offsets) for vessel in self.vessels])
        count, vessels, broods = steps + 1, len(self.vessels), len(self.broods)
        room = np.empty(count)
        water, oxygen = np.empty((count, vessels)), np.empty((count, vessels))
        hatched, alive = np.full((count, broods), np.nan), np.full((count, broods), np.nan)
        for row in range(count):
            if row:
                self._step(float(goal_c[row - 1]), stuck[row - 1], air[row - 1])
            room[row], water[row], oxygen[row] = self.room_c, self.waters.celsius, self.oxygen_mg_l
            for column, brood in enumerate(self.broods):
                if brood.present(self.offset_s):
                    hatched[row, column] = brood.population.hatched
                    alive[row, column] = brood.population.alive
        return Trace(offsets, room, water, oxygen, air, hatched, alive)

    def _step(self, goal_c: float, stuck: Floats, air: Floats) -> None:
        """From one whole step to the next, driven by what held at its beginning."""
        self.offset_s += STEP_S
        self.room_c = float(relax(np.array(self.room_c), np.array(goal_c), np.array(self._lag_h), STEP_H))
        self.waters.step(self.room_c, stuck, STEP_H)
        demand = np.zeros(len(self.vessels))
        for brood in self.broods:
            if brood.present(self.offset_s):
                self._live(brood, demand)
        saturation = air_in_water.saturation_mg_l(self.waters.celsius, self.salinity_g_l)
        exchange = self._surface + self._kla * air
        self.oxygen_mg_l = air_in_water.step(self.oxygen_mg_l, exchange, saturation, demand, STEP_H)

    def _live(self, brood: Brood, demand: Floats) -> None:
        vessel = brood.vessel
        if self.offset_s - STEP_S <= brood.spec.at:
            self._fill(brood)
        celsius = float(self.waters.celsius[vessel])
        brood.population.step(self.offset_s, celsius, float(self.oxygen_mg_l[vessel]), STEP_H)
        demand[vessel] += brood.population.demand_mg_h(celsius) / brood.litres

    def _fill(self, brood: Brood) -> None:
        """Fresh salt water goes in at the start of a batch, nearly saturated with air."""
        vessel = brood.vessel
        if brood.spec.fill_c is not None:
            self.waters.celsius[vessel] = brood.spec.fill_c
        self.salinity_g_l[vessel] = brood.spec.salinity_g_l
        fresh = air_in_water.saturation_mg_l(self.waters.celsius, self.salinity_g_l)
        self.oxygen_mg_l[vessel] = 0.95 * fresh[vessel]
