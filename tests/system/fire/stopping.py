"""Faults against: it can be told to stop."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Final

from tests.system.daemon import configuration, send, until, water
from tests.system.fire.fault import Fault

if TYPE_CHECKING:
    from tests.system.fire.fault import Ground

COUNT: Final = 600
STOPS_WITHIN_S: Final = 10.0


def told_to_stop_under_load(ground: Ground) -> None:
    """SIGTERM while readings pour in: it ends in good order within ten seconds, and the next run has all of them once."""
    broker = ground.broker()
    daemon = ground.daemon(configuration(broker.url, water("ash")))
    daemon.start()
    until(daemon.connected)
    values = [20_000 + number for number in range(COUNT)]
    messages = [("shed/ash/water", f"{value / 1000:.3f}") for value in values]
    pouring = threading.Thread(target=send, args=(broker, messages, 0.002), name="probe")
    pouring.start()
    threading.Event().wait(ground.random.uniform(0.2, 1.0))
    assert daemon.terminate(STOPS_WITHIN_S) == 0
    daemon.start()
    pouring.join(60)
    until(lambda: len(daemon.stored("ash-water")) >= COUNT, "not all readings were stored")
    assert daemon.terminate(STOPS_WITHIN_S) == 0
    assert daemon.stored("ash-water") == values


FAULTS: Final = (Fault("told to stop under load", "stop", told_to_stop_under_load, short=2, long=30),)
