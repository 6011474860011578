"""A short visit to the broker, to see whether it lets us in. It disturbs no session and leaves nothing behind."""

from __future__ import annotations

import secrets
import time
from typing import TYPE_CHECKING, Any, Final

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from monitor.intake.connection import WIRE_FAULTS
from monitor.intake.link import CONNECT_TIMEOUT_S, trust

if TYPE_CHECKING:
    from collections.abc import Callable

    from paho.mqtt.client import ConnectFlags, MQTTMessage
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

    from monitor.intake.link import Link

ANSWER_S: Final = 5.0
NAME_S: Final = 1.0
"""For the broker's own name, which not every broker tells, nor to everybody. Common practice, no source."""
NAME_TOPIC: Final = "$SYS/broker/version"
LONGEST_NAME: Final = 60
_LOOK_S: Final = 0.05


class NotLetIn(Exception):  # noqa: N818  (it says what happened)
    """The broker is not reached, or refuses us; the message says how."""


def visit(link: Link, steady: Callable[[], float] = time.monotonic) -> str:
    """What the broker calls itself, empty when it does not tell. Raises NotLetIn. Takes a few seconds at most."""
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=f"swimup-visit-{secrets.token_hex(4)}",
        protocol=MQTTv311 if link.version == "3.1.1" else MQTTv5,
        reconnect_on_failure=False,
    )
    answers: list[ReasonCode] = []
    names: list[str] = []

    def answered(visitor: Client, _: Any, __: ConnectFlags, reason: ReasonCode, ___: Properties | None) -> None:
        answers.append(reason)
        if not reason.is_failure:
            visitor.subscribe(NAME_TOPIC)

    def told(_: Client, __: Any, message: MQTTMessage) -> None:
        names.append(message.payload[:LONGEST_NAME].decode("utf-8", "replace"))

    client.on_connect, client.on_message = answered, told
    try:
        client.connect_timeout = CONNECT_TIMEOUT_S
        if link.user is not None:
            client.username_pw_set(link.user, link.password)
        if link.tls:
            client.tls_set_context(trust(link))
        client.connect(link.host, link.port, link.keepalive_s)
        _turn(client, lambda: bool(answers), steady() + ANSWER_S, steady)
        if answers and not answers[0].is_failure:
            _turn(client, lambda: bool(names), steady() + NAME_S, steady)
        client.disconnect()
    except WIRE_FAULTS as error:
        raise NotLetIn(str(getattr(error, "strerror", None) or error)) from error
    if not answers:
        raise NotLetIn(f"it did not answer within {ANSWER_S:.0f} s")
    if answers[0].is_failure:
        raise NotLetIn(str(answers[0]).lower())
    return names[0] if names else ""


def _turn(client: Client, done: Callable[[], bool], until: float, steady: Callable[[], float]) -> None:
    """Let it work until that is done, the time is up, or the broker has hung up."""
    while not done() and steady() < until and client.loop(_LOOK_S) == 0:
        pass
