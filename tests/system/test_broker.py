from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import configuration, retained, send, until, water

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.conftest import BrokerFactory, Mosquitto
    from tests.system.daemon import Daemon

pytestmark = [pytest.mark.system, pytest.mark.broker]

STATUS = "swimup/shed/status"


def test_a_broker_that_is_away_at_the_start(brokers: BrokerFactory, daemons: Callable[[str], Daemon]) -> None:
    """Without a broker the service runs and says so once; when the broker comes, readings flow."""
    broker = brokers(start=False)
    daemon = daemons(configuration(broker.url, water("ash")))
    daemon.start()
    until(lambda: daemon.logged("broker.absent"), "the log does not tell that the broker is away")
    until(lambda: not daemon.bench()["broker"]["connected"])
    daemon.told("batch", "start", "ash", "--cysts", "2 g")
    assert "ash" in daemon.page()
    assert daemon.batch()["ready"]["mid"]

    broker.start()

    until(daemon.connected, "it does not connect to the broker that has come")
    broker.publish("shed/ash/water", "24.2")
    daemon.until_water(24.2)
    assert len(daemon.logged("broker.absent")) == 1
    assert len(daemon.logged("broker.connected")) == 1


@pytest.mark.parametrize("forgetful", [False, True], ids=["session-kept", "session-lost"])
def test_a_broker_that_was_killed(brokers: BrokerFactory, daemons: Callable[[str], Daemon], forgetful: bool) -> None:
    """After the broker was killed and came back, remembering us or not, the daemon subscribes anew and readings flow."""
    broker = brokers()
    daemon = daemons(configuration(broker.url, water("ash")))
    daemon.start()
    until(daemon.connected)
    broker.publish("shed/ash/water", "24.0")
    daemon.until_water(24.0)

    broker.kill()

    until(lambda: not daemon.bench()["broker"]["connected"], "the loss of the broker is not noticed")
    if forgetful:
        broker.empty()
    broker.start()
    until(daemon.connected, "it does not come back")
    until(lambda: len(daemon.logged("broker.connected")) == 2)
    broker.publish("shed/ash/water", "24.5")
    daemon.until_water(24.5)
    assert len(daemon.logged("broker.lost")) == 1
    assert until(lambda: retained(broker, STATUS))["state"] == "up"


def test_what_arrives_while_it_is_down_is_not_missed(mosquitto: Mosquitto, daemons: Callable[[str], Daemon]) -> None:
    """Readings published while the daemon is stopped wait at the broker and are all stored when it runs again."""
    daemon = daemons(configuration(mosquitto.url, water("ash")))
    daemon.start()
    until(daemon.connected)
    until(lambda: retained(mosquitto, STATUS))
    assert daemon.terminate() == 0
    send(mosquitto, [("shed/ash/water", f"{24 + number / 1000:.3f}") for number in range(300)])
    daemon.start()
    until(lambda: len(daemon.stored("ash-water")) >= 300, "not all that waited was stored")
    assert daemon.terminate() == 0
    assert daemon.stored("ash-water") == [24_000 + number for number in range(300)]
    assert daemon.rows("SELECT DISTINCT mark & 7 FROM reading") == [(3,)], "waited for an unknown time: never fresh"


def test_the_status_topic_tells_how_the_daemon_fares(mosquitto: Mosquitto, daemons: Callable[[str], Daemon]) -> None:
    """The retained status is up while the daemon runs, lost after it was killed, and stopped after it was told to end."""
    daemon = daemons(configuration(mosquitto.url, water("ash")))
    daemon.start()
    until(lambda: retained(mosquitto, STATUS).get("state") == "up", "the status is not up")
    daemon.kill()
    until(lambda: retained(mosquitto, STATUS).get("state") == "lost", "the status is not lost")
    daemon.start()
    until(lambda: retained(mosquitto, STATUS).get("state") == "up", "the status is not up again")
    assert daemon.terminate() == 0
    assert until(lambda: retained(mosquitto, STATUS))["state"] == "stopped"
