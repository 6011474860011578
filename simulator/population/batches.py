"""The batches of one tin, one after another through the year."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from simulator.population import heat, ranges
from simulator.population.air import Charge, Stop, Vessel, aired_gate, live_through
from simulator.population.cohort import Classes, hours_until, progress, share_out, steps
from simulator.population.floor import NewTin, known_quantiles
from simulator.population.keeper import Entry, Sight, log, looks
from simulator.population.outdoors import YEAR
from simulator.population.priors import draw, shifted
from simulator.population.tins import Heater, Place, Tin, draw_keeper, draw_place, draw_tin
from simulator.world.cysts import salt_factor
from simulator.world.numbers import stream
from simulator.world.world import STEP_H

if TYPE_CHECKING:
    from simulator.population.laws import Reals
    from simulator.world.numbers import Floats

CLASSES = 36
LONGEST_H = 120.0  # readings end then at the latest; a batch without T90 by then is lost
AFTER_T90_H = 16.0
BEFORE_SETTLED = 120  # minutes: while cysts soak, air is no matter
MEDIAN = 49  # of 99 quantiles
STRONGER = (1.0, 2.0, 4.0)
LATE_H = 10.0  # air may stop so long after the hatch; a keeper may not have come yet


@dataclass(frozen=True, slots=True)
class Floor:
    """99 quantiles of T90 (h since the start)."""

    new: Floats
    known: Floats


@dataclass(frozen=True, slots=True)
class Batch:
    """One batch with its truth; hours and minutes since the start, inf where something never comes.

    ``room_c``, ``water_c``: one value a minute from ``heat.HISTORY_H`` before the start.
    """

    id: str
    number: int
    start_s: int
    season: str
    cysts_g: float  # as written in the log
    salinity_g_l: float  # as written in the log
    heated: bool
    fails_h: float | None
    room_c: Floats
    water_c: Floats
    t10_h: float
    t50_h: float
    t90_h: float
    hatch_share: float
    stop: Stop | None
    hatchable: float
    entries: list[Entry]
    at_start: Floor
    after_failure: Floor | None

    @property
    def lost(self) -> bool:
        return self.t90_h > LONGEST_H

    @property
    def last_look_h(self) -> float:
        return self.entries[-1].minute / 60

    @property
    def recorded_h(self) -> float:
        """Hours after the start at which the readings end."""
        return LONGEST_H if self.lost else min(max(self.t90_h + AFTER_T90_H, self.last_look_h), LONGEST_H)


class Shelf:
    """What all tins of one population share, computed once."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.classes = Classes(CLASSES)
        self.new_tin = NewTin(seed)


@dataclass(frozen=True, slots=True)
class Fresh:
    """Water filled in at the start: of a temperature, or mixed to so much off a heater's set point."""

    celsius: float
    off_set_c: float


@dataclass(frozen=True, slots=True)
class Water:
    """A possible course of the water and what it means.

    ``free``: each minute's progress with all the air it wants, ``freely`` their sum from the start on.
    """

    filling: heat.Filling
    celsius: Floats
    free: Reals
    freely: Reals
    floor: Floor


class TinYear:
    """One tin with its place and keeper, and its batches."""

    def __init__(self, shelf: Shelf, name: str) -> None:
        self.shelf = shelf
        self.tin: Tin = draw_tin(shelf.seed, name)
        self.place: Place = draw_place(shelf.seed, name)
        self.keeper = draw_keeper(shelf.seed, name)
        self.rates = shelf.classes.rates(self.tin)

    def batches(self, count: int) -> list[Batch]:
        """The first ``count`` batches, in order of time."""
        return [self._batch(number, start_s) for number, start_s in enumerate(self._starts(count), start=1)]

    def _starts(self, count: int) -> list[int]:
        chance = stream(self.shelf.seed, "calendar", self.tin.id)
        day = date(YEAR, 1, 1) + timedelta(days=int(chance.integers(365)))
        starts = []
        for _ in range(count):
            minutes = round(draw(ranges.START_HOUR, chance) * 60)
            local = datetime(day.year, day.month, day.day, minutes // 60, minutes % 60, tzinfo=heat.ZONE)
            starts.append(int(local.astimezone(UTC).timestamp()))
            day += timedelta(days=round(draw(ranges.GAP_DAYS, chance)))  # nine at least: recordings don't overlap
        return starts

    def _batch(self, number: int, start_s: int) -> Batch:
        name = f"{self.tin.id}-b{number}"
        chance = stream(self.shelf.seed, "luck", name)
        slowness = float(np.log(self.tin.median_h)) + self.tin.batch_log_sd * float(chance.standard_normal())
        hatchable = shifted(self.tin.hatchable, self.tin.hatchable_logit_sd * float(chance.standard_normal()))
        written_g = round(draw(ranges.CYSTS_G_L, chance) * self.place.litres, 1)
        written_salt = float(round(draw(ranges.SALINITY_G_L, chance)))
        charge = Charge(
            cysts_g=written_g * float(np.exp(draw(ranges.CYSTS_LOG_ERROR, chance))),
            salinity_g_l=written_salt + draw(ranges.SALINITY_ERROR_G_L, chance),
            hatchable=hatchable,
        )
        fresh = Fresh(draw(ranges.FILL_C, chance), draw(ranges.FILL_OFF_SET_C, chance))
        ready = chance.random() >= ranges.FRESH_FILL
        fails, fails_at = chance.random() < ranges.HEATER_FAILS, float(chance.random())
        room, outside = heat.room_c(self.place, start_s)
        expected = self._water(charge, room, None if ready else fresh)
        water, after = expected, None
        if fails and expected.filling.heater is not None:
            median_h = float(expected.floor.known[MEDIAN])
            row = heat.BEGIN + round((0.5 + fails_at * max(median_h - 0.5, 0.0)) * 60)
            water = self._course(charge, room, replace(expected.filling, fails_row=row))
            after = water.floor
        vessel = Vessel(self.tin, self.place, charge)
        total, stop, entries = self._life(vessel, water, slowness, start_s, name)
        t10, t50, t90 = (
            float(hours_until(total, np.array([slowness]), self.tin.shares, share, STEP_H)[0])
            for share in (0.1, 0.5, 0.9)
        )
        ever = float(share_out(total[round(LONGEST_H * 60)], slowness, self.tin.shares)) if t90 > LONGEST_H else 1.0
        fails_row = water.filling.fails_row
        return Batch(
            id=name,
            number=number,
            start_s=start_s,
            season=heat.season(outside),
            cysts_g=written_g,
            salinity_g_l=written_salt,
            heated=water.filling.heater is not None,
            fails_h=None if fails_row is None else (fails_row - heat.BEGIN) / 60,
            room_c=room,
            water_c=water.celsius,
            t10_h=t10,
            t50_h=t50,
            t90_h=t90,
            hatch_share=hatchable * ever,
            stop=stop,
            hatchable=hatchable,
            entries=entries,
            at_start=expected.floor,
            after_failure=after,
        )

    def _water(self, charge: Charge, room: Floats, fresh: Fresh | None) -> Water:
        """The water as the keeper would have it: nobody starts a batch that would take days, he puts a heater in."""
        stronger = [replace(self.place.heater, watts=self.place.heater.watts * times) for times in STRONGER]
        choices: list[Heater | None] = [*stronger] if self.place.owns_heater else [None, *stronger]
        for heater in choices[:-1]:
            water = self._course(charge, room, _filling(fresh, heater))
            if max(water.floor.known[MEDIAN], water.floor.new[MEDIAN]) < ranges.TOO_SLOW_H:
                return water
        return self._course(charge, room, _filling(fresh, choices[-1]))

    def _course(self, charge: Charge, room: Floats, filling: heat.Filling) -> Water:
        celsius = heat.water_c(self.place, filling, room)
        thin = np.full(heat.HORIZON_H * 60, 1.0 / salt_factor(charge.salinity_g_l))
        free = steps(self.rates, self.shelf.classes.soak_h, celsius[heat.BEGIN : -1], thin, STEP_H)
        usual = Vessel(self.tin, self.place, replace(charge, hatchable=self.tin.hatchable))
        freely = progress(free)
        gate = _gate(usual, celsius, freely, float(np.log(self.tin.median_h)))
        known = known_quantiles(self.tin, progress(free * gate[:, None]))
        return Water(filling, celsius, free, freely, Floor(self.shelf.new_tin.quantiles(celsius, thin * gate), known))

    def _life(
        self, vessel: Vessel, water: Water, slowness: float, start_s: int, name: str
    ) -> tuple[Reals, Stop | None, list[Entry]]:
        """Progress of the batch as it was, the air stop in it, and what the keeper wrote."""
        times = looks(self.keeper, start_s, stream(self.shelf.seed, "looks", name))
        aired = water.free * _gate(vessel, water.celsius, water.freely, slowness)[:, None]
        stop = self._stop(name, float(water.floor.known[MEDIAN]), times)
        done = aired
        if stop is not None:
            done = aired.copy()
            restart = self.shelf.classes.restart_h(self.tin)
            live_through(stop, vessel, water.celsius, water.free, done, restart, slowness)
        total = progress(done)
        entries = self._log(name, start_s, times, total, slowness, vessel.charge.hatchable, stop)
        if stop is not None and stop.from_minute >= entries[-1].minute:
            return progress(aired), None, entries  # the vessel was empty by then
        return total, stop, entries

    def _stop(self, name: str, median_h: float, times: list[int]) -> Stop | None:
        chance = stream(self.shelf.seed, "air", name)
        happens, when = chance.random() < ranges.AIR_STOPS, float(chance.random())
        if not happens:
            return None
        begins = round((1.0 + when * (median_h + LATE_H)) * 60)
        ends = begins + round(draw(ranges.AIR_STOP_H, chance) * 60)
        comes = next((minute for minute in times if minute > begins), ends)
        return Stop(begins, max(min(ends, comes), begins + 1))

    def _log(
        self,
        name: str,
        start_s: int,
        times: list[int],
        total: Reals,
        slowness: float,
        hatchable: float,
        stop: Stop | None,
    ) -> list[Entry]:
        def sight(minute: int) -> Sight:
            out = float(share_out(total[minute], slowness, self.tin.shares))
            return Sight(out, stop.dead if stop is not None and minute >= stop.to_minute else 0.0, hatchable)

        return log(self.keeper, start_s, times, sight, stream(self.shelf.seed, "pencil", name))


def _filling(fresh: Fresh | None, heater: Heater | None) -> heat.Filling:
    if fresh is None:
        return heat.Filling(None, heater)
    return heat.Filling(fresh.celsius if heater is None else heater.set_c + fresh.off_set_c, heater)


def _gate(vessel: Vessel, celsius: Floats, freely: Reals, log_median_h: float) -> Floats:
    gate = aired_gate(vessel, celsius, freely, log_median_h)
    gate[:BEFORE_SETTLED] = 1.0
    return gate
