"""What the monitor's configuration needs, so that it understands this board."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.probe.settings import Adc, OneWire, Pin
from monitor.settings.units import write_duration

if TYPE_CHECKING:
    from monitor.probe.settings import BoardSettings, Sensor

HEAD = """\
# For the monitor's swimup.toml. What each one measures, and of which vessel, is guessed from its id: look it over.
"""


def bindings(settings: BoardSettings) -> str:
    """A [[probe]] table for each sensor, as TOML."""
    return "\n".join([HEAD, *(_table(settings, sensor) for sensor in settings.sensors)])


def _table(settings: BoardSettings, sensor: Sensor) -> str:
    lines = [
        "[[probe]]",
        f'id = "{sensor.id}"',
        f'topic = "{settings.topic(sensor)}"',
        'decoder = "json"',
        'pointer = "/value"',
        'time_pointer = "/time"',
        'sequence_pointer = "/n"',
        *_meaning(sensor),
        f'every = "{write_duration(sensor.every)}"',
        "",
    ]
    return "\n".join(lines)


def _meaning(sensor: Sensor) -> list[str]:
    vessel = sensor.id.rpartition("-")[0] or sensor.id
    if isinstance(sensor, OneWire):
        for place in ("room", "store"):
            if place in sensor.id.split("-"):
                return [f'measures = "{place}"', 'unit = "C"']
        return ['measures = "water"', f'vessel = "{vessel}"', 'unit = "C"']
    air = ['measures = "air"', f'vessel = "{vessel}"']
    if isinstance(sensor, Pin) and sensor.pulses:
        return [*air, "pulses = true", "threshold = 10  # pulses a minute: half of what a good pump gives"]
    if isinstance(sensor, Adc):
        return [*air, "threshold = 0.5  # watch it run and stop, then put it half way between"]
    return air
