"""Ways in which probes may speak, all invented: what each publishes, and the binding that reads it."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Callable

Value = float | str
PERIOD_S: Final = 10.0

CONFIG: Final = """\
# what the keeper wrote by hand stays
[site]
id = "yard"
timezone = "Europe/Berlin"
feeding_times = ["07:00"]

[broker]
url = "mqtt://127.0.0.1:{port}"

[[vessel]]
id = "ash"
litres = 1.5

[[vessel]]
id = "birch"
litres = 2

[[vessel]]
id = "cedar"
litres = 1

[[cold_store]]
id = "fridge"

[[probe]]
id = "room"
topic = "yard/hall"
measures = "room"
"""


@dataclass(frozen=True)
class Style:
    """``says`` gives the message of a number, at a time in s since 1970; ``reads`` the values of all probes in it.

    ``probes`` are the options that count, one table a probe, in any order.
    """

    name: str
    topic: str
    says: Callable[[int, float], object]
    probes: tuple[dict[str, Any], ...]
    reads: Callable[[int], tuple[Value, ...]]
    odd: frozenset[str] = field(default=frozenset())  # options that are to be checked by a person

    def payload(self, number: int, now_s: float) -> bytes:
        said = self.says(number, now_s)
        return said.encode() if isinstance(said, str) else json.dumps(said, ensure_ascii=False).encode()


def rfc3339(now_s: float) -> str:
    return datetime.fromtimestamp(now_s, UTC).isoformat(timespec="milliseconds")


THRESHOLD: Final = frozenset({"threshold"})
STYLES: Final = (
    Style(
        "a bare number",
        "yard/ash/water/temp",
        lambda n, _: f"{24 + n / 10:.1f}",
        ({"decoder": "number", "measures": "water", "vessel": "ash", "unit": "C"},),
        lambda n: (24 + n / 10,),
    ),
    Style(
        "a bare word",
        "yard/ash/pump",
        lambda n, _: "running" if n % 2 else "stopped",
        ({"decoder": "number", "measures": "air", "vessel": "ash"},),
        lambda n: ("running" if n % 2 else "stopped",),
    ),
    Style(
        "a word of another language",
        "yard/pumpe/birch",
        lambda n, _: "AN\n" if n % 2 else "AUS\n",
        ({"decoder": "number", "measures": "air", "vessel": "birch", "words_on": ["an"], "words_off": ["aus"]},),
        lambda n: ("running" if n % 2 else "stopped",),
    ),
    Style(
        "objects in an object, its own time as text",
        "yard/ash",
        lambda n, now: {"water": {"cel": 24 + n, "lux": 120}, "at": rfc3339(now), "rssi": -61},
        ({"decoder": "json", "pointer": "/water/cel", "time_pointer": "/at", "measures": "water", "vessel": "ash"},),
        lambda n: (24.0 + n,),
    ),
    Style(
        "short keys, Fahrenheit, seconds since 1970 and a count",
        "yard/birch",
        lambda n, now: {"t_f": 77 + n, "n": 400 + n, "ts": round(now), "batt": 3.1},
        (
            {
                "pointer": "/t_f",
                "time_pointer": "/ts",
                "sequence_pointer": "/n",
                "measures": "water",
                "vessel": "birch",
                "unit": "F",
            },
        ),
        lambda n: ((77 + n - 32) * 5 / 9,),
        frozenset({"measures"}),  # a temperature on a vessel's topic need not be its water's
    ),
    Style(
        "the room, with humidity, milliseconds since 1970",
        "yard/corner",
        lambda n, now: {"roomTemp": 19.5 + n, "rh": 44, "utc": round(now * 1000)},
        ({"pointer": "/roomTemp", "time_pointer": "/utc", "measures": "room", "unit": "C", "id": "room-2"},),
        lambda n: (19.5 + n,),
    ),
    Style(
        "SenML with a base name, water in K and bubbles",
        "yard/cedar/pack",
        lambda n, now: [
            {"bn": "yard:cedar:", "bt": now, "n": "water", "u": "K", "v": 297.15 + n},
            {"n": "bubbles", "u": "1/min", "v": 100},
        ],
        (
            {"decoder": "senml", "name": "yard:cedar:water", "measures": "water", "vessel": "cedar", "unit": "K"},
            {"decoder": "senml", "name": "yard:cedar:bubbles", "measures": "air", "vessel": "cedar", "unit": "1/min"},
        ),
        lambda n: (24.0 + n, 100.0),
        THRESHOLD,
    ),
    Style(
        "a list of named readings, each with its unit",
        "yard/all",
        lambda n, _: {
            "readings": [
                {"name": "birch water", "value": 75.2 + n, "unit": "°F"},
                {"name": "birch air", "value": bool(n % 2)},
                {"name": "heater", "value": True},
            ]
        },
        (
            {"pointer": "/readings/0/value", "measures": "water", "vessel": "birch", "unit": "F"},
            {"pointer": "/readings/1/value", "measures": "air", "vessel": "birch"},
        ),
        lambda n: ((75.2 + n - 32) * 5 / 9, "running" if n % 2 else "stopped"),
        frozenset({"pointer"}),  # a place in a list
    ),
    Style(
        "what the pump draws",
        "yard/cedar/airPump",
        lambda n, _: {"powerW": 3.2 if n % 2 else 0.1, "energy_kwh": 12.5},
        (
            {
                "pointer": "/powerW",
                "measures": "air",
                "vessel": "cedar",
                "unit": "W",
                "threshold": 1.7,
                "deadband": 0.42,
            },
        ),
        lambda n: (3.2 if n % 2 else 0.1,),
        THRESHOLD,
    ),
    Style(
        "a running count of pulses",
        "yard/birch/bubbler",
        lambda n, _: {"pulses": 5000 + 20 * n},
        ({"pointer": "/pulses", "measures": "air", "vessel": "birch", "pulses": True},),
        lambda n: (5000.0 + 20 * n,),
        THRESHOLD,
    ),
    Style(
        "a number in a text, of the cold store",
        "yard/fridge",
        lambda n, _: {"temperature": f"{3 + n / 10:.1f}", "target": "4.0"},
        ({"pointer": "/temperature", "measures": "store", "store": "fridge", "unit": "C"},),
        lambda n: (3 + n / 10,),
    ),
    Style(
        "a switch of 0 and 1",
        "yard/cedar/aeration/state",
        lambda n, _: str(n % 2),
        ({"decoder": "number", "measures": "air", "vessel": "cedar"},),
        lambda n: ("running" if n % 2 else "stopped",),
    ),
    Style(
        "a key with a slash and a tilde, Kelvin",
        "yard/sensors",
        lambda n, _: {"cedar/water~k": 297.15 + n},
        ({"pointer": "/cedar~1water~0k", "measures": "water", "vessel": "cedar", "unit": "K"},),
        lambda n: (24.0 + n,),
    ),
    Style(
        "the flow of the air, as a bare number in its own topic",
        "yard/air/ash/lpm",
        lambda _n, _: "1.20",
        ({"decoder": "number", "measures": "air", "vessel": "ash", "unit": "L/min", "threshold": 0.6},),
        lambda _: (1.2,),
        THRESHOLD,
    ),
)
