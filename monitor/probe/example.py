"""The commented example, made from the models: ``python -m monitor.probe.example > config/probe.example.toml``."""

from __future__ import annotations

import sys
from typing import Any, Final

from monitor.probe.settings import LISTS, TABLES
from monitor.settings.example import written

HEAD: Final = """\
# Every option of "swimup probe", for a board with sensors of its own.
# Made from the program by "python -m monitor.probe.example": change it there.
#
# "swimup probe --list" tells what the board finds, --once measures everything once without a broker,
# and --bindings prints what the monitor's own configuration needs.
# Lines that begin with "#" and an option are not in force; they show the default, or an example where there is none.
# Lengths of time are written with their unit, "10 s", "12 h". Relative file names are looked up beside this file.
"""

IN_FORCE: Final[dict[str, list[dict[str, Any]]]] = {
    "board": [{"id": "zero-1", "topic": "shed/zero-1"}],
    "broker": [{"url": "mqtt://shed.home.arpa:1883"}],
    "one_wire": [
        {"id": "ash-water", "device": "28-0316a2798fff"},
        {"id": "shed-room", "device": "28-0316a2791abc", "every": "1 min"},
    ],
    "pin": [{"id": "ash-air", "pin": 17}, {"id": "birch-air", "pin": 27, "pulses": True}],
    "adc": [
        {
            "id": "cedar-air",
            "device": "ads1015",
            "channel": "voltage0",
            "factor": 2.5,
            "shift": -1.25,
            "least": 0.25,
            "most": 4.75,
        }
    ],
}


def example() -> str:
    """The example as TOML."""
    return written(HEAD, TABLES, LISTS, IN_FORCE)


if __name__ == "__main__":
    sys.stdout.write(example())
