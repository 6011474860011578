"""Temperature outdoors: a daily cycle with weather, or a given hourly series; and what the room makes of it."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from simulator.world.numbers import stream

if TYPE_CHECKING:
    from simulator.scenario.models import Room, Scenario
    from simulator.world.numbers import Floats

WARMEST_H = 15.0  # local hour of the daily maximum; common practice, no source
DAY_S = 86_400.0


class SeriesTooShort(Exception):  # noqa: N818  (the series is at fault; the name says so)
    """A given hourly series ends before the world does."""


class Weather:
    """Outdoor temperature about its mean, at any offset from the scenario's start not before the lead."""

    def __init__(self, scenario: Scenario, hourly_c: Floats | None = None) -> None:
        self.room: Room = scenario.room
        self.begin_s = -scenario.lead
        given = scenario.room.weather.hourly_c
        self.hourly = hourly_c if hourly_c is not None else (None if given is None else np.asarray(given, dtype=float))
        # The sun keeps no summer time: the offset without it holds for the whole scenario.
        local = scenario.start.astimezone(ZoneInfo(scenario.timezone))
        standard = (local.utcoffset() or timedelta()) - (local.dst() or timedelta())
        utc = scenario.start.timestamp()
        self.local_start_s = (utc + standard.total_seconds()) % DAY_S
        self._draws = stream(scenario.seed, "weather")
        self._days: list[float] = []

    @property
    def ends_s(self) -> float:
        """Offset up to which there is weather; infinite unless a series was given."""
        return float("inf") if self.hourly is None else self.begin_s + 3600.0 * (len(self.hourly) - 1)

    def departure_c(self, offsets_s: Floats) -> Floats:
        """Outdoor temperature less its mean (C), cold spells included. Shape as given. Raises SeriesTooShort."""
        base = self._cycle(offsets_s) if self.hourly is None else self._series(offsets_s, self.hourly)
        return base + self._spells(offsets_s, "outdoors")

    def room_goal_c(self, offsets_s: Floats) -> Floats:
        """Where the room's temperature would settle (C) if everything stayed as it is at each offset."""
        inside: Floats = self.room.mean_c + self.room.share * self.departure_c(offsets_s)
        return inside + self._spells(offsets_s, "room")

    def _cycle(self, offsets_s: Floats) -> Floats:
        hour = ((self.local_start_s + offsets_s) / 3600.0) % 24.0
        swing = self.room.swing_c / 2 * np.cos(2 * np.pi * (hour - WARMEST_H) / 24)
        position = (offsets_s - self.begin_s) / DAY_S
        self._extend(int(np.max(position, initial=0.0)) + 2)
        cycle: Floats = swing + np.interp(position, np.arange(len(self._days)), np.asarray(self._days))
        return cycle

    def _extend(self, count: int) -> None:
        """AR(1) from day to day, begun in its stationary state; the change between days has the scenario's SD."""
        weather = self.room.weather
        stationary = weather.day_to_day_sd_c / np.sqrt(2 * (1 - weather.persistence))
        while len(self._days) < count:
            draw = float(self._draws.standard_normal()) * float(stationary)
            fresh = float(np.sqrt(1 - weather.persistence**2)) * draw
            self._days.append(weather.persistence * self._days[-1] + fresh if self._days else draw)

    def _series(self, offsets_s: Floats, hourly: Floats) -> Floats:
        position = (offsets_s - self.begin_s) / 3600.0
        if np.max(position, initial=0.0) > len(hourly) - 1:
            raise SeriesTooShort(
                f"the hourly series holds {len(hourly)} values, enough for {len(hourly) - 1} h from the beginning of "
                f"the lead; {float(np.max(position)):.1f} h are needed. Give a longer series or run for less."
            )
        series: Floats = np.interp(position, np.arange(len(hourly)), hourly) - float(np.mean(hourly))
        return series

    def _spells(self, offsets_s: Floats, where: str) -> Floats:
        total = np.zeros_like(offsets_s, dtype=float)
        for spell in self.room.spell:
            if spell.where == where:
                inside = (offsets_s >= spell.at) & (offsets_s < spell.at + spell.hours * 3600)
                total -= np.where(inside, spell.depth_c, 0.0)
        return total
