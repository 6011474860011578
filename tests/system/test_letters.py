from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import Phone, air, configuration, send, until

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon

pytestmark = [pytest.mark.system, pytest.mark.broker]


@pytest.fixture
def phone_off() -> Iterator[Phone]:
    """A phone that is not reached until the test starts it."""
    made = Phone()
    yield made
    made.stop()


@pytest.mark.parametrize("killed", [False, True], ids=["running-on", "killed"])
def test_a_shelf_s_letter_waits_for_a_phone_that_is_away(
    mosquitto: Mosquitto, daemons: Callable[[str], Daemon], phone_off: Phone, killed: bool
) -> None:
    """What stops together is one letter; it waits, over a crash too, and arrives once when the phone is reached again."""
    vessels = ("ash", "birch")
    daemon = daemons(
        configuration(
            mosquitto.url, air("ash"), air("birch"), vessels=vessels, phone=phone_off.url, alarms='air_on_delay = "0 s"'
        )
    )
    daemon.start()
    until(daemon.connected)
    for vessel in vessels:
        daemon.told("batch", "start", vessel, "--cysts", "2 g")
    send(mosquitto, [(f"shed/{vessel}/air", "off") for vessel in vessels])
    until(lambda: daemon.logged("channel.failing"), "the log does not say that the phone is not reached")
    until(lambda: daemon.rows("SELECT count(*) FROM outbox WHERE tries > 0") == [(1,)], "the letter does not wait")
    assert not phone_off.letters
    if killed:
        daemon.kill()
        daemon.start()

    phone_off.start()

    until(lambda: phone_off.letters, "no letter arrived")
    assert phone_off.titles == ["Air stopped in ash and birch"]
    until(
        lambda: daemon.rows("SELECT count(*) FROM outbox WHERE state = 'waiting'") == [(0,)], "the outbox is not empty"
    )
    assert daemon.rows("SELECT state FROM outbox ORDER BY id") == [("merged",), ("merged",), ("told",)]
    assert daemon.terminate() == 0
    assert len(phone_off.letters) == 1
    assert phone_off.url not in daemon.log


def test_what_can_wait_is_told_at_seven(
    mosquitto: Mosquitto, daemons: Callable[[str], Daemon], phone_off: Phone
) -> None:
    """In the quiet hours of a simulated morning a letter waits, with its reason, and goes when they end."""
    seven_ms = round(datetime(2026, 2, 3, 6, 0, tzinfo=UTC).timestamp() * 1000)  # 07:00 in Berlin
    phone_off.start()
    daemon = daemons(
        configuration(
            mosquitto.url, air("ash"), phone=phone_off.url, alarms='air_on_delay = "0 s"\nquiet_until = "07:00"'
        )
    )
    daemon.start("--sim-epoch", "2026-02-03T03:00:00Z", "--sim-speed", "400")
    until(daemon.connected)
    daemon.told("batch", "start", "ash", "--cysts", "2 g")
    mosquitto.publish("shed/ash/air", "off")
    until(lambda: daemon.rows("SELECT 1 FROM outbox WHERE alarm = 'air-stopped:ash'"), "no letter was written")
    assert daemon.rows("SELECT hold, cause, why FROM outbox WHERE alarm = 'air-stopped:ash'") == [
        (seven_ms, "quiet-hours", "quiet hours: told at 07:00")
    ]
    assert not phone_off.letters

    until(lambda: phone_off.letters, "the letter did not come")
    told = "SELECT went FROM outbox WHERE state = 'told'"
    ((went,),) = until(lambda: daemon.rows(told), "the letter is not on record as told")
    assert seven_ms <= went < seven_ms + 30 * 60_000
