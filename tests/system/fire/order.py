"""Faults against: order and duplicates don't matter."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from tests.system.daemon import configuration, probe, send, until
from tests.system.fire.fault import Fault

if TYPE_CHECKING:
    from random import Random

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon
    from tests.system.fire.fault import Ground

EPOCH: Final = datetime(2026, 2, 3, 9, 0, tzinfo=UTC)
STANDS_STILL: Final = "0.000001"
"""The speed of the clock: no millisecond passes in a try, so that two daemons reckon for the very same instant."""
HOURS: Final = 20
PERIOD: Final = timedelta(minutes=10)
REPEATS: Final = 3  # so often at most each message comes
READINGS: Final = (
    "SELECT probe, time, n, milli, mark & 63, seq FROM reading JOIN series ON series.id = series "
    "ORDER BY probe, time, n"
)
SLOTS: Final = "SELECT probe, slot, count, slot.total FROM slot JOIN series ON series.id = series ORDER BY probe, slot"

Row = tuple[Any, ...]
Message = tuple[str, str]


def stream(dice: Random) -> list[Message]:
    """Water that wanders and air that stops now and then, with times and numbers of their own, in order."""
    made: list[Message] = []
    warm, stopped = dice.uniform(22.0, 28.0), dice.randrange(40, 80)
    for number in range(HOURS * 6 + 1):
        at = (EPOCH - timedelta(hours=HOURS) + number * PERIOD).isoformat()
        celsius = round(warm + math.sin(number / 9) + dice.uniform(-0.2, 0.2), 3)
        word = "off" if stopped <= number < stopped + 2 else "on"
        made += [
            (f"shed/ash/{what}", json.dumps({"v": value, "at": at, "n": number}))
            for what, value in (("water", celsius), ("air", word))
        ]
    return made


def muddled(dice: Random, messages: list[Message]) -> list[Message]:
    """Each up to three times, in any order."""
    made = [message for message in messages for _ in range(dice.randint(1, REPEATS))]
    dice.shuffle(made)
    return made


def hear(ground: Ground, broker: Mosquitto, messages: list[Message], last: Message) -> Daemon:
    """A daemon that has stored all of it; ``last`` is of another probe, told when all else was."""
    more = {"decoder": "json", "pointer": "/v", "time_pointer": "/at", "sequence_pointer": "/n", "every": "10 min"}
    probes = [
        probe(f"ash-{what}", f"shed/ash/{what}", measures=what, vessel="ash", **more) for what in ("water", "air")
    ]
    probes.append(probe("shed-room", last[0], measures="room", every="10 min"))
    daemon = ground.quick_daemon(configuration(broker.url, *probes))
    daemon.start("--sim-epoch", f"{EPOCH:%Y-%m-%dT%H:%M:%SZ}", "--sim-speed", STANDS_STILL)
    until(daemon.connected)
    begun = (EPOCH - timedelta(hours=HOURS - 1)).isoformat(timespec="seconds")
    daemon.post("batches", vessel="ash", lot="tin-7", cysts_g=2.0, batch="one", time=begun)
    send(broker, [*messages, last])
    until(lambda: daemon.stored("shed-room"), "the last message was not stored")
    return daemon


def estimate(daemon: Daemon) -> dict[str, Any]:
    """What the API tells of the vessel: after a look at it, everything is reckoned anew before it is answered."""
    daemon.post("batches/one/seen", what="some")
    return daemon.vessel()


def permuted_and_repeated(ground: Ground) -> None:
    """Two daemons hear the same, one in order, one in any order and repeatedly: same store, same estimate to the digit."""
    messages, last = stream(ground.random), ("shed/room", "20.5")
    found: list[tuple[dict[str, Any], list[Row], list[Row]]] = []
    for heard in (messages, muddled(ground.random, messages)):
        daemon = hear(ground, ground.broker(), heard, last)
        shown = estimate(daemon)
        assert daemon.terminate() == 0
        found.append((shown, daemon.rows(READINGS), daemon.rows(SLOTS)))
    plain, other = found
    assert len(plain[1]) == len(messages) + 1
    assert other[1] == plain[1], "the readings differ"
    assert other[2] == plain[2], "the slots differ"
    assert plain[0]["batch"]["hatched"]["mid"] > 0.01
    assert other[0] == plain[0], f"the vessel differs: {other[0]}, {plain[0]}"


FAULTS: Final = (Fault("readings in any order, each up to three times", "order", permuted_and_repeated),)
