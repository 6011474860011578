"""What a fault is, the ground it is tried on, and a row of the table that tells whether the promise was kept."""

from __future__ import annotations

import tempfile
import time
import traceback
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Final, Self

from tests.conftest import Mosquitto
from tests.system.daemon import Daemon, Phone
from tests.system.quick import QuickDaemon
from tests.system.wire import Wire

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

PROMISES: Final = {
    "crash": "an accepted reading survives a crash",
    "broker": "broker restarts are boring",
    "order": "order and duplicates don't matter",
    "stale": "stale is never fresh",
    "input": "bad input is harmless",
    "told": "every alarm transition is told at least once",
    "disk": "the store outlives its disk",
    "clock": "clocks and time zones",
    "hang": "a hang is noticed",
    "stop": "it can be told to stop",
}
"""What is promised; each must have a fault that is tried against it."""


@dataclass(slots=True)
class Ground:
    """Real parts for one try, all ended with it."""

    folder: Path
    random: Random
    _stack: ExitStack = field(default_factory=ExitStack)
    _made: int = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._stack.close()

    def broker(self, extra: Iterable[str] = ("persistence false",)) -> Mosquitto:
        """A started broker; by itself it keeps nothing over its own end."""
        broker = Mosquitto(self._place("broker"), extra)
        broker.start()
        self._stack.callback(broker.kill)
        return broker

    def wire(self, broker: Mosquitto) -> Wire:
        """A line to a broker, in which things go wrong."""
        wire = Wire(broker)
        self._stack.callback(wire.close)
        return wire

    def phone(self) -> Phone:
        """A phone that is reached."""
        phone = Phone()
        phone.start()
        self._stack.callback(phone.stop)
        return phone

    def daemon(self, text: str) -> Daemon:
        """The real process, not yet started."""
        daemon = Daemon(self._place("daemon"), text)
        self._stack.callback(daemon.tear_down)
        return daemon

    def quick_daemon(self, text: str) -> QuickDaemon:
        """The same, for many kills: it starts in a moment, and can be told where to fail."""
        daemon = QuickDaemon(self._place("daemon"), text)
        self._stack.callback(daemon.tear_down)
        return daemon

    def when_done(self, call: Callable[[], object]) -> None:
        """Something else that has to end with the try."""
        self._stack.callback(call)

    def _place(self, what: str) -> Path:
        self._made += 1
        return self.folder / f"{what}-{self._made}"


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault and what must be true all the same. ``attempt`` raises AssertionError where it is not."""

    name: str
    promise: str  # a key of PROMISES
    attempt: Callable[[Ground], None]
    short: int = 1  # how often it is tried in the suite
    long: int = 10  # and by the command for a night
    each: int = 1  # blows, such as kills, in one try

    def __str__(self) -> str:
        return self.name.replace(" ", "-").replace("/", "-")


@dataclass(slots=True)
class Tried:
    """How a fault goes; ``asked``: how often it is to be tried."""

    fault: Fault
    asked: int
    tried: int = 0
    kept: int = 0
    seconds: float = 0.0
    failures: list[str] = field(default_factory=list)

    def again(self, seed: int = 0) -> str:
        """Try it once more, with chances of its own, which ``seed`` repeats; give back what went wrong, if anything.

        What is interrupted does not count.
        """
        began = time.monotonic()
        failure = _failure(self.fault, f"{self.fault.name} {seed} {self.tried}")
        if failure:
            failure = f"try {self.tried} of seed {seed}:\n{failure}"
            self.failures.append(failure)
        else:
            self.kept += 1
        self.tried += 1
        self.seconds += time.monotonic() - began
        return failure

    def line(self) -> str:
        """As a row of the table; a try of many blows counts as so many, kept or not as a whole."""
        blows = self.fault.each
        cut = f" of {blows * self.asked}" if self.tried < self.asked else ""
        return row(
            self.fault.name,
            PROMISES[self.fault.promise],
            f"{blows * self.tried}{cut}",
            blows * self.kept,
            round(self.seconds),
        )


def row(*cells: object) -> str:
    """One of the table whose head is ``FIRE_HEAD``."""
    return f"| {' | '.join(map(str, cells))} |"


def _failure(fault: Fault, chances: str) -> str:
    """What went wrong in one try; nothing when the promise was kept."""
    with tempfile.TemporaryDirectory(prefix="swimup-fire-") as folder:
        try:
            with Ground(Path(folder), Random(chances)) as ground:  # noqa: S311  (repeatable on purpose)
                fault.attempt(ground)
        except Exception:  # noqa: BLE001  (whatever happens is a promise not kept, and the others are still tried)
            return traceback.format_exc()
    return ""


def attempt(fault: Fault, times: int) -> Tried:
    """Try a fault so often."""
    found = Tried(fault, times)
    for _ in range(times):
        found.again()
    return found
