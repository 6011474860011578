"""What the machine tells of itself in its files: disk, card, memory, heat, power. Reads only; what is missing is not known."""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Final

from monitor.core.checkup_facts import Card, Machine
from monitor.service.figures import SIDES
from monitor.service.host import folder_of, room

ROOT: Final = Path("/")
SECTOR: Final = 512
"""Bytes, whatever the device's own blocks are: Documentation/block/stat.rst of Linux."""
WRITTEN: Final = 6  # the field of that file with the sectors written
THROTTLED: Final = Path("sys/devices/platform/soc/soc:firmware/get_throttled")
VOLT_SENSOR: Final = "rpi_volt"
LOW_NOW: Final = 1 << 0
LOW_BEFORE: Final = 1 << 16
"""Raspberry Pi documentation, vcgencmd get_throttled: under-voltage at this moment; it has occurred."""
TICKS: Final = 100.0
"""A second, where the system does not say: proc(5)."""


def measure(store_path: str, root: Path = ROOT, device: int | None = None) -> Machine:
    """The machine, without this process. ``root``: where ``proc`` and ``sys`` lie; ``device``: the store's, when it is known."""
    folder = folder_of(store_path)
    space = room(folder)
    whole = _table(root / "proc/meminfo")
    up = _up(root)
    low, was_low = _power(root)
    return Machine(
        disk_free=None if space is None else space[0],
        disk_size=None if space is None else space[1],
        store_size=store_size(store_path),
        card=card(root, _device(folder) if device is None else device),
        up_for=None if up is None else round(up * 1000),
        memory_free=whole.get("MemAvailable"),
        memory_size=whole.get("MemTotal"),
        processor_c=processor_c(root),
        power_low=low,
        power_was_low=was_low,
    )


def of_process(machine: Machine, root: Path = ROOT) -> Machine:
    """The same, with what this process takes of it."""
    return replace(
        machine,
        written=_table(root / "proc/self/io").get("write_bytes"),
        ran_for=_ran_for(root, _up(root)),
        memory_used=_table(root / "proc/self/status").get("VmRSS"),
        memory_limit=memory_limit(root),
    )


def store_size(store_path: str) -> int | None:
    """Bytes of the file and the log beside it; ``None`` while there is none."""
    try:
        files = [Path(f"{store_path}{side}") for side in SIDES]
        there = [file.stat().st_size for file in files if file.exists()]
    except OSError:
        return None
    return sum(there) if there else None


def _text(path: Path) -> str:
    """Empty for what is not there or may not be read."""
    try:
        return path.read_text("utf-8", "replace").strip()
    except OSError:
        return ""


def _number(text: str) -> int | None:
    try:
        return int(text)
    except ValueError:
        return None


def _table(path: Path) -> dict[str, int]:
    """``name: 12 kB`` in each line, as bytes."""
    found: dict[str, int] = {}
    for line in _text(path).splitlines():
        name, _, rest = line.partition(":")
        words = rest.split()
        number = _number(words[0]) if words else None
        if number is not None:
            found[name] = number * 1024 if words[1:] == ["kB"] else number
    return found


def _up(root: Path) -> float | None:
    """Seconds since the machine began."""
    words = _text(root / "proc/uptime").split()
    with suppress(IndexError, ValueError):
        return float(words[0])
    return None


def _ran_for(root: Path, up: float | None) -> int | None:
    """Of this process, ms: its beginning is the 22nd field of proc/self/stat, in ticks since the machine began (proc(5))."""
    after_name = _text(root / "proc/self/stat").rpartition(")")[2].split()
    begun = _number(after_name[19]) if len(after_name) > 19 else None
    if begun is None or up is None:
        return None
    return max(round((up - begun / _ticks()) * 1000), 0)


def _ticks() -> float:
    try:
        return float(os.sysconf("SC_CLK_TCK"))
    except (OSError, ValueError):
        return TICKS


def _device(folder: Path) -> int | None:
    try:
        return folder.stat().st_dev
    except OSError:
        return None


def card(root: Path, device: int | None) -> Card | None:
    """The whole disk behind a device; ``None`` where the folder lies on none, as in some containers."""
    if device is None:
        return None
    place = root / f"sys/dev/block/{os.major(device)}:{os.minor(device)}"
    try:
        place = place.resolve(strict=True)
    except OSError:
        return None
    if (place / "partition").exists():
        place = place.parent
    fields = _text(place / "stat").split()
    written = _number(fields[WRITTEN]) if len(fields) > WRITTEN else None
    size = _number(_text(place / "size"))
    return Card(place.name, None if not size else size * SECTOR, None if written is None else written * SECTOR)


def memory_limit(root: Path) -> int | None:
    """What the service's group may use at most (cgroup v2); ``None`` without a limit."""
    group = next(
        (line.removeprefix("0::/") for line in _text(root / "proc/self/cgroup").splitlines() if line.startswith("0::")),
        None,
    )
    return None if group is None else _number(_text(root / "sys/fs/cgroup" / group / "memory.max"))


def processor_c(root: Path) -> float | None:
    """The warmest of all zones that call themselves a processor's; of the first zone where none does."""
    zones = sorted((root / "sys/class/thermal").glob("thermal_zone*"))
    named = [zone for zone in zones if "cpu" in _text(zone / "type").lower()]
    found = [_number(_text(zone / "temp")) for zone in named or zones[:1]]
    known = [milli for milli in found if milli is not None]
    return max(known) / 1000 if known else None


def _power(root: Path) -> tuple[bool | None, bool | None]:
    """Whether the voltage is too low now, and whether it was before; only some boards tell.

    The sensor is Linux's drivers/hwmon/raspberrypi-hwmon.c: it asks the board every two seconds, and tells of these two.
    """
    for sensor in sorted((root / "sys/class/hwmon").glob("hwmon*")):
        alarm = _number(_text(sensor / "in0_lcrit_alarm"))
        if _text(sensor / "name") == VOLT_SENSOR and alarm is not None:
            return bool(alarm), None
    with suppress(ValueError):
        bits = int(_text(root / THROTTLED), 16)
        return bool(bits & LOW_NOW), bool(bits & LOW_BEFORE)
    return None, None
