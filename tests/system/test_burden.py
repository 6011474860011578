from __future__ import annotations

import json
from typing import TYPE_CHECKING

import httpx
import pytest

from tests.system.daemon import air, configuration, send, until, water

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon

pytestmark = [pytest.mark.system, pytest.mark.broker]


def test_what_rang_is_in_the_report_and_on_its_page(mosquitto: Mosquitto, daemons: Callable[[str], Daemon]) -> None:
    """An alarm of a running daemon can be asked about by its name, and the report counts it a moment later."""
    daemon = daemons(configuration(mosquitto.url, water("ash"), air("ash"), alarms='air_on_delay = "0 s"'))
    daemon.start()
    until(daemon.connected)
    daemon.told("batch", "start", "ash", "--cysts", "2 g")
    send(mosquitto, [("shed/ash/air", "off")] * 2, pause_s=0.2)
    until(lambda: daemon.alarm("air-stopped:ash"), "air-stopped did not ring")
    assert "  told: " in daemon.told("alarm", "why", "air-stopped:ash")
    daemon.told("alarm", "shelve", "cold-snap:ash", "--for", "2 h")
    daemon.told("alarm", "ack", "air-stopped:ash")
    found = json.loads(daemon.told("alarm", "report", "--json"))
    (load,) = [one for one in found["rules"] if one["rule"] == "air-stopped"]
    assert load["alarms"] == 1
    assert load["acknowledged_after_s"] < 60
    assert len(found["days"]) == 1
    page = httpx.get(f"{daemon.url}/alarms/cold-snap:ash", trust_env=False)
    assert "shelved by cli for 2 h" in page.text
    assert "End putting off now" in page.text
    assert "A calm week" in httpx.get(f"{daemon.url}/report", trust_env=False).text
    wrong = daemon.command("alarm", "why", "cold-snap:oak")
    assert wrong.returncode == 1
    assert "there is no alarm cold-snap:oak" in wrong.stderr
