"""The check-up of the real process: what it did and how it ended is what it tells."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import httpx
import pytest

from tests.system.daemon import air, configuration, send, until, water

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon

pytestmark = [pytest.mark.system, pytest.mark.broker]


def checkup(daemon: Daemon) -> dict[str, Any]:
    told: dict[str, Any] = httpx.get(f"{daemon.url}/api/v1/checkup", trust_env=False).json()
    return told


def facts(told: dict[str, Any]) -> dict[tuple[str, str], Any]:
    return {(one["about"], one["name"]): one["value"] for one in told["facts"]}


def test_a_daemon_tells_how_it_fares(mosquitto: Mosquitto, daemons: Callable[[str], Daemon]) -> None:
    """Its probes' real pace, a lost broker and an end without warning are found, and told on the page as well."""
    daemon = daemons(configuration(mosquitto.url, water("ash"), air("ash")))
    daemon.start()
    until(daemon.connected)
    send(mosquitto, [("shed/ash/water", f"24.{n}") for n in range(6)], pause_s=0.1)
    daemon.until_water(24.5)
    told = json.loads(daemon.command("doctor", "--json").stdout)
    findings = {one["about"]: one for one in told["findings"]}
    assert told["daemon"] is True
    assert findings["probe ash-water"]["found"].startswith(
        "It reports more than once a second; configured is every 20 min."
    )
    assert findings["channels"]["level"] == "look"
    assert findings["restarts"]["level"] == "fine"
    found = facts(told)
    assert found["broker", "reached"] is True
    assert found["broker", "speaks"] == "5"
    assert found["restarts", "without warning"] == 0
    assert abs(found["memory", "held by the monitor"] / 1024**2 - daemon.resident_mb()) < 20
    mosquitto.stop()
    until(lambda: daemon.logged("broker.lost"), "the broker is not missed")
    until(lambda: facts(checkup(daemon))["broker", "link lost"] == 1, "the loss is not counted")
    daemon.kill()
    mosquitto.start()
    daemon.start()
    after = {one["about"]: one for one in checkup(daemon)["findings"]}
    assert after["restarts"]["found"].startswith("It ended without warning once in the last 7 days")
    assert "ended without warning once" in httpx.get(f"{daemon.url}/checkup", trust_env=False).text
