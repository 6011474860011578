"""The supervisor as it is, but for one thing: where it would wait for time to pass, a script goes on instead."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.core.model import Acknowledge
from monitor.intake.incoming import Incoming
from monitor.service.desk import Asked
from monitor.service.supervisor import Supervisor

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from monitor.core.model import Alarm, Ms
    from monitor.service.wiring import Wiring
    from monitor.store import Letter
    from monitor.web.desk import Command

LAST_ID = 65_535  # packet ids are 16 bits


class Phone:
    """A channel that takes every letter at once."""

    id = "phone"

    def __init__(self) -> None:
        self.taken = 0

    def send(self, letter: Letter) -> None:  # noqa: ARG002
        self.taken += 1


class Soaked(Supervisor):
    """``script`` is asked for what comes whenever nothing waits; it gives the seconds to wait for other threads.

    Without a script it runs as it always does. ``each_tick`` and ``each_round``, some inputs, are called in its thread.
    """

    def __init__(self, wiring: Wiring) -> None:
        super().__init__(wiring)
        self.script: Iterator[float] | None = None
        self.each_tick: Callable[[], None] = lambda: None
        self.each_round: Callable[[], None] = lambda: None
        self.asked: list[Asked] = []
        self.refused: list[str] = []
        self.batches = 0
        self._mid = 0
        self._heard_in = 0  # the session, as the step of the script found it

    def _take_inputs(self, wait: float) -> None:
        self.each_round()
        if self.script is None or self._inputs.qsize():
            super()._take_inputs(wait if self.script is None else 0.0)
            return
        self._heard_in = self._session.state.session
        pause = next(self.script, None)
        if pause is None:
            self.stop()
        super()._take_inputs(pause or 0.0)

    def _tick(self) -> None:
        super()._tick()
        self.each_tick()

    # -- for scripts

    def hear(self, topic: str, payload: bytes, arrived: Ms) -> None:
        """A message, as the session hands it over. Of no connection there is: acknowledging it tells the broker nothing."""
        self._mid = self._mid % LAST_ID + 1
        self._inputs.put(Incoming(topic, payload, 1, False, False, self._mid, arrived, False, self._heard_in, 0))

    def say(self, command: Command) -> None:
        """What a keeper says on the page."""
        asked = Asked(command)
        self.asked.append(asked)
        self._inputs.put(asked)

    def answers(self) -> None:
        """Look at what became of what was said. An alarm may be over before it is acknowledged."""
        for asked in self.asked:
            if (
                not isinstance(asked.command, Acknowledge)
                and asked.answer.done()
                and (error := asked.answer.exception()) is not None
            ):
                self.refused.append(f"{type(asked.command).__name__}: {error}")
        self.asked = [asked for asked in self.asked if not asked.answer.done()]

    def put(self, item: Any) -> None:
        self._inputs.put(item)

    def standing(self) -> list[Alarm]:
        return list(self._engine.alarms())

    @property
    def connected(self) -> bool:
        return self._engine.state.broker_up

    @property
    def backing_up(self) -> bool:
        """Whether its thread has a backup to look for, or makes one."""
        return self._backer._busy is not None or self._backer._wake.is_set()

    @property
    def letters_behind(self) -> int:
        """What the broker has still to be told."""
        return len(self._session._orders.letters)

    @property
    def taken(self) -> int:
        """Messages read since the start."""
        return sum(count.messages for count in self._ingest.counters.snapshot().values())
