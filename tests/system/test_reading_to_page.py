from __future__ import annotations

from functools import partial
from operator import gt, lt
from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import configuration, probe, until, water

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon

pytestmark = [pytest.mark.system, pytest.mark.broker]

MINUTES = 60


def apart(before: float, after: float) -> bool:
    return abs(after - before) > 5 * MINUTES


def test_every_decoder_moves_the_same_vessel(mosquitto: Mosquitto, daemons: Callable[[str], Daemon]) -> None:
    """A bare number, a value inside JSON and a SenML pack each move the shown water of one vessel and the ETA of its batch."""
    daemon = daemons(
        configuration(
            mosquitto.url,
            water("ash"),
            probe("ash-json", "shed/ash/json", decoder="json", pointer="/t/c", measures="water", vessel="ash"),
            probe("ash-pack", "shed/ash/pack", decoder="senml", name="ash:water", measures="water", vessel="ash"),
        )
    )
    daemon.start()
    until(daemon.connected)
    daemon.told("batch", "start", "ash", "--cysts", "2 g")
    # A probe's first value has none before it to jump from, so the three may lie apart and the ETA moves by hours.
    for topic, payload, celsius in (
        ("shed/ash/water", "21.4", 21.4),
        ("shed/ash/json", '{"t":{"c":28.0}}', 28.0),
        ("shed/ash/pack", '[{"bn":"ash:","bu":"Cel","n":"water","v":26.8}]', 26.8),
    ):
        before = daemon.ready_s()
        mosquitto.publish(topic, payload)
        daemon.until_water(celsius)
        daemon.until_ready(partial(apart, before), f"{payload} does not move the ETA")
        assert f"{celsius:.1f}" in daemon.page()


def test_warmer_is_sooner(mosquitto: Mosquitto, daemons: Callable[[str], Daemon]) -> None:
    """Water that warms in believable steps brings the hatch nearer with each of them."""
    daemon = daemons(configuration(mosquitto.url, water("ash")))
    daemon.start()
    until(daemon.connected)
    daemon.told("batch", "start", "ash", "--cysts", "2 g")
    guessed = daemon.ready_s()
    mosquitto.publish("shed/ash/water", "20.0")
    daemon.until_ready(partial(lt, guessed + 5 * MINUTES), "20 C is no later than a guess without any reading")
    for celsius in (22.5, 25.0, 27.5):
        before = daemon.ready_s()
        mosquitto.publish("shed/ash/water", str(celsius))
        daemon.until_ready(partial(gt, before - 5 * MINUTES), f"{celsius} C brings the hatch no nearer")
    assert daemon.water() == 27.5


def test_a_jump_that_no_water_makes_moves_nothing(mosquitto: Mosquitto, daemons: Callable[[str], Daemon]) -> None:
    """A single value far from the one before, or a sensor's power-on value, is kept with its reason and not shown."""
    daemon = daemons(configuration(mosquitto.url, water("ash")))
    daemon.start()
    until(daemon.connected)
    mosquitto.publish("shed/ash/water", "24.0")
    daemon.until_water(24.0)
    mosquitto.publish("shed/ash/water", "31.0", "85.0", "24.1")
    daemon.until_water(24.1)
    assert daemon.terminate() == 0
    kept = daemon.rows(
        "SELECT milli, mark & 7, text FROM reading LEFT JOIN reason ON reason.id = mark >> 6 ORDER BY n, time"
    )
    assert {(milli, quality) for milli, quality, _ in kept} == {(24000, 0), (31000, 1), (85000, 1), (24100, 0)}
    reasons = {milli: text for milli, _, text in kept}
    assert "a jump of 7.0 C" in reasons[31000]
    assert "power-on value" in reasons[85000]
