"""Hands in a vessel, over the real process: its alarms wait while it lasts, and are told when it ends."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import air, configuration, until, water

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon, Phone

pytestmark = [pytest.mark.system, pytest.mark.broker]


def test_what_work_does_to_a_vessel_is_told_when_it_ends_and_not_before(
    mosquitto: Mosquitto, daemons: Callable[[str], Daemon], phone: Phone
) -> None:
    """Air that stops in a vessel that is worked on waits, over a restart too; it is told when the work is done."""
    daemon = daemons(
        configuration(
            mosquitto.url,
            water("ash"),
            air("ash"),
            phone=phone.url,
            alarms='air_on_delay = "1 s"',
        )
    )
    daemon.start()
    until(daemon.connected)
    mosquitto.publish("shed/ash/air", "on")
    until(lambda: daemon.vessel()["air"], "the air is not shown")
    daemon.told("batch", "start", "ash", "--cysts", "2 g")
    assert "you work on ash until" in daemon.told("vessel", "work", "ash", "--minutes", "20")
    ends = daemon.vessel()["work_until"]
    assert ends is not None
    mosquitto.publish("shed/ash/air", "off")
    until(lambda: daemon.alarm("air-stopped:ash"), "the alarm is not shown as held back")
    daemon.kill()

    daemon.start()
    until(daemon.connected)
    assert daemon.vessel()["work_until"] == ends
    held = daemon.alarm("air-stopped:ash") or {}
    assert held["state"] == "suppressed-by-design"
    assert "work on ash until" in held["reason"]
    assert phone.about("Air stopped in ash") == []
    assert "the work on ash is done" in daemon.told("vessel", "work", "ash", "--done")
    until(lambda: phone.about("Air stopped in ash"), "what waited was not told")
    assert len(phone.about("Air stopped in ash")) == 1
    assert daemon.vessel()["work_until"] is None
