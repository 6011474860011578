"""How much memory the daemon takes and how soon its page answers, on this machine; prints a table for people.

    python -m tests.bench.measure_daemon

It needs mosquitto on the PATH. Nothing here is asserted: a loaded machine measures itself.
"""

from __future__ import annotations

import statistics
import time
from contextlib import ExitStack
from functools import partial
from operator import ne
from typing import TYPE_CHECKING
from urllib.error import URLError

from tests.bench.markdown import noted
from tests.conftest import Mosquitto
from tests.system.daemon import Daemon, Phone, send, until
from tests.system.shed_of_ten import BATCHES, minutes_of_readings, shed_of_ten

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

STARTS = 5
NEWS = 8


def first_page_s(daemon: Daemon) -> float:
    """Seconds from starting the process to the first whole page."""
    began = time.monotonic()
    daemon.start(ready=False)
    while True:
        try:
            daemon.page()
        except (URLError, OSError):
            time.sleep(0.005)
        else:
            return time.monotonic() - began


def news_s(daemon: Daemon, broker: Mosquitto) -> tuple[list[float], list[float]]:
    """Seconds from publishing a value to the bench showing it, and to the estimate that counts with it."""
    shown, reckoned = [], []
    for number in range(NEWS):
        celsius = 24.1 + number * 0.25
        before = daemon.ready_s()
        began = time.monotonic()
        send(broker, [("shed/ash/water", f"{celsius:.2f}")])
        daemon.until_water(round(celsius, 2))
        shown.append(time.monotonic() - began)
        daemon.until_ready(partial(ne, before), "the estimate does not move")
        reckoned.append(time.monotonic() - began)
    return shown, reckoned


def several(values: list[float], unit: str) -> str:
    return f"{statistics.median(values):.2f} {unit} (worst of {len(values)}: {max(values):.2f} {unit})"


def measure(folder: Path, note: Callable[[str, str], None]) -> None:
    with ExitStack() as stack:
        broker, phone = Mosquitto(folder / "broker"), Phone()
        broker.start()
        stack.callback(broker.kill)
        phone.start()
        stack.callback(phone.stop)
        daemon = Daemon(folder / "daemon", shed_of_ten(broker.url, phone.url))
        stack.callback(daemon.tear_down)

        daemon.start()
        until(daemon.connected)
        note("resident, 30 probes, just started", f"{daemon.resident_mb():.0f} MB")
        for vessel in BATCHES:
            daemon.told("batch", "start", vessel, "--cysts", "2 g")
        send(broker, minutes_of_readings(30))
        until(lambda: all(vessel["water"] for vessel in daemon.bench()["vessels"]))
        daemon.page()
        note("resident, with 6 batches and 30 min of readings (5400)", f"{daemon.resident_mb():.0f} MB")
        send(broker, [("shed/ash/air", "off")])
        until(lambda: phone.about("Air stopped in ash"))
        note("resident, after the first letter to a phone", f"{daemon.resident_mb():.0f} MB")
        shown, reckoned = news_s(daemon, broker)
        note("published to shown on the bench", several(shown, "s"))
        note("published to a new ETA", several(reckoned, "s"))
        stops, starts = [], []
        for _ in range(STARTS):
            began = time.monotonic()
            daemon.terminate()
            stops.append(time.monotonic() - began)
            starts.append(first_page_s(daemon))
        note("start to first page, state recalled", several(starts, "s"))
        note("told to end, to the end", several(stops, "s"))


if __name__ == "__main__":
    noted(measure)
