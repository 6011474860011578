"""Pins by gpiozero's own mock pins: levels, pulses, and a pin that cannot be had."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory

from monitor.core.model import Air, AirRule, Measures, ProbeSpec
from monitor.core.quality import ProbeState, judge
from monitor.intake.binding import Binding
from monitor.intake.decode import decode
from monitor.probe.fault import SensorFault
from monitor.probe.pins import PinSensor
from monitor.probe.ring import Held
from monitor.probe.settings import Pin

if TYPE_CHECKING:
    from collections.abc import Iterator

MINUTE = 60_000
T0 = 1_770_000_000_000


@pytest.fixture
def factory() -> Iterator[Any]:
    """The pins of a board that is not there."""
    before, Device.pin_factory = Device.pin_factory, MockFactory()
    yield Device.pin_factory
    Device.pin_factory.reset()
    Device.pin_factory = before


@pytest.fixture
def sensor(factory: Any) -> Iterator[Any]:  # noqa: ARG001  (the pins must be there first)
    made: list[PinSensor] = []

    def make(**given: Any) -> PinSensor:
        made.append(PinSensor(Pin.model_validate({"id": "ash-air", "pin": 17} | given)))
        return made[-1]

    yield make
    for one in made:
        one.close()


@pytest.mark.parametrize("pull", ["up", "down", "none"])
@pytest.mark.parametrize("running", ["low", "high"])
def test_a_level_means_what_the_keeper_says(factory: Any, sensor: Any, pull: str, running: str) -> None:
    """Whatever holds the pin, the level that was named is running and the other one is stopped."""
    one = sensor(pull=pull, running=running)
    one.measure()
    pin = factory.pin(17)
    pin.drive_low()
    assert one.measure() == ("running" if running == "low" else "stopped")
    pin.drive_high()
    assert one.measure() == ("running" if running == "high" else "stopped")


@pytest.mark.parametrize("pull", ["up", "down", "none"])
@pytest.mark.parametrize("running", ["low", "high"])
def test_pulses_are_counted_once_each(factory: Any, sensor: Any, pull: str, running: str) -> None:
    """There and back is one pulse, not two."""
    one = sensor(pull=pull, running=running, pulses=True)
    one.measure()
    pin = factory.pin(17)
    rest, tick = (pin.drive_low, pin.drive_high) if running == "high" else (pin.drive_high, pin.drive_low)
    rest()
    before = one.measure()
    for _ in range(5):
        tick()
        rest()
    assert one.measure() - before == 5


def test_a_pin_that_is_in_use_is_a_fault_until_it_is_free(sensor: Any) -> None:
    """Somebody else's pin is told as a fault; when it is given up, measuring begins without a restart."""
    first, second = sensor(), sensor()
    first.measure()
    with pytest.raises(SensorFault, match="GPIO 17 cannot be had"):
        second.measure()
    first.close()
    assert second.measure() in ("running", "stopped")


def test_the_monitor_tells_running_weak_and_stopped_from_pulses(factory: Any, sensor: Any) -> None:
    """A vibration switch that ticks, ticks seldom, and is still: the monitor's own judgement of what the board publishes."""
    one = sensor(pulses=True)
    rule = AirRule("pulses", 10.0, 0.0, 30.0)
    state = ProbeState(ProbeSpec("ash-air", Measures.AIR, "ash", MINUTE, -math.inf, math.inf, math.inf, air=rule))
    binding = Binding(
        "t", "ash-air", "json", Measures.AIR, pointer="/value", time_pointer="/time", sequence_pointer="/n"
    )
    told = []
    for n, ticks in enumerate((0, 60, 20, 0)):
        one.measure()
        for _ in range(ticks):
            factory.pin(17).drive_low()
            factory.pin(17).drive_high()
        time = T0 + n * MINUTE
        (sample,) = decode(Held(n, "t", one.measure(), 0, MINUTE, time).encode(), binding, None)
        told.append(judge(state, sample, time).state)
    assert told == [None, Air.RUNNING, Air.WEAK, Air.STOPPED]


def test_where_there_are_no_pins_the_fault_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a machine that has none, or without the library that reads them, no keeper sees a traceback."""
    monkeypatch.setattr(Device, "pin_factory", None)
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "")
    with pytest.raises(SensorFault, match="nothing here can read pins"):
        PinSensor(Pin.model_validate({"id": "ash-air", "pin": 17})).measure()


def test_without_the_library_the_fault_says_what_to_install(sensor: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """A board without gpiozero is told the one line that brings it."""
    monkeypatch.setitem(__import__("sys").modules, "gpiozero", None)
    with pytest.raises(SensorFault, match=r"pip install 'swimup\[probe\]'"):
        sensor().measure()
