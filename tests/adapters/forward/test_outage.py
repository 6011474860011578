"""Against a real time-series server, stock but for the options that deploy/series/README.md asks for."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from monitor.core.model import DAY, HOUR, MINUTE, Reading
from monitor.forward import Pace
from tests.adapters.forward.test_write_api import estimate, transition

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.adapters.forward.conftest import SeriesStore, Shed

    Patiently = Callable[[Callable[[], object], str], None]

T0 = 1_770_000_000_000
SETTLE_S = 20.0  # twice what a killed server was found to have lost
PACE = Pace(every_s=0.1, settle_s=SETTLE_S, lines=5000, rest=0.0, least_rest_s=0.0)
QUERIES = Path(__file__).parents[3] / "deploy/series/README.md"


def a_while(shed: Shed, since: int, until: int, step: int = 20_000) -> None:
    """Two vessels, water and air, a reading of each every 20 s."""
    for time in range(since, until, step):
        celsius = 25_000 + time // step % 500
        for n, vessel in enumerate(("ash", "birch")):
            shed.store.add(Reading(f"{vessel}-water", time + n, celsius + n, own_time=True))
            shed.store.add(Reading(f"{vessel}-air", time + n, 1000, state=1, own_time=True))


def test_no_gap_and_no_double_after_an_outage_and_a_kill(
    shed: Shed, series_store: SeriesStore, patiently: Patiently
) -> None:
    """A day of outage, late readings, a kill of the server in the middle of the back-fill and one of the copier: all there, once."""
    series_store.start()
    a_while(shed, T0, T0 + HOUR)
    shed.commit()
    shed.forward(series_store.url, PACE)
    patiently(lambda: shed.state["state"] == "current", "the first hour is not sent")
    series_store.kill()
    for hour in range(1, 25):
        a_while(shed, T0 + hour * HOUR, T0 + (hour + 1) * HOUR)
        shed.commit()
    shed.store.add(Reading("room", T0 + HOUR // 2, 21_000, own_time=True))  # its queue was long
    shed.commit()
    patiently(lambda: shed.state["state"] == "failing", "the outage is not noticed")
    series_store.start()
    patiently(lambda: shed.state["sent"] > 5_000, "the back-fill does not begin")
    series_store.kill()
    shed.restart()
    series_store.start()
    shed.forward(series_store.url, PACE)
    patiently(lambda: shed.state["state"] == "current", "the back-fill does not end")
    newest = shed.newest()
    series_store.kill()  # right after: what was sent last is lost, and nothing tells so
    series_store.start()
    patiently(lambda: shed.moved and shed.moved[-1].reached.reading >= newest, "not settled")
    patiently(lambda: shed.state["state"] == "current", "it is not current again")

    stored = sorted((reading.probe, reading.time, reading.value) for reading in shed.store.readings(0))
    found = series_store.points('{__name__="reading_value"}')
    assert len(stored) == 25 * 180 * 4 + 1
    assert sorted((labels["probe"], time, value) for labels, time, value in found) == stored
