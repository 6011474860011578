"""A family of topics: everything directly below one is read, and nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from monitor.intake.link import Link
from monitor.intake.session import Session

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.adapters.conftest import Hearing
    from tests.conftest import Mosquitto

pytestmark = pytest.mark.broker


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_everything_directly_below_a_topic_is_read(
    mosquitto: Mosquitto, hear: Callable[..., Hearing], link_to: Callable[..., Link], version: str
) -> None:
    """One level and no more; bound topics go on beside it, and what comes over both ways comes once."""
    hearing = hear(link_to(mosquitto, version=version), ["shed/ash/water"], families=["swimup/shed/do"])
    hearing.wait_up()
    mosquitto.publish("swimup/shed/do/air-stopped:ash/deeper", "no")
    mosquitto.publish("swimup/shed/do", "no")
    mosquitto.publish("swimup/shed/done/air-stopped:ash", "no")
    mosquitto.publish("swimup/shed/do/air-stopped:ash", "yes")
    mosquitto.publish("shed/ash/water", "24.5")
    hearing.wait_payloads(2)
    told = sorted((message.topic, message.payload) for message in hearing.messages)
    assert told == [("shed/ash/water", b"24.5"), ("swimup/shed/do/air-stopped:ash", b"yes")]
    assert hearing.session.state.strays == 0
    assert hearing.problems == []


def test_a_command_that_was_not_acknowledged_comes_again(
    mosquitto: Mosquitto, hear: Callable[..., Hearing], link_to: Callable[..., Link]
) -> None:
    """Like a reading: until we say that it is done, the broker keeps it over a new connection."""
    first = hear(link_to(mosquitto), [], families=["swimup/shed/do"], ack_at_once=False)
    first.wait_up()
    mosquitto.publish("swimup/shed/do/x:y", "acknowledge")
    first.wait_payloads(1)
    first.session.stop()
    second = hear(link_to(mosquitto), [], families=["swimup/shed/do"])
    second.wait_payloads(1)
    assert second.payloads == ["acknowledge"]
    assert second.messages[0].queued


@pytest.mark.parametrize("wrong", ["", "swimup/+", "swimup/#"])
def test_a_family_is_named_by_an_exact_topic(wrong: str) -> None:
    """Wildcards would bring what nobody bound."""
    with pytest.raises(ValueError, match="no exact MQTT topic"):
        Session(Link("127.0.0.1", 1883, "swimup-shed"), [], "shed", print, print, families=[wrong])
