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

STOPPED = "air-stopped:ash"
ETA = "swimup/shed/vessel/ash/eta"
TOPIC = f"swimup/shed/alarm/{STOPPED}"


@pytest.fixture
def hatched(mosquitto: Mosquitto, daemons: Callable[[str], Daemon], phone: Phone) -> Daemon:
    """A daemon with a batch in ash that has been at 28 C for two days, its air running, and another just begun in birch."""
    daemon = daemons(
        configuration(
            mosquitto.url,
            water("ash", decoder="json", pointer="/c", time_pointer="/at"),
            air("ash"),
            air("birch"),
            vessels=("ash", "birch"),
            phone=phone.url,
            alarms='air_on_delay = "1 s"',
        )
    )
    daemon.start()
    until(daemon.connected)
    now = datetime.now(UTC)
    hours = [now - timedelta(hours=ago) for ago in range(18, -1, -1)]
    mosquitto.publish("shed/ash/water", *(json.dumps({"c": 28.0, "at": hour.isoformat()}) for hour in hours))
    mosquitto.publish("shed/ash/air", "on")
    mosquitto.publish("shed/birch/air", "on")
    until(lambda: daemon.vessel("birch")["air"], "the air is not shown")
    daemon.told(
        "batch", "start", "ash", "--cysts", "2 g", "--name", "old", "--time", hours[0].isoformat(timespec="seconds")
    )
    daemon.told("batch", "start", "birch", "--cysts", "2 g")
    assert daemon.batch()["hatched"]["mid"] > 0.1
    assert daemon.batch()["stage"] == "hatching"
    return daemon


def test_air_that_stops_over_a_hatched_batch_is_told_once(hatched: Daemon, mosquitto: Mosquitto, phone: Phone) -> None:
    """Air that stops over a hatched batch is one letter that counts the minutes, and stands at the broker until taken note of."""
    mosquitto.publish("shed/ash/air", "off")
    until(lambda: phone.about("Air stopped in ash"), "no letter has arrived")
    (letter,) = phone.about("Air stopped in ash")
    assert re.fullmatch(r"Air stopped in ash: act within \d+ min", letter["title"])
    assert letter["type"] == "failure"
    assert "Look at the pump" in letter["message"]
    until(lambda: retained(mosquitto, TOPIC).get("state") == "unacknowledged", "the alarm is not kept at the broker")
    assert until(lambda: retained(mosquitto, TOPIC))["priority"] == "high"
    assert re.search(r"Air stopped in ash: act within \d+ min", hatched.page())

    assert "Acknowledged" in hatched.told("alarm", "ack", STOPPED)

    until(
        lambda: retained(mosquitto, TOPIC).get("state") == "acknowledged",
        "the broker is not told of the acknowledgement",
    )
    assert (hatched.alarm(STOPPED) or {})["state"] == "acknowledged"
    after_all_else_was_told(mosquitto, phone)
    assert len(phone.about("Air stopped in ash")) == 1


@pytest.mark.parametrize(
    ("killed", "acknowledged"), [(True, False), (False, True)], ids=["killed-unacknowledged", "ended-acknowledged"]
)
def test_a_restart_changes_nothing(
    hatched: Daemon, mosquitto: Mosquitto, phone: Phone, killed: bool, acknowledged: bool
) -> None:
    """After a restart the batch and the alarm stand as before, and the same trouble is not told again."""
    mosquitto.publish("shed/ash/air", "off")
    until(lambda: phone.about("Air stopped in ash"), "no letter has arrived")
    until(lambda: hatched.rows("SELECT 1 FROM outbox WHERE told IS NOT NULL AND title LIKE 'Air stopped in ash%'"))
    if acknowledged:
        hatched.told("alarm", "ack", STOPPED)
    batch, alarm = hatched.batch(), hatched.alarm(STOPPED)
    assert alarm is not None
    if killed:
        hatched.kill()
    else:
        assert hatched.terminate() == 0

    hatched.start()

    again, standing = hatched.batch(), hatched.alarm(STOPPED)
    assert [again[key] for key in ("id", "lot", "start", "cysts_g", "stage")] == [
        batch[key] for key in ("id", "lot", "start", "cysts_g", "stage")
    ]
    assert again["hatched"]["mid"] == pytest.approx(batch["hatched"]["mid"], abs=0.02)
    assert standing is not None
    assert standing["state"] == ("acknowledged" if acknowledged else "unacknowledged")
    assert (standing["since"], standing["changed"]) == (alarm["since"], alarm["changed"])
    until(hatched.connected)
    until(lambda: retained(mosquitto, TOPIC).get("state") == standing["state"])
    after_all_else_was_told(mosquitto, phone)
    assert len(phone.about("Air stopped in ash")) == 1


def test_harvesting_ends_the_alarm(hatched: Daemon, mosquitto: Mosquitto, phone: Phone) -> None:
    """When harvesting ends the batch, its air alarm and its estimate end with it, on the bench and at the broker."""
    mosquitto.publish("shed/ash/air", "off")
    until(lambda: phone.about("Air stopped in ash"), "no letter has arrived")
    until(lambda: retained(mosquitto, ETA).get("batch") == "old", "the estimate is not kept at the broker")
    hatched.told("batch", "harvest", "old")
    until(lambda: hatched.alarm(STOPPED) is None, "the alarm outlives its batch")
    until(lambda: retained(mosquitto, TOPIC).get("state") == "normal")
    until(lambda: retained(mosquitto, ETA).get("stage") == "ended")
    assert hatched.vessel()["batch"] is None


def after_all_else_was_told(mosquitto: Mosquitto, phone: Phone) -> None:
    """Wait until a later alarm has arrived: letters to one phone keep their order, so earlier ones are there by then."""
    mosquitto.publish("shed/birch/air", "off")
    until(lambda: phone.about("Air stopped in birch"), "the later letter has not arrived")
