"""Faults against: broker restarts are boring."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from tests.system.daemon import configuration, retained, until
from tests.system.fire.fault import Fault
from tests.system.fire.kept import transitions
from tests.system.fire.names import Names, with_own_names
from tests.system.fire.speaker import Speaker, counted_water

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon, Phone
    from tests.system.fire.fault import Ground
    from tests.system.wire import Wire

LOST: Final = "broker-lost:site"
SILENT: Final = ("probe-silent:ash-water", "probe-silent:birch-water")
LOST_TITLE: Final = "The broker is not reached"
NAME: Final = "broker.shed.test"
NO_NAME: Final = "the broker's name is not found"
SPEED: Final = 40
MOST_CONNECTS: Final = 40
"""With a back-off that doubles it takes some ten tries of two connections to wait for a minute; without, thousands."""


@dataclass(slots=True)
class Shed:
    """Two probes that go on speaking, a broker, the line to it, the daemon and a phone."""

    broker: Mosquitto
    wire: Wire
    daemon: Daemon
    phone: Phone
    speakers: dict[str, Speaker]

    def connected(self) -> bool:
        return bool(self.daemon.bench()["broker"]["connected"])

    def lost(self) -> None:
        """Wait until the daemon has noticed."""
        until(lambda: not self.connected(), "that the broker is away is not noticed")

    def back(self) -> None:
        until(self.connected, "the daemon does not come back to the broker")

    def go_on(self, more: int) -> None:
        for speaker in self.speakers.values():
            speaker.go_on(more)

    def until_stored(self, vessel: str, count: int) -> None:
        until(lambda: len(self.daemon.stored(f"{vessel}-water")) >= count, f"{vessel}: not all was stored")

    def until_heard(self, vessel: str, milli: int) -> None:
        until(lambda: milli in self.daemon.stored(f"{vessel}-water"), f"{vessel} is not heard again")

    def all_once(self) -> None:
        """Whatever the broker has taken of the probes is stored, each reading once, and the daemon ends in good order."""
        told = {name: speaker.silence() for name, speaker in self.speakers.items()}
        for name, values in told.items():
            self.until_stored(name, len(values))
        assert self.daemon.terminate() == 0
        for name, values in told.items():
            assert self.daemon.stored(f"{name}-water") == values, f"{name}: not each reading once"

    def nothing_was_told(self) -> None:
        """What lasts for moments is nobody's business."""
        assert not self.phone.letters, self.phone.titles
        assert not transitions(self.daemon, LOST)

    def well_again(self) -> None:
        """The daemon is back and goes on with each reading once, and nobody was told."""
        self.back()
        self.go_on(5)
        self.all_once()
        self.nothing_was_told()


def shed(ground: Ground, speed: int | None = None, host: str = "127.0.0.1") -> Shed:
    """All of it, connected, with readings under way. ``host``: under which name the daemon looks for the broker."""
    broker = ground.broker(extra=())
    wire, phone = ground.wire(broker), ground.phone()
    probes = [counted_water(vessel) for vessel in ("ash", "birch")]
    text = configuration(f"mqtt://{host}:{wire.port}", *probes, vessels=("ash", "birch"), phone=phone.url)
    daemon = ground.quick_daemon(text.replace("[broker]\n", '[broker]\nkeepalive = "5 s"\n'))
    simulated = () if speed is None else ("--sim-epoch", "2026-02-03T09:00:00Z", "--sim-speed", str(speed))
    daemon.start(*simulated)
    until(daemon.connected)
    speakers = {vessel: Speaker(ground, broker, vessel) for vessel in ("ash", "birch")}
    made = Shed(broker, wire, daemon, phone, speakers)
    until(lambda: daemon.stored("ash-water") and daemon.stored("birch-water"))
    return made


# -- the broker itself


def stopped_for_a_moment(ground: Ground) -> None:
    """It ends in good order and is back at once: nobody is told, and no reading is missed or doubled."""
    made = shed(ground)
    made.broker.stop()
    made.lost()
    made.broker.start()
    made.well_again()


def stopped_for_long(ground: Ground) -> None:
    """Away for longer than the delay of its alarm: one alarm, no probe called silent, few tries, one word that it is back."""
    made = shed(ground, SPEED)
    made.broker.stop()
    made.lost()
    before = made.wire.connects
    until(lambda: made.phone.about(LOST_TITLE), "nobody was told that the broker is away")
    until(
        lambda: all((made.daemon.alarm(name) or {}).get("state") == "suppressed-by-design" for name in SILENT),
        "what the probes' silence comes to is not held back",
    )
    assert {(made.daemon.alarm(name) or {})["reason"] for name in SILENT} == {"the broker is not reached"}
    tries = made.wire.connects - before
    assert 1 <= tries <= MOST_CONNECTS, f"{tries} connections"
    made.broker.start()
    made.back()
    until(lambda: len(made.phone.letters) >= 2, "nobody was told that the broker is back")
    until(
        lambda: retained(made.broker, f"swimup/shed/alarm/{LOST}").get("state") == "returned-unacknowledged",
        "at the broker nobody can see that it was away",
    )
    made.go_on(5)
    until(
        lambda: not made.daemon.alarm(SILENT[0]) and not made.daemon.alarm(SILENT[1]), "a probe is still called silent"
    )
    made.all_once()
    assert transitions(made.daemon, LOST) == [("unacknowledged", 1), ("returned-unacknowledged", 1)]
    for name in SILENT:
        assert not any(notify for _, notify in transitions(made.daemon, name)), f"{name} was told"
    assert [LOST_TITLE in title for title in made.phone.titles] == [True, True], made.phone.titles


def killed(ground: Ground) -> None:
    """Killed with readings on their way and not acknowledged: after its restart each is stored once."""
    made = shed(ground)
    made.go_on(ground.random.randrange(1, 12))
    made.broker.kill()
    made.lost()
    made.broker.start()
    made.well_again()


def killed_and_empty(ground: Ground) -> None:
    """It comes back and knows nothing of us: all is subscribed anew, what it keeps for others is there again."""
    made = shed(ground)
    made.go_on(3)
    made.wire.refuse = True  # what it was given while nobody subscribed is lost with it, which is not ours to keep
    made.wire.cut()
    made.lost()
    made.broker.kill()
    made.broker.empty()
    made.broker.start()
    made.wire.refuse = False
    made.back()
    for speaker in made.speakers.values():
        speaker.go_on(3)
    until(lambda: retained(made.broker, "swimup/shed/status").get("state") == "up", "the status is not up")
    until(lambda: retained(made.broker, "swimup/shed/summary"), "what was published once is not published again")
    for name, speaker in made.speakers.items():
        made.until_heard(name, speaker.silence()[-1])
    assert made.daemon.terminate() == 0
    for name in made.speakers:
        stored = made.daemon.stored(f"{name}-water")
        assert len(stored) == len(set(stored)), f"{name}: a reading is stored twice"
    made.nothing_was_told()


# -- the way to it


def cut_again_and_again(ground: Ground) -> None:
    """The line breaks at random moments: each time it comes back, and what was published meanwhile is stored once."""
    made = shed(ground)
    for _ in range(5):
        made.go_on(ground.random.randrange(1, 6))
        made.wire.cut()
    made.well_again()
    assert made.wire.connects <= MOST_CONNECTS


def half_open(ground: Ground) -> None:
    """No byte and no farewell: the keep-alive notices, and all that waited comes when the network is back."""
    made = shed(ground)
    made.wire.hold()
    made.lost()
    made.go_on(5)
    made.wire.release()
    made.well_again()


def garbage(ground: Ground) -> None:
    """Random bytes in the middle of what the broker says, then a stranger in its place: no harm, and no reading is lost."""
    made = shed(ground)
    for _ in range(3):
        made.wire.babble(ground.random.randbytes(ground.random.randrange(1, 300)))
        made.go_on(2)
    made.wire.stranger = ground.random.randbytes(64)
    made.wire.cut()
    before = made.wire.connects
    until(lambda: made.wire.connects >= before + 3, "it does not try again")
    assert not made.daemon.logged("session.callback-failed")
    made.wire.stranger = b""
    made.well_again()


@with_own_names(NO_NAME)
def no_such_name(ground: Ground) -> None:
    """The name of the broker is not found any more: the daemon works on, and finds it again when it is."""
    names = Names(ground.folder / "names")
    names.know(NAME)
    made = shed(ground, host=NAME)
    names.forget()
    made.wire.cut()
    made.lost()
    before = made.wire.connects
    made.go_on(20)
    assert made.wire.connects == before
    assert made.daemon.water() is not None
    names.know(NAME)
    made.well_again()
    assert len(made.daemon.logged("broker.lost")) == 1


def trickle(ground: Ground) -> None:
    """A line that passes a few bytes at a time, late and unevenly: the link holds, or comes back, and all is stored once."""
    made = shed(ground)
    made.wire.piece, made.wire.delay_s, made.wire.jitter_s = 3, 0.001, 0.004
    made.wire.cut()
    made.go_on(20)
    made.all_once()
    made.nothing_was_told()


def fault(name: str, attempt: Callable[[Ground], None], long: int = 10) -> Fault:
    return Fault(name, "broker", attempt, long=long)


FAULTS: Final = (
    fault("the broker is stopped for a moment", stopped_for_a_moment),
    fault("the broker is stopped for long", stopped_for_long),
    fault("the broker is killed", killed),
    fault("the broker is killed and has forgotten all", killed_and_empty),
    fault("the line to the broker breaks again and again", cut_again_and_again),
    fault("the line to the broker is half open", half_open),
    fault("garbage from the broker", garbage),
    fault(NO_NAME, no_such_name),
    fault("a slow trickle from the broker", trickle),
)
