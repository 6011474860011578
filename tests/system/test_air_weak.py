from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import air, configuration, retained, until, water

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon, Phone

pytestmark = [pytest.mark.system, pytest.mark.broker]

ETA = "swimup/shed/vessel/ash/eta"


def test_weak_air_goes_from_the_bubbles_to_the_phone(
    mosquitto: Mosquitto, daemons: Callable[[str], Daemon], phone: Phone
) -> None:
    """Too few bubbles for a dense hatched batch are weak air at the broker and one letter; none at all takes its place."""
    bubbles = air("ash", decoder="json", pointer="/n", time_pointer="/at", threshold=40, deadband=10, weak_below=110)
    probe = water("ash", decoder="json", pointer="/c", time_pointer="/at")
    daemon = daemons(configuration(mosquitto.url, probe, bubbles, phone=phone.url, alarms='air_on_delay = "1 s"'))
    daemon.start()
    until(daemon.connected)
    now = datetime.now(UTC)
    hours = [now - timedelta(hours=ago) for ago in range(48, 0, -1)]
    mosquitto.publish("shed/ash/water", *(json.dumps({"c": 28.0, "at": hour.isoformat()}) for hour in hours))
    mosquitto.publish("shed/ash/air", *(json.dumps({"n": 180, "at": hour.isoformat()}) for hour in hours))
    until(lambda: daemon.vessel()["air"], "the air is not shown")
    begun = hours[0].isoformat(timespec="seconds")
    daemon.told("batch", "start", "ash", "--cysts", "9 g", "--name", "dense", "--time", begun)

    # Weak for some minutes already: its own time says since when, and the on-delay is over with the first of them.
    mosquitto.publish(
        "shed/ash/air",
        *(json.dumps({"n": 63, "at": (now - timedelta(minutes=ago)).isoformat()}) for ago in (8, 4, 0)),
    )

    until(lambda: phone.about("Weak air in ash"), "no letter has arrived")
    (letter,) = phone.about("Weak air in ash")
    assert re.fullmatch(r"Weak air in ash: act (now|within \d+ min)", letter["title"])
    assert letter["type"] == "failure"
    assert "Check the hose" in letter["message"]
    until(lambda: retained(mosquitto, ETA).get("air") == "weak", "the broker is not told that the air is weak")
    assert "air-weak:ash" in until(lambda: retained(mosquitto, ETA))["alarms"]
    assert daemon.vessel()["air"]["value"] == "weak"
    assert re.search(r"Weak air in ash: act (now|within \d+ min)", daemon.page())

    mosquitto.publish("shed/ash/air", json.dumps({"n": 0, "at": datetime.now(UTC).isoformat()}))

    until(lambda: phone.about("Air stopped in ash"), "no letter has arrived")
    until(lambda: (daemon.alarm("air-weak:ash") or {}).get("state") == "suppressed-by-design")
    assert len(phone.about("Weak air in ash")) == 1
