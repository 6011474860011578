"""Faults against: every alarm transition is told at least once."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final, NamedTuple

from tests.system.daemon import air, configuration, send, until, water
from tests.system.fire.endpoint import WELL, Endpoint
from tests.system.fire.fault import Fault

if TYPE_CHECKING:
    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon, Phone
    from tests.system.fire.fault import Ground

EPOCH: Final = datetime(2026, 2, 3, 9, 0, tzinfo=UTC)
SPEED: Final = 60
HATCHED_H: Final = 18  # at 28 C most have hatched by then
URGENT: Final = "air-stopped:ash"
QUICK: Final = ("refuses", "is broken", "is gone", "asks to wait", "sends on to itself")
SLOW: Final = ("hangs", "breaks off", "shows an expired certificate", "has had too many")
NEVER_REFUSED: Final = ("refuses", "shows an expired certificate")
"""Whoever does so hears nothing of a letter."""


class Row(NamedTuple):
    """What is kept of a letter."""

    id: int
    channel: str
    state: str
    into: int | None  # the letter that tells it instead
    token: str
    alarm: str
    cause: str
    kind: str


@dataclass(slots=True)
class Service:
    """A daemon with a hatched batch in ash, another just begun in birch, one phone that is reached and push servers that fail."""

    broker: Mosquitto
    daemon: Daemon
    phone: Phone
    servers: list[Endpoint]
    _epoch: datetime = EPOCH

    def start(self) -> None:
        self.daemon.start("--sim-epoch", f"{self._epoch:%Y-%m-%dT%H:%M:%SZ}", "--sim-speed", str(SPEED))
        until(self.daemon.connected)

    def kill_and_start(self) -> None:
        """Its time goes on where it ended."""
        self._epoch = datetime.fromtimestamp(self.daemon.bench()["now_ms"] / 1000 + 1, UTC)
        self.daemon.kill()
        self.start()

    def begin(self) -> None:
        hours = [EPOCH - timedelta(hours=ago) for ago in range(HATCHED_H, -1, -1)]
        warm = [("shed/ash/water", json.dumps({"c": 28.0, "at": hour.isoformat()})) for hour in hours]
        send(self.broker, [*warm, *((f"shed/{vessel}/air", "on") for vessel in ("ash", "birch"))])
        until(lambda: self.daemon.vessel("birch")["air"], "the air is not shown")
        since = hours[0].isoformat(timespec="seconds")
        self.daemon.post("batches", vessel="ash", lot="tin-7", cysts_g=2.0, time=since)
        self.daemon.post("batches", vessel="birch", lot="tin-7", cysts_g=2.0)
        assert self.daemon.batch()["hatched"]["mid"] > 0.1

    def air(self, vessel: str, word: str) -> None:
        send(self.broker, [(f"shed/{vessel}/air", word)])

    def until_letters(self, alarm: str, *, tried: bool) -> None:
        """Wait until there is a letter to each push server about it, and with ``tried`` that did not get through."""
        query = f"SELECT DISTINCT channel FROM outbox WHERE alarm = '{alarm}' AND tries >= {int(tried)}"  # noqa: S608
        names = {server.name for server in self.servers}
        until(lambda: names <= {row[0] for row in self.daemon.rows(query)}, f"no letter about {alarm} for each server")

    def failing(self) -> set[str]:
        """The channels that are told as failing."""
        alarms = (one["id"].partition(":") for one in self.daemon.bench()["alarms"])
        return {subject for rule, _, subject in alarms if rule == "delivery-failing"}

    def nothing_waits(self) -> bool:
        return self.daemon.rows("SELECT count(*) FROM outbox WHERE state = 'waiting' AND cause != 'daily-digest'") == [
            (0,)
        ]

    def all_told(self) -> None:
        """Each letter that a transition gave rise to has truly come, by itself or in another; none was given up."""
        rows = self.daemon.rows("SELECT id, channel, state, merged_into, token, alarm, cause, kind FROM outbox")
        letters = {row[0]: Row(*row) for row in rows}
        came = {server.name: {letter["id"] for letter in server.letters} for server in self.servers}
        for letter in letters.values():
            if letter.cause == "daily-digest":
                continue
            last = letter
            while last.into is not None:
                last = letters[last.into]
            if letter.kind == "repeat" and last.state == "withdrawn":
                continue  # it is over meanwhile, and was told before
            where = f"letter {last.id} about {letter.alarm} to {letter.channel}"
            assert last.state == "told", f"{where}: {last.state}"
            assert last.channel not in came or last.token in came[last.channel], (
                f"{where} counts as told and never came"
            )
        told = "SELECT id FROM transition WHERE notify AND id NOT IN (SELECT transition_id FROM outbox WHERE channel = '{}'"
        for server in self.servers:
            own = f"delivery-failing:{server.name}"
            query = (
                told.format(server.name)
                + f" AND transition_id IS NOT NULL) AND alarm != '{own}' AND after = 'unacknowledged'"
            )
            assert not self.daemon.rows(query), f"of a trouble no letter went to {server.name}"

    def urgent_first(self, lives: int) -> None:
        """What is urgent comes first, or right after the letter with which the mended server was tried.

        That is the one whose time came first. Killed before it was struck off, the daemon tries in its next life with the same
        (which has the same id) or with another whose time has come: one for each of its ``lives`` since the servers are well.
        """
        for server in self.servers:
            letters = list({letter["id"]: letter for letter in server.letters}.values())
            first = [URGENT in (letter["alarm"], *letter.get("alarms", ())) for letter in letters[: 1 + lives]]
            assert any(first), f"{server.name}: {[(letter['id'], letter['title']) for letter in server.letters]}"


def service(ground: Ground, manners: tuple[str, ...]) -> Service:
    broker, phone = ground.broker(), ground.phone()
    names = [f"server-{number}" for number, _ in enumerate(manners)]
    servers = [Endpoint(ground.folder / "servers", name, manner) for name, manner in zip(names, manners, strict=True)]
    for server in servers:
        ground.when_done(server.close)
    text = configuration(
        broker.url,
        water("ash", decoder="json", pointer="/c", time_pointer="/at", every="1 h"),
        air("ash", every="1 h"),
        air("birch", every="1 h"),
        *(server.table for server in servers),
        vessels=("ash", "birch"),
        phone=phone.url,
        alarms='air_on_delay = "0 s"\ndelivery_on_delay = "0 s"',
    )
    made = Service(broker, ground.quick_daemon(text), phone, servers)
    made.start()
    made.begin()
    return made


def told(ground: Ground, manners: tuple[str, ...], kills: int) -> None:
    """Trouble, urgent trouble and an end while the servers fail; they are mended, and all is told."""
    made = service(ground, manners)
    made.air("birch", "off")
    made.until_letters("air-stopped:birch", tried=True)
    made.air("ash", "off")
    made.until_letters(URGENT, tried=False)
    for _ in range(kills):
        made.kill_and_start()
    failing = {server.name for server in made.servers}
    until(lambda: made.failing() >= failing, f"not all that fail are told as such: {made.failing()}")
    for server in made.servers:
        assert server.manner in NEVER_REFUSED or server.tries, f"whoever {server.manner} was never tried"
        assert not server.letters
    until(lambda: made.phone.about("Air stopped in ash"), "the phone that is reached was not told")
    for server in made.servers:
        server.turn(WELL)
    if kills:
        made.kill_and_start()
    for vessel in ("ash", "birch"):
        made.air(vessel, "on")
    until(lambda: all(server.letters for server in made.servers), "a mended server gets nothing")
    until(made.nothing_waits, "letters still wait")
    assert made.daemon.terminate() == 0
    made.all_told()
    made.urgent_first(lives=1 + bool(kills))
    said = " ".join(f"{letter['title']} {letter['message']}" for letter in made.phone.letters)
    for name in failing:
        assert name in said, f"nobody was told by the phone that {name} fails: {made.phone.titles}"


def quick(ground: Ground) -> None:
    """Servers that say no at once, each in its own way."""
    told(ground, QUICK, kills=0)


def slow(ground: Ground) -> None:
    """Servers that say nothing, or nothing that can be believed, and a daemon that is killed meanwhile."""
    told(ground, SLOW, kills=1)


FAULTS: Final = (
    Fault("push servers that refuse, redirect, ask to wait, answer 410 and 500", "told", quick),
    Fault(
        "push servers that hang, break off, ask to wait without end and have expired; the daemon is killed",
        "told",
        slow,
    ),
)
