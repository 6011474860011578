from __future__ import annotations

import math

import numpy as np
import pytest

from monitor.core.climate import through
from monitor.core.history import SlotSeries
from monitor.core.model import HOUR, SLOT
from monitor.core.water import EXCHANGE_H, NO_HABIT, Forecast, Habit, forecast
from tests.unit.core.worlds import T0

START = T0 // SLOT  # 07:00 UTC, the slot in which a batch begins
PER_HOUR = HOUR // SLOT


def room_c(hour: float) -> float:
    """A room that is 20 C in the mean, warmest in the afternoon; hours since T0."""
    return 20.0 + 3.0 * math.cos(2 * math.pi * (hour - 8) / 24)


def followed(
    hours: float, tau: float = 2.0, begin: float = -72, heater: float = 0.0, set_c: float = 99.0, on: float = 99.0
) -> tuple[SlotSeries, SlotSeries]:
    """Water that follows the room with a time constant, a heater of so many C of lift from hour ``on``; and the room."""
    water, room = SlotSeries(), SlotSeries()
    value = room_c(begin)
    for k in range(round(begin * PER_HOUR), round(hours * PER_HOUR)):
        hour = k / PER_HOUR
        lift = heater if hour >= on and value < set_c else 0.0
        value += (room_c(hour) + lift - value) / tau / PER_HOUR
        water.put(START + k, 1, round(1000 * value))
        room.put(START + k, 1, round(1000 * room_c(hour)))
    return water, room


def at(told: Forecast, hour: float) -> float:
    mean, _ = told.at(np.array([T0 + hour * HOUR]))
    return float(mean[0])


def test_it_knows_at_dusk_that_the_night_will_be_cold() -> None:
    """With days of history, the forecast made in the warm evening comes within a degree of the coming night's low."""
    water, room = followed(11.0)  # evening: the water is near its warmest
    told = forecast(water, START + 11 * PER_HOUR, room)
    later, _ = followed(24.0)
    lowest = min(later.cell(START + k)[1] / 1000 for k in range(11 * PER_HOUR, 24 * PER_HOUR))
    assert told.now - lowest > 3.0
    assert abs(min(at(told, h) for h in np.arange(11, 24, 0.5)) - lowest) < 1.0


def test_without_a_room_probe_its_own_pattern_goes_on() -> None:
    """Without a room probe the water's own days tell of the night."""
    water, _ = followed(11.0)
    told = forecast(water, START + 11 * PER_HOUR)
    assert told.now - min(at(told, h) for h in np.arange(11, 24, 0.5)) > 3.0


def test_the_time_constant_is_learned() -> None:
    """The time constant of heat exchange is found within a third from three days of a room that changes."""
    for tau in (1.5, 5.0):
        water, room = followed(12.0, tau=tau)
        assert forecast(water, START + 12 * PER_HOUR, room, START).exchange_h == pytest.approx(tau, rel=0.34)


def test_fresh_water_goes_to_its_room() -> None:
    """Warm water filled in at the start is foreseen to cool to its room, not to stay warm."""
    water, room = followed(0.0)
    value = 26.0
    for k in range(8):
        value += (room_c(k / PER_HOUR) - value) / 2.0 / PER_HOUR
        water.put(START + k, 1, round(1000 * value))
        room.put(START + k, 1, round(1000 * room_c(k / PER_HOUR)))
    told = forecast(water, START + 8, room, START)
    assert told.held is None
    assert abs(at(told, 10.0) - room_c(9.0)) < 1.0


def test_a_heater_is_seen_and_holds() -> None:
    """Water that a thermostat has held at 27 C for hours is foreseen to stay there through the cold night."""
    water, room = followed(12.0, heater=15.0, set_c=27.0, on=0.0)
    told = forecast(water, START + 12 * PER_HOUR, room, START)
    assert told.held is not None
    assert all(abs(at(told, h) - 27.0) < 0.7 for h in np.arange(12.5, 30, 0.5))


def test_a_heater_just_put_on_is_seen_on_the_way() -> None:
    """Water that rises through its room within the first hour is foreseen to go on to where keepers set heaters."""
    water, room = followed(0.8, heater=15.0, set_c=26.5, on=0.0)
    told = forecast(water, START + 10, room, START)
    assert told.held is not None
    assert 25.0 < at(told, 8.0) < 28.0


def test_a_heater_too_weak_follows_the_room() -> None:
    """A heater that can lift the water by 4 C only is foreseen to do so in the night as well, not to hold a temperature."""
    water, room = followed(12.0, heater=4.0, set_c=40.0, on=0.0)
    told = forecast(water, START + 12 * PER_HOUR, room, START)
    later, _ = followed(24.0, heater=4.0, set_c=40.0, on=0.0)
    night = later.cell(START + 22 * PER_HOUR)[1] / 1000
    assert abs(at(told, 22.0) - night) < 1.3


def test_a_heater_that_fails_is_noticed() -> None:
    """When heated water falls through all it did before, as fast as free water, it is foreseen to go to its room."""
    water, room = followed(12.0, heater=15.0, set_c=27.0, on=0.0)
    value = 27.0
    for k in range(12 * PER_HOUR, 14 * PER_HOUR):
        value += (room_c(k / PER_HOUR) - value) / 2.0 / PER_HOUR
        water.put(START + k, 1, round(1000 * value))
        room.put(START + k, 1, round(1000 * room_c(k / PER_HOUR)))
    told = forecast(water, START + 14 * PER_HOUR, room, START)
    assert told.held is None
    assert abs(at(told, 22.0) - room_c(20.0)) < 1.5


def test_the_spread_grows_with_the_horizon() -> None:
    """The further ahead the wider, and wider where days have differed more."""
    quiet, _ = followed(0.0)
    wild = SlotSeries()
    for k in range(-72 * PER_HOUR, 0):
        day = (k // (24 * PER_HOUR)) % 2
        wild.put(START + k, 1, round(1000 * (17.0 + 6.0 * day)))
    hours = T0 + np.array([1.0, 6.0, 24.0, 72.0]) * HOUR
    for series in (quiet, wild):
        _, sd = forecast(series, START).at(hours)
        assert (np.diff(sd) > 0).all()
    assert forecast(wild, START).at(hours)[1][2] > 2 * forecast(quiet, START).at(hours)[1][2]


def test_nothing_told_is_a_guess() -> None:
    """Without any water temperature the forecast says that it does not know, and is wide."""
    told = forecast(SlotSeries(), START)
    assert not told.known
    assert told.at(np.array([float(T0)]))[1][0] >= 2.0


def test_a_pattern_comes_through_water_weaker_and_later() -> None:
    """A first-order lag of 3 h weakens a daily wave to 0.79 and delays it by 2.5 h (arithmetic of the lag)."""
    hours = np.arange(24)
    wave = np.cos(2 * np.pi * hours / 24)
    lagged = through(wave, 3.0)
    omega = 2 * np.pi / 24
    assert lagged.max() == pytest.approx(1 / math.hypot(1, omega * 3.0), abs=0.02)
    assert int(lagged.argmax()) == round(math.atan(omega * 3.0) / omega)
    assert EXCHANGE_H > 0


def test_a_vessel_that_was_always_heated_is_expected_to_be() -> None:
    """Fresh water near the set point of a vessel that was heated in its last batches is foreseen to be held there."""
    water, room = followed(0.0)
    for k in range(3):
        water.put(START + 1 + 2 * k, 1, round(1000 * (27.2 - 0.6 * k)))
        room.put(START + 1 + 2 * k, 1, round(1000 * room_c(k / 6)))
    upto = START + 6
    habit = Habit((27.0, 27.1))
    assert forecast(water, upto, room, START).held is None
    assert forecast(water, upto, room, START, habit).held == pytest.approx(27.05)
    assert forecast(water, upto, room, START, Habit((27.0, None))).held is None


def test_a_habit_is_learned_from_how_a_batch_stood() -> None:
    """A batch that was held at 27 C teaches the vessel that, one that followed its room teaches that it was not heated."""
    heated, room = followed(20.0, heater=15.0, set_c=27.0, on=0.0)
    free, _ = followed(20.0)
    habit = NO_HABIT.after(heated, room, START, START + 20 * PER_HOUR)
    assert habit.held[0] == pytest.approx(27.0, abs=0.5)
    assert habit.after(free, room, START, START + 20 * PER_HOUR).held[1] is None
