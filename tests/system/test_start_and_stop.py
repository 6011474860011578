from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import configuration, quiet_port, send, until, water

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon

pytestmark = [pytest.mark.system, pytest.mark.broker]


def test_it_can_be_told_to_stop(mosquitto: Mosquitto, installed_daemons: Callable[[str], Daemon]) -> None:
    """Told to end, the daemon leaves within ten seconds with exit code 0, and what waited for its commit is stored."""
    daemon = installed_daemons(configuration(mosquitto.url, water("ash"), commit_every="60 s"))
    daemon.start()
    until(daemon.connected)
    send(mosquitto, [("shed/ash/water", f"{milli / 1000:.3f}") for milli in [*range(24_000, 24_300), 25_000]])
    daemon.until_water(25.0)  # the bench shows hundredths: the last stands apart
    assert daemon.stored("ash-water") == [], "they were committed already: nothing waits for the stop"

    assert daemon.terminate(patience=10) == 0

    assert daemon.stored("ash-water") == [*range(24_000, 24_300), 25_000]
    assert daemon.logged("service.stopped")


def test_it_can_be_stopped_while_readings_arrive(
    mosquitto: Mosquitto, installed_daemons: Callable[[str], Daemon]
) -> None:
    """Told to end in the middle of a flood, it leaves in time, and after the next start every reading is there once."""
    daemon = installed_daemons(configuration(mosquitto.url, water("ash"), commit_every="60 s"))
    daemon.start()
    until(daemon.connected)
    flood = [("shed/ash/water", f"{20 + number / 1000:.3f}") for number in range(1500)]
    codes: list[int] = []

    def messages() -> Iterator[tuple[str, str]]:
        for number, message in enumerate(flood):
            if number == 500:
                codes.append(daemon.terminate(patience=10))
            yield message

    send(mosquitto, messages())
    assert codes == [0]
    daemon.start()
    until(daemon.connected)
    mosquitto.publish("shed/ash/water", "22.5")  # the broker hands it out after all that has waited
    daemon.until_water(22.5)
    assert daemon.terminate() == 0
    assert daemon.stored("ash-water") == [20_000 + number for number in range(1500)] + [22_500]


def test_one_store_has_one_daemon(mosquitto: Mosquitto, installed_daemons: Callable[[str], Daemon]) -> None:
    """A second daemon on the same store says so and ends with exit code 1; the first goes on undisturbed."""
    first = installed_daemons(configuration(mosquitto.url, water("ash")))
    first.start()
    until(first.connected)
    other = configuration(mosquitto.url, water("ash")).replace("store/shed.sqlite3", str(first.store))
    second = installed_daemons(other)
    second.start(ready=False)
    assert second.wait() == 1
    assert "another process holds this store" in second.log
    assert str(first.store) in second.log
    assert "Traceback" not in second.log
    mosquitto.publish("shed/ash/water", "24.1")
    first.until_water(24.1)
    assert not first.logged("broker.lost")


def test_a_port_that_is_taken_is_told(mosquitto: Mosquitto, installed_daemons: Callable[[str], Daemon]) -> None:
    """A page that can't be served because its port is taken ends the start with exit code 1 and names the port."""
    port = quiet_port()
    first = installed_daemons(configuration(mosquitto.url, water("ash"), port=port))
    first.start()
    second = installed_daemons(
        configuration(mosquitto.url, water("ash"), port=port).replace('id = "shed"', 'id = "hut"')
    )
    second.start(ready=False)
    assert second.wait() == 1
    assert f"web.port {port}" in second.log
    assert "the port is in use" in second.log
    assert "Traceback" not in second.log
