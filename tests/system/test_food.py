"""From who eats to a batch, over the real process: a plan is made, the phone is reminded, and following it starts the batch."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from tests.system.daemon import OPENER, PATIENCE_S, configuration, table, until, water

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon, Phone

pytestmark = [pytest.mark.system, pytest.mark.broker]

ALWAYS = '[food]\nsoon = "1 s"\nseconds = 90\nthere_from = "00:00"\nthere_until = "23:59"\n'


def food(daemon: Daemon) -> dict[str, Any]:
    with OPENER.open(f"{daemon.url}/api/v1/food", timeout=10) as answer:
        document: dict[str, Any] = json.load(answer)
        return document


def first_due(daemon: Daemon) -> dict[str, Any] | None:
    starts = (food(daemon).get("plan") or {}).get("starts", [])
    return next((one for one in starts if one["due"] == "now"), None)


def test_a_brood_that_needs_food_is_planned_for_reminded_of_and_fed(
    mosquitto: Mosquitto, daemons: Callable[[str], Daemon], phone: Phone
) -> None:
    """What is to be started is on the phone, once, and stays planned over a restart; accepted, the batch is in its vessel."""
    fridge = table("cold_store", id="fridge")
    parts = (water("ash"), ALWAYS, fridge)
    daemon = daemons(configuration(mosquitto.url, *parts, vessels=("ash", "birch", "cedar"), phone=phone.url))
    daemon.start("--sim-epoch", "2026-03-02T06:00:00Z", "--sim-speed", "1")  # an hour of the day at which it goes alike
    until(daemon.connected)
    mosquitto.publish("shed/ash/water", "25.0")
    daemon.told("eater", "set", "adults", "20 000")
    planned = until(lambda: first_due(daemon), "nothing is to be started now", patience=5 * PATIENCE_S)
    vessel = planned["vessel"]
    assert planned["lot"] == "tin-7"
    until(lambda: phone.about(f"of tin-7 in {vessel}"), "nobody was reminded")
    assert planned["id"] in daemon.told("food", "plan")

    daemon.kill()
    daemon.start("--sim-epoch", "2026-03-02T06:10:00Z", "--sim-speed", "1")
    again = until(lambda: first_due(daemon), "the plan is gone after a restart")
    assert again["id"] == planned["id"]
    daemon.told("food", "start", planned["id"])
    batch = daemon.batch(vessel)
    assert (batch["lot"], batch["cysts_g"]) == ("tin-7", planned["grams"])
    assert [one for one in food(daemon)["plan"]["starts"] if one["id"] == planned["id"]] == []
    assert len(phone.about(f"of tin-7 in {vessel}")) == 1
    assert daemon.terminate(10.0) == 0
