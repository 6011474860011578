"""Against a real time-series server, stock but for the options that deploy/series/README.md asks for."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.core.model import DAY, HOUR, Reading
from monitor.forward.sender import Pace

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.adapters.forward.conftest import Shed
    from tests.series_store import SeriesStore

    Patiently = Callable[[Callable[[], object], str], None]

BEGIN = (time.time_ns() // 1_000_000 // DAY - 3) * DAY
"""Some days ago: servers take nothing from the future, and clear away what is very old."""
SETTLE_S = 20.0  # twice what a killed server was found to have lost
PACE = Pace(every_s=0.1, settle_s=SETTLE_S, lines=5000, rest=0.0, least_rest_s=0.0)


def a_while(shed: Shed, since: int, until: int, step: int = 20_000) -> None:
    """Two vessels, water and air, a reading of each every 20 s."""
    for at in range(since, until, step):
        celsius = 25_000 + at // step % 500
        for n, vessel in enumerate(("ash", "birch")):
            shed.store.add(Reading(f"{vessel}-water", at + n, celsius + n, own_time=True))
            shed.store.add(Reading(f"{vessel}-air", at + n, 1000, state=1, own_time=True))


def goes_on(shed: Shed, hour: int) -> None:
    """Readings come in while the past is sent, a commit every ten minutes of them."""
    for begin in range(BEGIN + hour * HOUR, BEGIN + (hour + 1) * HOUR, HOUR // 6):
        a_while(shed, begin, begin + HOUR // 6)
        shed.commit()


def test_no_gap_and_no_double_after_an_outage_and_a_kill(
    shed: Shed, series_store: SeriesStore, patiently: Patiently
) -> None:
    """A day of outage, a late reading, kills of the server amid the back-fill and after it, a new copier,
    readings that come in meanwhile: all there, once.
    """
    series_store.start()
    a_while(shed, BEGIN, BEGIN + HOUR)
    shed.commit()
    shed.forward(series_store.url, replace(PACE, settle_s=600.0))  # what is lost in a kill was not yet settled
    patiently(lambda: shed.state["state"] == "current", "the first hour is not sent")
    series_store.kill()
    for hour in range(1, 25):
        a_while(shed, BEGIN + hour * HOUR, BEGIN + (hour + 1) * HOUR)
        shed.commit()
    shed.store.add(Reading("room", BEGIN + HOUR // 2, 21_000, own_time=True))  # its queue was long
    shed.commit()
    patiently(lambda: shed.state["state"] == "failing", "the outage is not noticed")
    series_store.start()
    patiently(lambda: shed.state["sent"] > 5_000, "the back-fill does not begin")
    goes_on(shed, 25)
    series_store.kill()
    shed.restart()
    series_store.start()
    shed.forward(series_store.url, PACE)
    goes_on(shed, 26)
    patiently(lambda: shed.state["state"] == "current", "the back-fill does not end")
    newest = shed.newest()
    series_store.kill()  # right after: what was sent last is lost, and nothing tells so
    series_store.start()
    patiently(lambda: shed.moved and shed.moved[-1].reached.reading >= newest, "not settled")
    patiently(lambda: shed.state["state"] == "current", "it is not current again")

    stored = sorted((reading.probe, reading.time, reading.value) for reading in shed.store.readings(0))
    found = series_store.points('{__name__="reading_value"}')
    assert len(stored) == 27 * 180 * 4 + 1
    assert sorted((labels["probe"], at, value) for labels, at, value in found) == stored
