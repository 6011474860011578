"""Many days of a home in one process: the real supervisor, store, outbox, broker and backups, under time that goes by steps."""

from __future__ import annotations

import json
import math
import sys
import time
from collections import deque
from dataclasses import replace
from subprocess import PIPE, Popen
from typing import TYPE_CHECKING, Final

from monitor.core.log import Chill, Harvest, Start
from monitor.core.log_food import Brood, BroodEnded, Fed
from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Acknowledge, AlarmState, Ms
from monitor.service.chores import EVERY, Chore
from monitor.service.daemon import backup_plan
from monitor.service.wiring import Wiring
from monitor.settings.broker import broker_link
from tests.conftest import Mosquitto
from tests.soak.clock import SteppedClock
from tests.soak.looks import Looks
from tests.soak.outcome import Outcome
from tests.soak.record import Sent, examine
from tests.soak.season import BROOD, STORE, payload, season, settings, troubles
from tests.soak.soaked import Phone, Soaked
from tests.soak.watch import living, look, written_mb
from tests.soak.world import BEGIN_S, RECORD

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from monitor.store import Keep

Written = Start | Harvest | Chill | Brood | BroodEnded | Fed
STEP_S: Final = 60
PACE: Final = 300.0
"""The steady clock goes so many times slower: estimates are reckoned each 2.5 minutes of records' time, not each half second."""
LATER: Final[Ms] = 5113 * DAY
"""From 2013, whose weather it is, to 2027: a clock that tells of a year before this program counts as not set."""
BEHIND: Final = 500  # letters to the broker that may wait before other threads are given the processor
REACTS: Final[Ms] = 6 * MINUTE
BROOD_LASTS_DAYS: Final = 20


class Days:
    """``run`` it once. ``looks``: how often it looks at itself, evenly over the time.

    ``lead``: with days of the room before. After ``longest_s`` real seconds it ends where it is.
    """

    def __init__(
        self,
        folder: Path,
        days: int,
        keep: Keep,
        looks: int = 90,
        *,
        lead: bool = True,
        longest_s: float = math.inf,
        pace: float = PACE,
        every_s: int = 60,
    ) -> None:
        self._plan = season(days, every_s)
        self._troubles = [one for one in troubles(days) if one.name.startswith("broker")]
        self._days, self._every_s, self._longest_s = days, every_s, longest_s
        self._start: Ms = self._plan.start_ms + LATER
        self._begin_s = BEGIN_S if lead else MINUTE // SECOND
        self._begin = self._start + self._begin_s * SECOND
        self._end = self._start + days * DAY
        self._every_look = (self._end - self._begin) // looks
        self._broker = Mosquitto(folder / "broker", extra=["persistence false"])
        self._store = folder / "season.sqlite3"
        self._clock = SteppedClock(self._begin, pace)
        configured = settings(self._plan, self._broker.url, self._store)
        self._phone = Phone()
        self._topics = [probe.topic for probe in self._plan.probe]
        self._air = [probe.measures == "air" for probe in self._plan.probe]
        self.service = Soaked(
            Wiring(
                site=configured.site_spec(),
                bindings=configured.bindings(),
                link=broker_link(configured),
                channels=[self._phone],
                store_path=str(self._store),
                commit_every=round(MINUTE / pace),
                clock=self._clock,
                manners=configured.manners(),
                reaches=configured.reaches(),
                keep=keep,
                backups=backup_plan(configured),
            )
        )
        self._sent = Sent(self._begin, self._end - self._begin)
        self._numbers = [0] * len(self._topics)
        self._diary: deque[tuple[Ms, Written]] = deque(sorted(self._written(), key=lambda one: one[0]))
        self._acknowledged = self._restarts = 0
        self._looks = Looks(folder / "season.looks")

    def run(self, progress: Callable[[int], None] = lambda _: None) -> Outcome:
        before = written_mb()
        self._broker.start()
        numbers = [self._days, self._begin_s, self._every_s]
        world = Popen([sys.executable, "-m", "tests.soak.world", *map(str, numbers)], stdout=PIPE, bufsize=1 << 20)
        try:
            self.service.script = self._script(world, progress)
            self.service.run()
        finally:
            world.kill()
            world.wait()
            if world.stdout is not None:
                world.stdout.close()
            self._broker.stop()
        found = examine(self._store, self._clock.now() + HOUR, self._sent)
        wrote = tuple(after - was for after, was in zip(written_mb(), before, strict=True))
        notes = {
            "virtual days": f"{(self._clock.now() - self._begin) / DAY:.1f} of {(self._end - self._begin) / DAY:.1f}",
            "batches begun": str(self.service.batches),
            "letters": str(self._phone.taken),
            "alarms acknowledged": str(self._acknowledged),
            "broker restarts": str(self._restarts),
            "backups kept": str(len(list(self._store.parent.rglob("*.sqlite3"))) - 1),
        }
        return Outcome("Days of a home", self._looks.all(), notes, found, wrote, self.service.refused)

    # -- the script

    def _script(self, world: Popen[bytes], progress: Callable[[int], None]) -> Iterator[float]:
        while not self.service.connected:
            yield 0.05
        assert world.stdout is not None
        waiting = _Reader(world.stdout.read)
        look_at = self._begin
        enough = time.monotonic() + self._longest_s
        for now in range(self._begin, self._end, STEP_S * SECOND):
            if time.monotonic() > enough:
                break
            self._clock.go(now)
            yield from self._broker_until(now)
            for offset_s, nth, value in waiting.until((now - self._start) // SECOND):
                self._hear(self._start + offset_s * SECOND, nth, value)
            while self._diary and self._diary[0][0] <= now:
                self._say(self._diary.popleft()[1], now)
            yield 0.0
            yield from self._chores(now)
            self._react(now)
            while self.service.letters_behind > BEHIND:
                yield 0.005
            if now >= look_at:
                look_at += self._every_look
                self._look()
            progress(STEP_S)
        self._look()
        if world.poll():
            self.service.refused.append("the world has broken")

    def _hear(self, measured: Ms, nth: int, value: int) -> None:
        self._numbers[nth] += 1
        told = json.dumps("on" if value else "off") if self._air[nth] else f"{value / 1000:.3f}"
        self.service.hear(self._topics[nth], payload(nth, told, measured, self._numbers[nth]), measured)
        self._sent.count(measured)

    def _say(self, entry: Written, now: Ms) -> None:
        self.service.batches += isinstance(entry, Start)
        self.service.say(replace(entry, time=now, logged=now))

    def _broker_until(self, now: Ms) -> Iterator[float]:
        """A broker that is started anew; what the probes tell meanwhile is heard all the same, as if it had waited for us."""
        offset_s = (now - self._start) // SECOND
        for trouble in self._troubles:
            if trouble.begins_s <= offset_s < trouble.begins_s + STEP_S:
                self._broker.stop()
                while self.service.connected:
                    yield 0.02
            elif trouble.ends_s <= offset_s < trouble.ends_s + STEP_S:
                self._broker.start()
                self._restarts += 1
                while not self.service.connected:
                    yield 0.05

    def _chores(self, now: Ms) -> Iterator[float]:
        for chore, every in EVERY.items():
            if now // every == (now - STEP_S * SECOND) // every:
                continue
            self.service.put(chore)
            yield 0.0
            while chore is Chore.BACK_UP and self.service.backing_up:
                yield 0.001  # a hundred and forty times a day it only looks whether one is due

    def _react(self, now: Ms) -> None:
        """The keeper looks at the phone every ten minutes."""
        if now // SECOND % 600:
            return
        self.service.answers()
        for alarm in self.service.standing():
            if alarm.state is AlarmState.UNACKNOWLEDGED and now - alarm.since > REACTS:
                self.service.say(Acknowledge(now, alarm.id, "keeper"))
                self._acknowledged += 1

    def _look(self) -> None:
        roots = [self.service, *living("Connection", "Reader")]
        self._looks.add(look(self._sent.total, self.service.batches, self._store, roots))

    # -- the diary of the keeper

    def _written(self) -> Iterator[tuple[Ms, Written]]:
        for batch in self._plan.batch:
            litres = next(vessel.litres for vessel in self._plan.vessel if vessel.id == batch.vessel)
            begun = self._start + batch.at * SECOND
            yield begun, Start(0, 0, batch.id, batch.vessel, batch.tin, batch.cysts_g, litres, batch.salinity_g_l)
            assert batch.harvest is not None
            ends = self._start + batch.harvest * SECOND
            if ends < self._end:
                yield ends, Harvest(0, 0, batch.id, 0.62, 120_000.0)
                yield ends + MINUTE, Chill(0, 0, STORE, 90_000.0, 0.5, batch=batch.id)
        for day in range(self._days):
            morning = self._start + day * DAY + 7 * HOUR
            if day % BROOD_LASTS_DAYS == 0:
                yield morning, Brood(0, 0, self._brood(day), BROOD, 300.0, swam_up=morning)
                if day:
                    yield morning + MINUTE, BroodEnded(0, 0, self._brood(day - 1))
            if day >= 3:
                for meal in (10, 13, 18):
                    yield self._start + day * DAY + meal * HOUR, Fed(0, 0, self._brood(day), 20_000.0, STORE)

    def _brood(self, day: int) -> str:
        return f"{BROOD}-{day // BROOD_LASTS_DAYS + 1}"


class _Reader:
    """The records of a stream in order."""

    def __init__(self, read: Callable[[int], bytes]) -> None:
        self._read = read
        self._buffer: Iterator[tuple[int, int, int]] = iter(())
        self._next: tuple[int, int, int] | None = self._advance()

    def _advance(self) -> tuple[int, int, int] | None:
        found = next(self._buffer, None)
        if found is None:
            self._buffer = iter(list(RECORD.iter_unpack(self._read(RECORD.size * 1000))))
            found = next(self._buffer, None)
        return found

    def until(self, offset_s: int) -> Iterator[tuple[int, int, int]]:
        while self._next is not None and self._next[0] <= offset_s:
            yield self._next
            self._next = self._advance()
