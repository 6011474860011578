"""Readings through a real broker: none lost, none acknowledged early, old ones marked as old."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from monitor.intake import connection
from monitor.intake.decode import LARGEST
from tests.adapters.conftest import until

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.intake.session import Link
    from tests.adapters.conftest import Hearing
    from tests.adapters.intake.conftest import LoneSession
    from tests.conftest import Mosquitto

    Hear = Callable[..., Hearing]
    LinkTo = Callable[..., Link]

pytestmark = pytest.mark.broker

TOPIC = "shed/ash/water"
OTHER = "shed/birch/water"


def numbers(count: int) -> list[str]:
    return [f"{number / 10}" for number in range(count)]


def test_a_message_arrives_live(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """A message published while we listen comes once, with its payload, neither queued nor retained nor repeated."""
    hearing = hear(link_to(mosquitto), [TOPIC])
    hearing.wait_up()
    mosquitto.publish(TOPIC, "21.4")
    hearing.wait_payloads(1)
    (message,) = hearing.messages
    assert (message.topic, message.payload, message.qos) == (TOPIC, b"21.4", 1)
    assert (message.queued, message.retain, message.dup) == (False, False, False)
    assert hearing.session.state.version == "5"


def test_a_message_without_assurance_arrives(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """A message at QoS 0 comes without a packet id, and acknowledging it does no harm."""
    hearing = hear(link_to(mosquitto), [TOPIC])
    hearing.wait_up()
    mosquitto.publish(TOPIC, "21.4", qos=0)
    mosquitto.publish(TOPIC, "21.5")
    hearing.wait_payloads(2)
    assert [(message.qos, message.mid > 0) for message in hearing.messages] == [(0, False), (1, True)]


def test_what_no_reading_can_be_is_not_held_whole(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """Of a message larger than any reading one byte more than that comes, so that its size can still be told."""
    hearing = hear(link_to(mosquitto), [TOPIC])
    hearing.wait_up()
    mosquitto.publish(TOPIC, "x" * 1_000_000, "y" * LARGEST)
    hearing.wait_payloads(2)
    assert hearing.payloads == ["x" * (LARGEST + 1), "y" * LARGEST]


def test_nothing_is_lost_when_the_process_is_killed(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo, lone_session: Callable[..., LoneSession]
) -> None:
    """After kill -9 of a process that heard 300 messages and acknowledged none, each comes again once, marked."""
    sent = numbers(300)
    deaf = lone_session(mosquitto, "swimup-shed", TOPIC)
    deaf.wait_for("up")
    mosquitto.publish(TOPIC, *sent)
    deaf.wait_for(f"message {sent[-1]}")
    deaf.kill()
    hearing = hear(link_to(mosquitto), [TOPIC])
    hearing.wait_payloads(300)
    mosquitto.publish(TOPIC, "live")
    hearing.wait_payloads(301)
    assert hearing.payloads == [*sent, "live"]
    assert all(message.dup and message.queued for message in hearing.messages[:-1])


def test_only_the_acknowledged_is_gone(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """Of ten messages the first four are acknowledged; the other six, and only they, come to the next process."""
    first = hear(link_to(mosquitto), [TOPIC], ack_at_once=False)
    first.wait_up()
    mosquitto.publish(TOPIC, *numbers(10))
    first.wait_payloads(10)
    for message in first.messages[:4]:
        first.session.ack(message)
    first.session.stop()
    second = hear(link_to(mosquitto), [TOPIC])
    second.wait_up()
    mosquitto.publish(TOPIC, "live")
    second.wait_payloads(7)
    assert second.payloads == [*numbers(10)[4:], "live"]


def test_redelivery_keeps_packet_id_and_session(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """A message that comes again has its old packet id, payload and session number, so that it can be recognised."""
    first = hear(link_to(mosquitto), [TOPIC], ack_at_once=False, session=4)
    first.wait_up()
    mosquitto.publish(TOPIC, *numbers(5))
    first.wait_payloads(5)
    first.session.stop()
    second = hear(link_to(mosquitto), [TOPIC], session=first.session.state.session)
    second.wait_payloads(5)
    identities = [
        [(message.session, message.mid, message.payload) for message in hearing.messages] for hearing in (first, second)
    ]
    assert identities[0] == identities[1]
    assert {message.session for message in second.messages} == {5}


def test_acknowledgements_go_out_in_order_of_arrival(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """An acknowledgement waits until those of all earlier messages were given."""
    first = hear(link_to(mosquitto), [TOPIC], ack_at_once=False)
    first.wait_up()
    mosquitto.publish(TOPIC, *numbers(3))
    first.wait_payloads(3)
    first.session.ack(first.messages[1])
    first.session.ack(first.messages[2])
    first.session.stop()
    second = hear(link_to(mosquitto), [TOPIC], ack_at_once=False)
    second.wait_payloads(3)
    assert second.payloads == numbers(3)
    for message in reversed(second.messages):
        second.session.ack(message)
    second.session.stop()
    third = hear(link_to(mosquitto), [TOPIC])
    third.wait_up()
    mosquitto.publish(TOPIC, "live")
    third.wait_payloads(1)
    assert third.payloads == ["live"]


def test_acknowledgements_of_an_earlier_connection_are_dropped(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo
) -> None:
    """A message acknowledged only after its connection broke is delivered again, until it is acknowledged there."""
    first = hear(link_to(mosquitto), [TOPIC], ack_at_once=False)
    first.wait_up()
    mosquitto.publish(TOPIC, "21.4")
    first.wait_payloads(1)
    mosquitto.restart()
    first.wait_payloads(2)
    first.session.ack(first.messages[0])
    first.session.stop()
    second = hear(link_to(mosquitto), [TOPIC], ack_at_once=False)
    second.wait_payloads(1)
    assert second.payloads == ["21.4"]


def test_what_waited_at_the_broker_is_marked(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """Messages published while we were away are queued; those published after we came back are not."""
    first = hear(link_to(mosquitto), [TOPIC])
    first.wait_up()
    first.session.stop()
    mosquitto.publish(TOPIC, *numbers(50))
    second = hear(link_to(mosquitto), [TOPIC])
    second.wait_payloads(50)
    until(lambda: second.session.state.live)
    mosquitto.publish(TOPIC, "21.4")
    second.wait_payloads(51)
    assert [message.queued for message in second.messages] == [True] * 50 + [False]
    assert not any(message.dup for message in second.messages)


def test_a_retained_message_is_marked(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """A value from the broker's retained store is marked; one that is retained while we listen is live."""
    mosquitto.publish(TOPIC, "19.0", retain=True)
    hearing = hear(link_to(mosquitto), [TOPIC])
    hearing.wait_payloads(1)
    hearing.wait_up()
    mosquitto.publish(TOPIC, "21.4", retain=True)
    hearing.wait_payloads(2)
    assert [(message.payload, message.retain) for message in hearing.messages] == [(b"19.0", True), (b"21.4", False)]


def test_queued_messages_outlive_a_killed_broker(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """Messages for us that the broker had saved come after its kill -9, each once."""
    first = hear(link_to(mosquitto), [TOPIC])
    first.wait_up()
    first.session.stop()
    mosquitto.publish(TOPIC, *numbers(100))
    saved = mosquitto.folder / "mosquitto.db"
    until(lambda: saved.read_bytes().count(TOPIC.encode()) > 100)  # and our subscription; it acknowledges first
    mosquitto.kill()
    mosquitto.start()
    second = hear(link_to(mosquitto), [TOPIC])
    second.wait_payloads(100)
    mosquitto.publish(TOPIC, "live")
    second.wait_payloads(101)
    assert second.payloads == [*numbers(100), "live"]


def test_many_messages_may_wait_for_one_commit(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """A thousand messages arrive although none of them is acknowledged."""
    hearing = hear(link_to(mosquitto), [TOPIC], ack_at_once=False)
    hearing.wait_up()
    mosquitto.publish(TOPIC, *numbers(1000))
    hearing.wait_payloads(1000)
    assert hearing.payloads == numbers(1000)


def test_no_more_is_read_than_is_dealt_with(
    mosquitto: Mosquitto, hear: Hear, link_to: LinkTo, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However much a broker sends at once, what is not acknowledged yet stays within bounds, and all of it comes."""
    monkeypatch.setattr(connection, "MOST_OWED", 20)
    long = "0" * 10_000  # so that what is read in one go is a few of them
    behind = hear(link_to(mosquitto), [TOPIC], ack_at_once=False)
    behind.wait_up()
    other = hear(link_to(mosquitto, client_id="swimup-other"), [TOPIC])
    other.wait_up()
    mosquitto.publish(TOPIC, *(f"{long}{number}" for number in range(300)))
    other.wait_payloads(300)
    behind.wait_payloads(20)
    most = done = 0
    while done < 300:
        behind.wait_payloads(done + 1)
        came = len(behind.messages)
        most = max(most, came - done)
        behind.session.ack(*behind.messages[done:came])
        done = came
    assert 20 <= most < 60
    assert [payload.removeprefix(long) for payload in behind.payloads] == [str(number) for number in range(300)]


def test_a_failing_callback_costs_no_message(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """When taking a message fails, the thread lives, later messages come, and the failed one comes again."""
    first = hear(link_to(mosquitto), [TOPIC])
    first.wait_up()
    first.fail_with = ValueError("no room")
    mosquitto.publish(TOPIC, "lost?")
    until(lambda: first.session.state.faults == 1)
    first.fail_with = None
    mosquitto.publish(TOPIC, "21.4")
    first.wait_payloads(1)
    first.session.stop()
    second = hear(link_to(mosquitto), [TOPIC])
    second.wait_payloads(1)
    assert (first.payloads, second.payloads) == (["21.4"], ["lost?"])


def test_a_topic_no_longer_bound_is_given_back(mosquitto: Mosquitto, hear: Hear, link_to: LinkTo) -> None:
    """What a kept session still brings of a topic that is bound no more is acknowledged unread, and ends."""
    first = hear(link_to(mosquitto), [TOPIC, OTHER])
    first.wait_up()
    first.session.stop()
    mosquitto.publish(OTHER, "1")
    second = hear(link_to(mosquitto), [TOPIC])
    until(lambda: second.session.state.strays == 1)
    mosquitto.publish(TOPIC, "21.4")
    second.wait_payloads(1)
    mosquitto.publish(OTHER, "2")
    mosquitto.publish(TOPIC, "21.5")
    second.wait_payloads(2)
    assert second.session.state.strays == 1
    assert second.payloads == ["21.4", "21.5"]
