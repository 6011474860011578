from __future__ import annotations

from itertools import chain
from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import send, until
from tests.system.shed_of_ten import BATCHES, VESSELS, minutes_of_readings, shed_of_ten

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon, Phone

pytestmark = [pytest.mark.system, pytest.mark.broker]


def test_thirty_probes_fit_a_small_board(
    mosquitto: Mosquitto, installed_daemons: Callable[[str], Daemon], phone: Phone
) -> None:
    """With 30 probes, six batches, five minutes of readings and a letter sent, the daemon holds less than 120 MB."""
    daemon = installed_daemons(shed_of_ten(mosquitto.url, phone.url))
    daemon.start()
    until(daemon.connected)
    for vessel in BATCHES:
        daemon.told("batch", "start", vessel, "--cysts", "2 g")
    send(mosquitto, chain(minutes_of_readings(5), [(f"shed/{BATCHES[0]}/air", "off")]))
    until(lambda: phone.about("Air stopped in"), "no letter has arrived")
    until(lambda: all(vessel["water"] for vessel in daemon.bench()["vessels"]))
    assert len(daemon.bench()["vessels"]) == len(VESSELS)
    assert all(daemon.batch(vessel)["ready"]["mid"] for vessel in BATCHES)
    assert "ash" in daemon.page()
    assert daemon.resident_mb() < 120
