"""The real process, its backups, a damaged store and the way back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from monitor.cli import swimup
from tests.system.daemon import air, configuration, until, water

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon, Phone

pytestmark = [pytest.mark.system, pytest.mark.broker]

DAMAGED = "record-damaged:site"


def ruin_readings(daemon: Daemon) -> None:
    """Overwrite the pages of readings, as a worn card does, and leave the log."""
    ((page,),) = daemon.rows("SELECT rootpage FROM sqlite_schema WHERE name = 'reading'")
    with daemon.store.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\xa5" * 4096)


def told(command: str, daemon: Daemon) -> str:
    """What a command prints that is given this daemon's configuration; in this process, whose start has been paid for."""
    done = CliRunner().invoke(swimup, [command, "--config", str(daemon.config)])
    assert done.exit_code == 0, done.output
    return done.output


def test_a_damaged_store_stops_no_alarm_and_a_backup_brings_it_back(
    mosquitto: Mosquitto, daemons: Callable[[str], Daemon], phone: Phone
) -> None:
    """Started over a damaged store it rings on, knows the batch, says so on the phone and how to go back; then it is back."""
    shed = configuration(mosquitto.url, water("ash"), air("ash"), phone=phone.url, alarms='air_on_delay = "0 s"')
    daemon = daemons(shed)
    daemon.start()
    until(daemon.connected)
    daemon.told("batch", "start", "ash", "--cysts", "2 g", "--lot", "tin-7")
    mosquitto.publish("shed/ash/water", "24.1")
    until(lambda: daemon.stored("ash-water") == [24_100])
    assert "verified, 1 reading," in told("backup", daemon)
    mosquitto.publish("shed/ash/water", "24.2")
    until(lambda: len(daemon.stored("ash-water")) == 2)
    assert daemon.terminate() == 0

    ruin_readings(daemon)
    daemon.start()
    assert daemon.logged("store.damaged")
    until(lambda: daemon.alarm(DAMAGED), "nobody is told that the record was damaged")
    until(lambda: phone.about("The record was damaged"), "the phone is not told")
    assert "swimup restore newest" in told("status", daemon)
    assert daemon.batch()["id"].startswith("ash-")
    mosquitto.publish("shed/ash/air", "off")
    until(lambda: phone.about("Air stopped in ash"), "the phone is not told that the air stopped")
    assert daemon.terminate() == 0

    assert "1 reading. What was there is kept as" in told("restore", daemon)
    assert len(list(daemon.store.parent.glob("shed.sqlite3.aside-*"))) >= 2
    daemon.start()
    assert daemon.alarm(DAMAGED) is None
    assert daemon.batch()["id"].startswith("ash-")
    assert daemon.stored("ash-water") == [24_100]
    assert daemon.terminate() == 0
