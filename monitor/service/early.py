"""Readings that come before the clock is set, on a board that has none of its own: held until their time is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.model import Quality, Refused
from monitor.core.quality import CLOCK_UNSET
from monitor.core.rules_site import CLOCK_BEHIND
from monitor.service.host import SYNC_SERVICE, clock_synced

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from monitor.core.model import Ms, Reading
    from monitor.intake.incoming import Incoming
    from monitor.service.clock import Clock

LONGEST_S: Final = 600.0
"""The network sets a clock within a minute or two; then it is not likely to any more. Common practice, no source."""
MARK: Final = "the clock was not set yet"


def not_set(now: Ms, ran_until: Ms | None, service: Path = SYNC_SERVICE) -> bool:
    """Whether the clock is surely not set yet. ``ran_until``: what it said when an earlier run was last alive.

    It is before this program was written, or behind what it said before, or the time service runs and has not set it yet.
    """
    if now < CLOCK_UNSET:
        return True
    if service.is_dir():
        return not (service / "synchronized").exists()
    behind = ran_until is not None and now < ran_until - CLOCK_BEHIND
    return behind and clock_synced(service) is not True


@light
class Held:
    message: Incoming
    reading: Reading
    anonymous: bool  # known by its delivery only


class Early:
    """Used by the thread of decisions. It holds from a start with an unset clock until the clock is set, or it was long enough.

    What is held is acknowledged to nobody: after a crash the broker sends it again. ``unset`` is asked with the clock's time.
    """

    def __init__(self, clock: Clock, unset: Callable[[Ms], bool] | None = None) -> None:
        self._clock = clock
        self._ask = unset or (lambda _now: False)
        self._held: list[Held] = []
        self._until = 0.0
        self.holding = False
        self.unset = False
        """Not set yet, whether it holds or was too long."""

    def begin(self) -> bool:
        """Whether it begins to hold. Simulated time is always set."""
        self.unset = self._clock.speed is None and self._ask(self._clock.now())
        self.holding = self.unset
        self._until = self._clock.steady() + LONGEST_S
        return self.holding

    def check_entry(self) -> None:
        """Raises Refused for the log while the clock is surely wrong: a batch begun then would be decades old once it is set."""
        now = self._clock.now()
        if self._clock.speed is None and now < CLOCK_UNSET:
            year = datetime.fromtimestamp(now / 1000, UTC).year
            raise Refused(
                f"this machine's clock is not set yet: it says {year}, and what is noted now would get a wrong time. The "
                "network sets it within a minute or two as a rule; try again then, or set it by hand"
            )

    @property
    def held(self) -> int:
        return len(self._held)

    def settled(self) -> bool:
        """Whether holding is over: to be asked before the clock is looked at, so that its last jump is not missed."""
        self.unset = self.unset and self._ask(self._clock.now())
        return self.holding and (not self.unset or self._clock.steady() >= self._until)

    def take(self, message: Incoming, reading: Reading, *, anonymous: bool) -> None:
        self._held.append(Held(message, reading, anonymous))

    def has(self, message: Incoming) -> bool:
        """Whether this delivery is held: the broker sends it again over a new link."""
        return any(one.message.mid == message.mid and one.message.payload == message.payload for one in self._held)

    def shift(self, by: Ms) -> None:
        """The clock was set by so much: what came before is dated by the new one."""
        self._held = [replace(one, reading=_moved(one.reading, by)) for one in self._held]

    def marked(self, reading: Reading) -> Reading:
        """A reading as it is kept under a clock that is not set: usable, with a word about its time."""
        if not self.unset or reading.own_time or reading.reason:
            return reading
        return replace(reading, reason=MARK)

    def release(self) -> Iterator[Held]:
        """All that is held, in the order in which it came; it holds no more."""
        self.holding = False
        held, self._held = self._held, []
        for one in held:
            yield replace(one, reading=self.marked(one.reading))


def _moved(reading: Reading, by: Ms) -> Reading:
    moved = replace(reading, time=reading.time + by, arrived=reading.arrived + by)
    if reading.quality is Quality.CLAMPED:  # its own time was not ahead: our clock was behind
        return replace(moved, quality=Quality.OK, reason="")
    return moved
