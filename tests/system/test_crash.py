from __future__ import annotations

import json
import threading
from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import configuration, send, until, water
from tests.system.wire import Wire

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon

pytestmark = [pytest.mark.system, pytest.mark.broker]

COUNT = 1000
AHEAD = 100  # a publisher goes no further beyond the moment of a kill before it is done: else all may have come by then
VALUES = [20_000 + number for number in range(COUNT)]  # thousandths of a degree, all different

BARE = [f"{value / 1000:.3f}" for value in VALUES]
COUNTED = [json.dumps({"c": value / 1000, "n": number}) for number, value in enumerate(VALUES)]


COUNTED_OPTIONS = {"decoder": "json", "pointer": "/c", "sequence_pointer": "/n"}


@pytest.mark.parametrize(
    ("payloads", "options", "kills"),
    [
        (BARE, {}, (120,)),
        (BARE, {}, (500,)),
        (BARE, {}, (300, 550, 800)),
        (COUNTED, COUNTED_OPTIONS, (500,)),
        (COUNTED, COUNTED_OPTIONS, (300, 550, 800)),
    ],
    ids=["bare-once", "bare-midway", "bare-thrice", "counted-midway", "counted-thrice"],
)
def test_every_reading_is_stored_exactly_once(
    mosquitto: Mosquitto,
    daemons: Callable[[str], Daemon],
    payloads: list[str],
    options: dict[str, str],
    kills: tuple[int, ...],
) -> None:
    """Killed without warning while 1000 QoS 1 readings arrive, and started again, the daemon keeps each of them once."""
    daemon = daemons(configuration(mosquitto.url, water("ash", **options)))
    daemon.start()
    until(daemon.connected)
    sent = 0
    reached, killed = ({kill: threading.Event() for kill in kills} for _ in range(2))

    def messages() -> Iterator[tuple[str, str]]:
        nonlocal sent
        for payload in payloads:
            yield "shed/ash/water", payload
            sent += 1
            if sent in reached:
                reached[sent].set()
            if sent - AHEAD in killed:
                killed[sent - AHEAD].wait(60)

    publisher = threading.Thread(target=send, args=(mosquitto, messages(), 0.003), name="probe")
    publisher.start()
    try:
        for kill in kills:
            assert reached[kill].wait(60), "the publisher has stopped"
            daemon.kill()
            killed[kill].set()
            assert daemon.stored("ash-water") != VALUES, "all had arrived: the kill came too late to prove anything"
            daemon.start()
    finally:
        publisher.join(60)
    assert sent == COUNT
    until(lambda: len(daemon.stored("ash-water")) >= COUNT, "not all readings were stored")
    assert daemon.terminate() == 0  # what waits is committed, so that one stored twice would be seen
    assert daemon.stored("ash-water") == VALUES
    assert daemon.rows("PRAGMA integrity_check") == [("ok",)]


@pytest.mark.parametrize(("payloads", "options"), [(BARE, {}), (COUNTED, COUNTED_OPTIONS)], ids=["bare", "counted"])
def test_what_was_stored_but_not_acknowledged_is_stored_once(
    mosquitto: Mosquitto, daemons: Callable[[str], Daemon], payloads: list[str], options: dict[str, str]
) -> None:
    """Killed after its commit while none of its acknowledgements reached the broker, the daemon keeps what is repeated once."""
    wire = Wire(mosquitto)
    daemon = daemons(configuration(wire.url, water("ash", **options), commit_every="60 s"))
    daemon.start()
    until(daemon.connected)
    send(mosquitto, [("shed/ash/water", payload) for payload in payloads[:400]])
    daemon.until_water(20.4)  # the bench shows hundredths
    wire.mute = True
    daemon.told("batch", "start", "ash", "--cysts", "2 g")  # is committed at once, with all that waits
    assert daemon.stored("ash-water") == VALUES[:400]
    until(lambda: wire.swallowed > 4 * 400, "the acknowledgements were not on the wire")
    daemon.kill()
    wire.mute = False

    daemon.start()

    until(daemon.connected)
    send(mosquitto, [("shed/ash/water", payloads[410])])  # the broker hands it out after all that it repeats
    daemon.until_water(20.41)
    assert daemon.terminate() == 0
    wire.close()
    assert daemon.stored("ash-water") == [*VALUES[:400], VALUES[410]]
    assert daemon.rows("PRAGMA integrity_check") == [("ok",)]
