"""Faults against: bad input is harmless."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from tests.system.daemon import OPENER, PATIENCE_S, configuration, probe, until
from tests.system.fire.fault import Fault

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from random import Random

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon
    from tests.system.fire.fault import Ground

WARM_UP: Final = 2000  # fills what is bounded: the page cache of the store, what is kept aside
BAD: Final = 2000
GOOD_AFTER: Final = 10  # bad ones
LONGEST_TOPIC: Final = 65_535  # bytes, MQTT section 1.5.4
KEPT: Final = 20  # of each probe
MOST_MB: Final = 5.0  # twenty large ones kept whole would be more; what the system keeps in pages moves by two or three
LARGE: Final = 1_000_000
LARGE_EVERY: Final = 100  # bad messages
MAY_WAIT: Final = 100  # messages on their way to the broker
RAISED: Final = ("input.failed", "tick.failed", "session.callback-failed", "web.failed")


def text(words: str) -> bytes:
    return words.encode("utf-8", "surrogatepass")


def senml(**fields: Any) -> bytes:
    return text(json.dumps([{"n": "ash", **fields}]))


READ_BY_NONE: Final[dict[str, Callable[[Random], bytes]]] = {
    "random bytes": lambda dice: b"\xff" + dice.randbytes(dice.randrange(200)),
    "bad UTF-8": lambda dice: b"24.5\xc3\x28" + dice.randbytes(3),
    "nothing": lambda _: b"",
    "not a number": lambda dice: text(
        dice.choice(['{"v": NaN}', "NaN", "-Infinity", '{"v": 1e999}', senml(v=None).decode()])
    ),
    "1e308": lambda dice: text(dice.choice(["1e308", '{"v": -1e308}', '[{"n": "ash", "u": "Cel", "v": 1e308}]'])),
    "deep JSON": lambda dice: b"[" * (deep := dice.randrange(500, 30_000)) + b"]" * deep,
    "deep objects": lambda dice: b'{"v":' * dice.randrange(500, 6000),
    "half of JSON": lambda dice: text('{"v": 24.5, "at": "2026-'[: dice.randrange(1, 24)]),
    "wrong units": lambda dice: senml(u=dice.choice(["Pa", "lm", "C", "\ud800"]), v=24.5),
    "long digits": lambda dice: b"9" * dice.randrange(400, 60_000),
    "wrong kinds": lambda dice: text(
        dice.choice(['{"v": {}}', '{"v": [24.5]}', "true", '"x"', "[]", "[[]]", '{"v": true}'])
    ),
}
"""What no decoder of ours makes a reading of."""
DECODERS: Final[dict[str, dict[str, object]]] = {
    "number": {},
    "json": {"decoder": "json", "pointer": "/v"},
    "senml": {"decoder": "senml", "name": "ash"},
}
GOOD: Final[dict[str, Callable[[float], str]]] = {
    "number": lambda celsius: f"{celsius:.3f}",
    "json": lambda celsius: json.dumps({"v": celsius}),
    "senml": lambda celsius: json.dumps([{"n": "ash", "u": "Cel", "v": celsius}]),
}


class Hose:
    """Publishes bytes at QoS 1 as fast as the broker takes them."""

    def __init__(self, ground: Ground, broker: Mosquitto) -> None:
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.max_inflight_messages_set(MAY_WAIT)
        self._client.connect(broker.host, broker.port)
        self._client.loop_start()
        ground.when_done(self._leave)

    def pour(self, messages: Iterable[tuple[str, bytes]], *, retain: bool = False) -> None:
        sent = [self._client.publish(topic, payload, qos=1, retain=retain) for topic, payload in messages]
        for one in sent:
            one.wait_for_publish(PATIENCE_S)
            assert one.is_published(), "the broker did not take a message"

    def _leave(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Rubbish:
    """Counts what was made, so that it can be held against what the daemon has counted."""

    def __init__(self, dice: Random) -> None:
        self._dice = dice
        self.bad = dict.fromkeys(DECODERS, 0)
        self.good: dict[str, list[int]] = {name: [] for name in DECODERS}
        self._next = 0

    def messages(self, count: int) -> Iterable[tuple[str, bytes]]:
        """So many bad ones for decoders in turn, and a good one of each now and then."""
        for number in range(count):
            name = self._dice.choice(list(DECODERS))
            make = self._dice.choice(list(READ_BY_NONE.values()))
            large = number % LARGE_EVERY == 0
            yield f"shed/{name}", self._dice.randbytes(LARGE) if large else make(self._dice)
            self.bad[name] += 1
            if number % GOOD_AFTER == 0:
                self._next = (self._next + 1) % 2000
                for good, words in GOOD.items():
                    self.good[good].append(24_000 + self._next)
                    yield f"shed/{good}", text(words((24_000 + self._next) / 1000))

    def done(self, daemon: Daemon) -> bool:
        """Whether the daemon has counted all of it."""
        told = counted(daemon)
        return all(told[name][0] == self.bad[name] + len(self.good[name]) for name in DECODERS)


def metrics(daemon: Daemon) -> dict[tuple[str, str | None], float]:
    """By name and probe."""
    with OPENER.open(f"{daemon.url}/metrics", timeout=10) as answer:
        families = text_string_to_metric_families(answer.read().decode())  # type: ignore[no-untyped-call]
        return {(one.name, one.labels.get("probe")): one.value for family in families for one in family.samples}


def counted(daemon: Daemon) -> dict[str, tuple[int, int]]:
    """By probe: how many messages came, and how many of them could not be read."""
    found = metrics(daemon)
    return {
        name: (
            round(found.get(("swimup_probe_messages_total", name), 0)),
            round(found.get(("swimup_probe_unreadable_total", name), 0)),
        )
        for name in DECODERS
    }


def started(make: Callable[[str], Daemon], broker: Mosquitto) -> Daemon:
    """One with a probe for each decoder, connected."""
    probes = [
        probe(name, f"shed/{name}", measures="water", vessel="ash", **options) for name, options in DECODERS.items()
    ]
    daemon = make(configuration(broker.url, *probes))
    daemon.start()
    until(daemon.connected)
    return daemon


def nothing_raised(daemon: Daemon) -> None:
    raised = [
        line for line in daemon.log.splitlines() if "Traceback" in line or any(f"={one} " in line for one in RAISED)
    ]
    assert not raised, raised[0][-2000:]


def at_rest(made: Rubbish, daemon: Daemon) -> None:
    """Wait until all was counted, and is stored and acknowledged."""
    until(lambda: made.done(daemon), "not all was counted")
    until(lambda: not metrics(daemon)["swimup_store_pending", None], "it is never all stored")


def kept_aside(daemon: Daemon) -> dict[str, int]:
    """How much of what could not be read is kept, by probe."""
    query = "SELECT probe, count(*) FROM quarantine JOIN series ON series.id = series GROUP BY probe"
    return dict(daemon.rows(query))


def rubbish(ground: Ground) -> None:
    """Thousands of messages that nobody can read, with good ones between: counted, twenty kept, and it holds no more memory."""
    broker = ground.broker()
    daemon = started(ground.daemon, broker)  # of its own, since its memory counts
    hose, made = Hose(ground, broker), Rubbish(ground.random)

    def pour(count: int) -> None:
        hose.pour(made.messages(count))
        at_rest(made, daemon)

    pour(WARM_UP)
    before = daemon.resident_mb()
    pour(BAD)
    more = daemon.resident_mb() - before
    assert more < MOST_MB, f"it holds {more:.1f} MB more"
    expected = {name: (made.bad[name] + len(made.good[name]), made.bad[name]) for name in DECODERS}
    assert counted(daemon) == expected, f"{counted(daemon)}, not {expected}"
    until(lambda: all(len(daemon.stored(name)) >= len(made.good[name]) for name in DECODERS), "not all good is stored")
    assert daemon.water() == made.good["number"][-1] / 1000
    nothing_raised(daemon)
    assert daemon.terminate() == 0
    for name in DECODERS:
        assert daemon.stored(name) == sorted(made.good[name]), name
    assert kept_aside(daemon) == dict.fromkeys(DECODERS, KEPT)
    assert daemon.rows("SELECT DISTINCT mark & 7 FROM reading") == [(0,)], "a good one was doubted"


def where_nobody_expects_it(ground: Ground) -> None:
    """Rubbish kept by the broker, as a command, and under the longest topics there are: it lives, and so after a restart."""
    broker = ground.broker()
    daemon = started(ground.quick_daemon, broker)
    hose, dice = Hose(ground, broker), ground.random
    longest = LONGEST_TOPIC - len("swimup/shed/do/")
    commands = ["x", "\ufffd\U0001f990", "a" * longest, "a" * (longest - 2), "/".join("b" * 90), " " * 300]
    makers = list(READ_BY_NONE.values())
    for _ in range(5):
        hose.pour((f"swimup/shed/do/{name}", dice.choice(makers)(dice)) for name in commands)
        hose.pour([("c" * LONGEST_TOPIC, b"24.5"), ("shed/number/" + "d" * 60_000, b"24.5")])
    hose.pour(((f"swimup/shed/do/{name}", dice.choice(makers)(dice)) for name in commands[:3]), retain=True)
    hose.pour(((f"shed/{name}", dice.choice(makers)(dice) or b"?") for name in DECODERS), retain=True)
    for restarted in (False, True):
        if restarted:
            assert daemon.terminate() == 0
            daemon.start()
            until(daemon.connected)
        celsius = 24.5 + restarted
        hose.pour((f"shed/{name}", text(words(celsius))) for name, words in GOOD.items())
        daemon.until_water(celsius)
        nothing_raised(daemon)
        until(lambda: kept_aside(daemon).keys() >= DECODERS.keys(), "what could not be read was not kept for a look")
    assert daemon.terminate() == 0


FAULTS: Final = (
    Fault("thousands of messages nobody can read", "input", rubbish),
    Fault("rubbish as commands, kept ones and under huge topics", "input", where_nobody_expects_it),
)
