"""A board's /sys as the kernel's drivers show it, in a folder."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

SCRATCHPAD = "8a 01 4b 46 7f ff 06 10 16"


def answer(milli: int, *, scratchpad: str = SCRATCHPAD, fits: bool = True) -> str:
    """What the thermometer's driver writes into w1_slave, in the form its documentation gives."""
    crc = f"{scratchpad} : crc={scratchpad[-2:]} {'YES' if fits else 'NO'}\n"
    return f"{crc}{scratchpad} t={milli}\n"


class Tree:
    """Devices come and go as they do on a real board."""

    def __init__(self, root: Path) -> None:
        self.root = root
        (root / "bus/w1/devices/w1_bus_master1").mkdir(parents=True)

    def thermometer(self, device: str, text: str) -> None:
        """Put it on the bus, or change what it says; in one step, as the kernel answers."""
        folder = self.root / "bus/w1/devices" / device
        folder.mkdir(exist_ok=True)
        new = folder / "new"
        new.write_text(text)
        new.replace(folder / "w1_slave")

    def unplug(self, device: str) -> None:
        (self.root / "bus/w1/devices" / device / "w1_slave").unlink()
        (self.root / "bus/w1/devices" / device).rmdir()

    def converter(self, number: int, **files: str) -> None:
        folder = self.root / f"bus/iio/devices/iio:device{number}"
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            (folder / name).write_text(f"{text}\n")
