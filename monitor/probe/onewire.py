"""Thermometers on the 1-Wire bus, as the kernel's driver shows them (Documentation/w1/slaves/w1_therm.rst).

A bus that is broken seldom says so. What it says instead is caught here: a checksum that does not fit; the value of a chip
that was just powered up; and a line held at ground, which reads as nine bytes of nought whose checksum even fits.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from monitor.probe.fault import SensorFault

if TYPE_CHECKING:
    from pathlib import Path

FOLDER: Final = "bus/w1/devices"
FAMILIES: Final = ("10", "22", "28", "3b", "42")  # thermometers, by the first byte of their number
LOWEST_MILLI, HIGHEST_MILLI = -55_000, 125_000
"""What the chips can measure, in thousandths of a degree (data sheet of the DS18B20, "Operating conditions")."""
POWER_ON_MILLI: Final = 85_000  # the same data sheet, "Memory": the value before the first conversion
TRIES: Final = 2  # one checksum that does not fit is a spark nearby; common practice, no source

_ANSWER = re.compile(r"((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)\n.*\bt=(-?\d+)\s*", re.DOTALL)


def devices(sysfs: Path) -> list[str]:
    """The thermometers the bus has now, by number."""
    folder = sysfs / FOLDER
    return sorted(path.name for path in folder.glob("*-*") if path.name.partition("-")[0] in FAMILIES)


def measure(sysfs: Path, device: str) -> float:
    """Degrees Celsius; takes most of a second. Raises SensorFault."""
    for tries_left in range(TRIES - 1, -1, -1):
        try:
            return _once(sysfs, device)
        except SensorFault:
            if not tries_left:
                raise
    raise AssertionError  # the last try returns or raises


def _once(sysfs: Path, device: str) -> float:
    try:
        text = (sysfs / FOLDER / device / "w1_slave").read_text(encoding="ascii", errors="replace")
    except FileNotFoundError:
        raise SensorFault(_absent(sysfs, device)) from None
    except OSError as error:
        raise SensorFault(
            f"the bus gives no answer ({error.strerror}): a loose wire, or no pull-up resistor"
        ) from error
    return judge(text)


def judge(text: str) -> float:
    """Degrees Celsius in what the driver's file ``w1_slave`` says. Raises SensorFault."""
    match = _ANSWER.fullmatch(text)
    if match is None:
        raise SensorFault("the driver's answer is cut short: a loose wire")
    scratchpad, checksum, milli = match[1], match[2], int(match[3])
    if set(scratchpad) <= {"0", " "}:
        raise SensorFault("nothing but noughts: the data wire touches ground")
    if checksum == "NO":
        raise SensorFault("the checksum does not fit: a loose wire, a long one, or no pull-up resistor")
    if milli == POWER_ON_MILLI:
        raise SensorFault("85.0 C is what the chip says before it has measured: its supply comes and goes")
    if not LOWEST_MILLI <= milli <= HIGHEST_MILLI:
        raise SensorFault(f"{milli / 1000:.1f} C is more or less than the chip can measure")
    return milli / 1000


def _absent(sysfs: Path, device: str) -> str:
    if not (sysfs / FOLDER).is_dir():
        return "this board has no 1-Wire bus: switch it on (dtoverlay=w1-gpio in config.txt, then restart)"
    found = ", ".join(devices(sysfs)) or "none"
    return f"{device} is not on the bus; there: {found}. Look at its plug and wires"
