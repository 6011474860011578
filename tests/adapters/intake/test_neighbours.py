"""Listening to what other rooms keep at a real broker."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.summary import LARGEST
from monitor.intake.neighbours import Neighbours
from tests.adapters.conftest import until

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from monitor.intake.session import Link
    from tests.conftest import BrokerFactory, Mosquitto

    LinkTo = Callable[..., Link]

pytestmark = pytest.mark.broker


class Heard:
    def __init__(self, link: Link, *sites: str) -> None:
        self.messages: list[tuple[str, bytes, bool]] = []
        self.told: list[str] = []
        self.listening = Neighbours(link, sites, lambda *message: self.messages.append(message), self.told.append)
        self.listening.start()

    @property
    def topics(self) -> list[str]:
        return [topic for topic, _, _ in self.messages]

    def open(self) -> bool:
        return "" in self.told


@pytest.fixture
def hearing() -> Iterator[Callable[..., Heard]]:
    made: list[Heard] = []

    def make(link: Link, *sites: str) -> Heard:
        made.append(Heard(link, *sites))
        return made[-1]

    yield make
    for one in made:
        one.listening.stop()


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_what_is_kept_and_what_comes_are_heard_and_told_apart(
    mosquitto: Mosquitto, link_to: LinkTo, hearing: Callable[..., Heard], version: str
) -> None:
    """Of every room only the two topics that are for others, under either version of MQTT; what is too large comes under
    neither, or is left to the reader to refuse."""
    mosquitto.publish("swimup/attic/summary", "kept", retain=True)
    mosquitto.publish("swimup/attic/alarm/x", "not for us", retain=True)
    heard = hearing(link_to(mosquitto, version=version))
    until(lambda: heard.messages, "what is kept does not come")
    mosquitto.publish("swimup/cellar/summary", "x" * (LARGEST + 2000))
    mosquitto.publish("swimup/cellar/status", "live")
    until(lambda: ("swimup/cellar/status", b"live", False) in heard.messages, "what is live does not come")
    assert heard.messages[0] == ("swimup/attic/summary", b"kept", True)
    assert heard.topics.count("swimup/cellar/summary") == (0 if version == "5" else 1)
    assert "swimup/attic/alarm/x" not in heard.topics


def test_a_broker_that_goes_is_told_and_one_that_comes_back_is_heard(
    mosquitto: Mosquitto, link_to: LinkTo, hearing: Callable[..., Heard]
) -> None:
    """With the rooms named, no others are asked for."""
    heard = hearing(link_to(mosquitto), "attic")
    until(heard.open, "it is not linked")
    mosquitto.restart()
    until(lambda: any("No link to our own broker" in text for text in heard.told), "nobody says that it is gone")
    until(lambda: heard.told[-1] == "", "it does not come back")
    mosquitto.publish("swimup/cellar/summary", "a stranger")
    mosquitto.publish("swimup/attic/summary", "a friend")
    until(lambda: heard.messages, "nothing is heard")
    assert heard.topics == ["swimup/attic/summary"]


def test_a_password_that_is_refused_is_told(
    brokers: BrokerFactory, link_to: LinkTo, hearing: Callable[..., Heard]
) -> None:
    """The keeper reads on the page why nothing is heard."""
    heard = hearing(link_to(brokers(anonymous=False)))
    until(lambda: heard.told, "nobody says so")
    assert "it refuses us" in heard.told[0]


def test_it_ends_when_told_also_without_a_broker(link_to: LinkTo, brokers: BrokerFactory) -> None:
    """No thread outlives it."""
    broker: Any = brokers(start=False)
    one = Neighbours(link_to(broker), (), lambda *_: None, lambda _: None)
    one.start()
    assert one.alive
    one.stop()
    assert not one.alive
