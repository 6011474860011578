from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import Phone, air, configuration, until

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
def test_letters_wait_for_a_phone_that_is_away(
    mosquitto: Mosquitto, daemons: Callable[[str], Daemon], phone_off: Phone, killed: bool
) -> None:
    """Letters that could not be delivered wait, over a crash too, and each arrives once when the phone is reached again."""
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
        mosquitto.publish(f"shed/{vessel}/air", "off")
    until(lambda: daemon.logged("channel.failing"), "the log does not say that the phone is not reached")
    until(lambda: daemon.rows("SELECT count(*) FROM outbox WHERE tries > 0") == [(2,)], "the letters do not wait")
    assert not phone_off.letters
    if killed:
        daemon.kill()
        daemon.start()

    phone_off.start()

    until(lambda: len(phone_off.letters) == 2, f"only {phone_off.titles} arrived")
    assert sorted(phone_off.titles) == ["Air stopped in ash", "Air stopped in birch"]
    until(lambda: daemon.rows("SELECT count(*) FROM outbox WHERE told IS NULL") == [(0,)], "the outbox is not empty")
    assert daemon.terminate() == 0
    assert len(phone_off.letters) == 2
    assert phone_off.url not in daemon.log
