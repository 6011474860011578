"""Voltages from an analogue-to-digital converter, as the kernel's industrial input driver shows them.

Files and units: Documentation/ABI/testing/sysfs-bus-iio of the Linux kernel; millivolts = (raw + offset) * scale.
"""

from __future__ import annotations

import math
import time
from pathlib import Path  # noqa: TC003  (a field of a tuple)
from typing import TYPE_CHECKING, Final, NamedTuple

from monitor.probe.fault import SensorFault

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.probe.settings import Adc

FOLDER: Final = "bus/iio/devices"
PAUSES_S: Final = (0.0013, 0.0029, 0.0041)
"""Between looks. Uneven, so that no mains frequency can hide by always being met at the same phase."""


class Found(NamedTuple):
    device: str
    channel: str
    folder: Path


def channels(sysfs: Path) -> list[Found]:
    """Every voltage input there is."""
    found: list[Found] = []
    for place in sorted((sysfs / FOLDER).glob("iio:device*")):
        inputs = sorted(raw.name.removeprefix("in_").removesuffix("_raw") for raw in place.glob("in_voltage*_raw"))
        found += [Found(_name(place), one, place) for one in inputs]
    return found


def measure(sysfs: Path, adc: Adc, pause: Callable[[float], None] = time.sleep) -> float:
    """The reading in the units of its configuration. Raises SensorFault."""
    looks = []
    place = _folder(sysfs, adc.device)
    for number in range(adc.samples):
        if number:
            pause(PAUSES_S[number % len(PAUSES_S)])
        looks.append(_believed(volts(place, adc.channel), adc))
    mean = math.fsum(looks) / len(looks)
    value = math.sqrt(math.fsum((look - mean) ** 2 for look in looks) / len(looks)) if adc.swing else mean
    return round(value * adc.factor + adc.shift, 4)


def volts(place: Path, channel: str) -> float:
    """One look. Raises SensorFault."""
    raw = _number(place / f"in_{channel}_raw")
    if raw is None:
        raise SensorFault(f'the converter has no input "{channel}": "swimup probe --list" shows what it has')
    # Scale and offset may be told for the one input or for all of a kind.
    scale = _first(place, f"in_{channel}_scale", "in_voltage_scale")
    if scale is None:
        raise SensorFault("the driver does not say how many millivolts a step is")
    offset = _first(place, f"in_{channel}_offset", "in_voltage_offset")
    return (raw + (offset or 0.0)) * scale / 1000


def _believed(found: float, adc: Adc) -> float:
    if adc.least is not None and found < adc.least:
        raise SensorFault(f"{found:.3f} V is below {adc.least:g} V: a broken wire, or the sensor has no supply")
    if adc.most is not None and found > adc.most:
        raise SensorFault(f"{found:.3f} V is above {adc.most:g} V: a short, or the sensor's ground is loose")
    return found


def _folder(sysfs: Path, device: str) -> Path:
    for place in sorted((sysfs / FOLDER).glob("iio:device*")):
        if device in (place.name, _name(place)):
            return place
    there = ", ".join(dict.fromkeys(found.device for found in channels(sysfs))) or "none"
    raise SensorFault(f'there is no converter "{device}"; there: {there}. Look at its wires and the overlay')


def _name(folder: Path) -> str:
    try:
        return (folder / "name").read_text(encoding="ascii", errors="replace").strip() or folder.name
    except OSError:
        return folder.name


def _first(folder: Path, *names: str) -> float | None:
    for name in names:
        if (number := _number(folder / name)) is not None:
            return number
    return None


def _number(path: Path) -> float | None:
    """The number in a file; None when there is no such file. Raises SensorFault when it cannot be read."""
    try:
        text = path.read_text(encoding="ascii", errors="replace")
    except FileNotFoundError:
        return None
    except OSError as error:
        raise SensorFault(
            f"the converter does not answer ({error.strerror}): a loose wire or a wrong address"
        ) from error
    try:
        return float(text)
    except ValueError:
        raise SensorFault(f'"{text[:20]!s}" is no number') from None
