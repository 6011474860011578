"""Millions of readings at full speed through the real supervisor and store, from a real broker or from where its session ends."""

from __future__ import annotations

import math
import sys
import time
from contextlib import suppress
from subprocess import PIPE, Popen
from typing import TYPE_CHECKING, Final

from monitor.core.log import Discard, Start
from monitor.core.model import DAY, HOUR, SECOND, Acknowledge, AlarmState, Ms
from monitor.service.clock import SimulatedClock
from monitor.service.wiring import Wiring
from monitor.settings.broker import broker_link
from tests.conftest import Mosquitto
from tests.soak.flow import EPOCH, SPEED, Flow, repeats
from tests.soak.looks import Looks
from tests.soak.outcome import Outcome
from tests.soak.record import count
from tests.soak.season import IN_USE, season, settings
from tests.soak.soaked import Phone, Soaked
from tests.soak.watch import living, look, written_mb

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path


AT_ONCE: Final = 400
TELL_EVERY_S: Final = 0.1
BATCH_LASTS: Final[Ms] = 30 * HOUR
REACTS: Final[Ms] = 10 * 60 * SECOND


class Flood:
    """``run`` it once. ``broker``: through a real one; otherwise messages are put where the session puts them.

    After ``longest_s`` seconds no more are sent, and what was is waited for.
    """

    def __init__(self, folder: Path, total: int, *, broker: bool, looks: int = 60, longest_s: float = math.inf) -> None:
        self._total, self._through_broker = total, broker
        self._enough = time.time() + longest_s
        self._every_look = max(total // looks, 1)
        self._look_at = 0
        lines = ["persistence false", "max_queued_messages 0"]
        self._broker = Mosquitto(folder / "broker", extra=lines)
        self._store = folder / "flood.sqlite3"
        self._anchor = time.time()
        self._clock = SimulatedClock(EPOCH, SPEED, self._anchor)
        plan = season(4)
        configured = settings(plan, self._broker.url, self._store)
        self._tins = [tin.id for tin in plan.tin]
        self._probes = len(plan.probe)
        self._phone = Phone()
        self.service = Soaked(
            Wiring(
                site=configured.site_spec(),
                bindings=configured.bindings(),
                link=broker_link(configured),
                channels=[self._phone],
                store_path=str(self._store),
                commit_every=configured.store.commit_every,
                clock=self._clock,
                manners=configured.manners(),
                reaches=configured.reaches(),
                keep=configured.store.keep(),
            )
        )
        self.service.each_tick = self._tick
        if broker:
            self.service.each_round = self._round
        self._begun: dict[str, Start] = {}
        self._publisher: Popen[bytes] | None = None
        self._progress: Callable[[int], None] = lambda _: None
        self._seen = 0
        self._published = False
        self._tell_at = 0.0
        self._looks = Looks(folder / "flood.looks")

    def run(self, progress: Callable[[int], None] = lambda _: None) -> Outcome:
        self._progress = progress
        before = written_mb()
        self._broker.start()
        try:
            if not self._through_broker:
                self.service.script = self._script()
            self.service.run()
        finally:
            if self._publisher is not None:
                self._publisher.kill()
                self._publisher.wait()
                for pipe in (self._publisher.stdin, self._publisher.stdout):
                    if pipe is not None:
                        pipe.close()
            self._broker.stop()
        told = self._total - repeats(self._total, self._probes)
        found = count(self._store, self._clock.now() + DAY, told)
        wrote = tuple(after - was for after, was in zip(written_mb(), before, strict=True))
        hours = (self._clock.now() - EPOCH) / HOUR
        notes = {
            "messages through": "a real broker" if self._through_broker else "the session's callback",
            "messages": f"{self.service.taken} of {self._total}",
            "hours of the room": f"{hours:.0f}",
            "batches begun": str(self.service.batches),
            "letters": str(self._phone.taken),
        }
        return Outcome("A flood of readings", self._looks.all(), notes, found, wrote, self.service.refused)

    # -- in the thread of decisions

    def _script(self) -> Iterator[float]:
        while not self.service.connected:
            yield 0.05
        flow = Flow(self._clock.now)
        for begin in range(0, self._total, AT_ONCE):
            if time.time() > self._enough:
                self._total = begin
                break
            for nth in range(begin, min(begin + AT_ONCE, self._total)):
                topic, payload = flow.message(nth)
                self.service.hear(topic.decode(), payload, self._clock.now())
            yield 0.0
        while True:
            yield 0.05  # the next tick ends it

    def _tick(self) -> None:
        taken = self.service.taken
        self._keeper(self._clock.now())
        self._progress(taken - self._seen)
        self._seen = taken
        self._look_in_time()
        if taken >= self._total and (self._published or not self._through_broker):
            self.service.stop()

    def _look_in_time(self) -> None:
        if self.service.taken >= self._look_at:
            self._look_at = self.service.taken + self._every_look
            self._look()

    def _round(self) -> None:
        self._look_in_time()
        if self.service.connected and time.monotonic() >= self._tell_at:
            self._tell_at = time.monotonic() + TELL_EVERY_S
            self._tell(self.service.taken)

    def _tell(self, taken: int) -> None:
        if self._publisher is None:
            numbers = [self._broker.port, self._total, self._anchor, self._enough]
            command = [sys.executable, "-m", "tests.soak.publisher", *map(str, numbers)]
            self._publisher = Popen(command, stdin=PIPE, stdout=PIPE, bufsize=0)
        elif self._published or self._publisher.stdin is None or self._publisher.stdout is None:
            return
        elif self._publisher.poll() is None:
            with suppress(BrokenPipeError):  # it has ended just now
                self._publisher.stdin.write(b"%d\n" % taken)
                self._publisher.stdin.flush()
        else:
            self._published = True
            self._total = int(self._publisher.stdout.read() or 0)  # nothing where it has broken
            if self._publisher.returncode:
                self.service.refused.append("whoever publishes has ended early")

    def _keeper(self, now: Ms) -> None:
        """Six batches, a new one when the one before is thirty hours old; alarms are acknowledged after ten minutes."""
        self.service.answers()
        for nth, vessel in enumerate(IN_USE):
            before = self._begun.get(vessel)
            if before is None or now - before.time >= BATCH_LASTS:
                if before is not None:
                    self.service.say(Discard(now, now, before.batch, "the vessel is needed"))
                start = Start(now, now, f"{vessel}-{self.service.batches}", vessel, self._tins[nth % 4], 3.0, 1.5, 25.0)
                self._begun[vessel] = start
                self.service.batches += 1
                self.service.say(start)
        for alarm in self.service.standing():
            if alarm.state is AlarmState.UNACKNOWLEDGED and now - alarm.since > REACTS:
                self.service.say(Acknowledge(now, alarm.id, "keeper"))

    def _look(self) -> None:
        roots = [self.service, *living("Connection", "Reader")]
        self._looks.add(look(self.service.taken, self.service.batches, self._store, roots))
