"""Readings through a real broker: none lost, none acknowledged early, old ones marked as old."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.adapters.conftest import until

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.intake.session import Link
    from tests.adapters.conftest import Hearing
    from tests.conftest import Mosquitto

pytestmark = pytest.mark.broker

TOPIC = "shed/ash/water"


def test_a_message_arrives_live(
    mosquitto: Mosquitto, hear: Callable[..., Hearing], link_to: Callable[..., Link]
) -> None:
    """A message published while we listen comes once, with its payload, neither queued nor retained nor repeated."""
    hearing = hear(link_to(mosquitto), [TOPIC])
    hearing.wait_up()
    mosquitto.publish(TOPIC, "21.4")
    hearing.wait_payloads(1)
    (message,) = hearing.messages
    assert (message.topic, message.payload, message.qos) == (TOPIC, b"21.4", 1)
    assert (message.queued, message.retain, message.dup) == (False, False, False)
    until(lambda: hearing.session.state.messages == 1)
