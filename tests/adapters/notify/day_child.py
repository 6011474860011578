"""A small service that lives a day of virtual time, and its nursery: imported once, it bears one life after the other.

The nursery reads a line of JSON from its input for each life (the fields of ``Life``), forks, says the process id, waits for
its end and says how it ended. A life takes readings in and raises alarms by the virtual clock, which goes on where the store
ends, and tells them as the daemon does: one loop that owns the store, one thread for the channel. What it does it writes to a
diary that outlives it.
"""

from __future__ import annotations

import json
import os
import queue
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor import loglines
from monitor.core.dispatch import AT_ONCE, Manners
from monitor.core.model import MINUTE, Alarm, AlarmState, Priority, Reading, Transition
from monitor.notify import Delivery, DeliveryFailed, Notifier, Outbox
from monitor.notify.webhook_channel import WebhookChannel
from monitor.store import Store
from monitor.store.letters import Letter

if TYPE_CHECKING:
    from collections.abc import Iterator

T0: Final = 1_770_000_000_000
EVERY: Final = 10 * MINUTE
"""A new trouble comes so often ..."""
LASTS: Final = 25 * MINUTE
"""... and is over after this."""
PROBE: Final = "ash-water"
BY_ITSELF: Final = replace(AT_ONCE, bound=1_000_000)
"""However many wait, none goes with others."""
TURN_S: Final = 0.02
OLDEST_S: Final = 120.0
"""A life that nobody ends does so itself."""


@dataclass(frozen=True)
class Life:
    """``speed``: virtual seconds in one.

    ``until``: virtual time up to which things happen, after which it ends when all is told; None is never.
    ``manner``: "at once" for each letter by itself, or "with manners" for what is put together and put off.
    """

    number: int
    store: str
    diary: str
    url: str
    ca_file: str
    timeout: float
    speed: float
    manner: str
    until: int | None = None


def name_of(time: int) -> str:
    """What an alarm that comes at this time is called."""
    return f"Cold {(time - T0) // EVERY}."


def alarms_at(time: int, priority: Priority) -> Iterator[Transition]:
    """What happens in the minute that begins at ``time``: an alarm comes, one is over, or nothing."""
    since = time if (time - T0) % EVERY == 0 else time - LASTS
    if since < T0 or (since - T0) % EVERY:
        return
    state = AlarmState.UNACKNOWLEDGED if since == time else AlarmState.RETURNED
    before = AlarmState.NORMAL if since == time else AlarmState.UNACKNOWLEDGED
    rule = f"cold{(since - T0) // EVERY}"
    alarm = Alarm(f"{rule}:ash", rule, "ash", priority, state, since, time, name_of(since), "", "", "")
    yield Transition(time, alarm, before, notify=True, reason="")


class Service:
    """One life, from the opening of the store on."""

    def __init__(self, life: Life) -> None:
        self._life = life
        self._diary = os.open(life.diary, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
        self._store = Store.open(life.store)
        self._next = max((reading.time + MINUTE for reading in self._store.readings(T0)), default=T0)
        self._born, self._began = time.monotonic(), self._next
        urgent = life.manner == "at once"
        self._priority = Priority.HIGH if urgent else Priority.MEDIUM
        self._outbox = Outbox(self._store, BY_ITSELF if urgent else Manners())
        self._results: queue.Queue[Delivery] = queue.Queue()
        # The site says which life it was that told.
        channel = WebhookChannel(
            "hook", life.url, "secret", site=str(life.number), ca_file=Path(life.ca_file), timeout=life.timeout
        )
        self._notifier = Notifier([channel], self._results.put)

    def run(self) -> None:
        while time.monotonic() - self._born < OLDEST_S:
            self._note("turn", taken=(self._next - T0) // MINUTE)
            now = self._began + round((time.monotonic() - self._born) * 1000 * self._life.speed)
            self._take_in(now)
            self._tell(now)
            self._settle(now)
            if self._life.until is not None and self._next > self._life.until and not self._store.undelivered():
                self._store.commit()
                return
        raise SystemExit("nobody ended this life")

    def _take_in(self, now: int) -> None:
        """All minutes that have come: a reading each, and what rings; in one commit, as in the daemon."""
        until = now if self._life.until is None else min(now, self._life.until)
        while self._next <= until:
            reading = Reading(PROBE, self._next, 24_000, own_time=True, arrived=self._next)
            assert self._store.add(reading) is not None, "a reading is there already"
            for transition in alarms_at(self._next, self._priority):
                self._outbox.post(transition, ["hook"])
            self._next += MINUTE
        self._store.commit()

    def _tell(self, now: int) -> None:
        self._outbox.arrange(now)
        if self._store.urgent:
            self._store.commit()
        handed = self._outbox.pump(now, self._notifier)
        if handed:
            self._note("out")

    def _settle(self, now: int) -> None:
        try:
            delivery = self._results.get(timeout=TURN_S)
        except queue.Empty:
            return
        self._note("back", ok=delivery.ok, error=delivery.error, ends=self._outbox.settle(delivery, now))
        if self._store.urgent:
            self._store.commit()

    def _note(self, what: str, **more: Any) -> None:
        said = {"life": self._life.number, "what": what, "at": time.monotonic()} | more
        os.write(self._diary, json.dumps(said).encode() + b"\n")


def warm_up(url: str) -> None:
    """All that is imported late is imported before the first life, by a try that nobody answers."""
    channel = WebhookChannel("hook", url, "secret", site="shed")
    letter = Letter(1, None, "test", "hook", "", "", Priority.LOW, 0, "")
    try:
        channel.send(letter)
    except DeliveryFailed:
        return
    raise SystemExit("somebody answers already")


def nursery(url: str) -> None:
    # What goes on is no answer to whoever asks for lives.
    loglines.begin(sys.stderr)
    warm_up(url)
    for line in sys.stdin:
        life = Life(**json.loads(line))
        process = os.fork()
        if not process:
            Service(life).run()
            sys.stderr.flush()
            os._exit(0)
        _say(process)
        _, status = os.waitpid(process, 0)
        _say(os.waitstatus_to_exitcode(status))


def _say(number: int) -> None:
    sys.stdout.write(f"{number}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    nursery(sys.argv[1])
