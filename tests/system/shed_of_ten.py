"""The largest shed that is promised to fit a small board: ten vessels, thirty probes."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Final

from tests.system.daemon import air, configuration, probe, water

if TYPE_CHECKING:
    from collections.abc import Iterator

VESSELS: Final = ("ash", "birch", "cedar", "elm", "hazel", "larch", "maple", "oak", "rowan", "yew")
BATCHES: Final = VESSELS[:6]
PERIOD_S: Final = 10


def shed_of_ten(broker: str, phone: str | None) -> str:
    """Its configuration: in each vessel a water probe of bare numbers, a second one of SenML, and air as a word."""
    probes = []
    for vessel in VESSELS:
        pack = {"decoder": "senml", "name": f"{vessel}:low", "measures": "water", "vessel": vessel}
        probes += [water(vessel), air(vessel), probe(f"{vessel}-low", f"shed/{vessel}/low", **pack)]
    return configuration(
        broker, *probes, vessels=VESSELS, phone=phone, commit_every="10 s", alarms='air_on_delay = "1 s"'
    )


def minutes_of_readings(minutes: int) -> Iterator[tuple[str, str]]:
    """What the thirty probes say in so many minutes, as (topic, payload)."""
    for turn in range(minutes * 60 // PERIOD_S):
        for number, vessel in enumerate(VESSELS):
            celsius = 25 + number / 10 + turn % 20 / 100
            yield f"shed/{vessel}/water", f"{celsius:.2f}"
            yield f"shed/{vessel}/low", json.dumps([{"n": f"{vessel}:low", "u": "Cel", "v": round(celsius - 0.3, 2)}])
            yield f"shed/{vessel}/air", "on"
