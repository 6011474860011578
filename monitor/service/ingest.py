"""From a message of the broker to readings in the store and events in the core; remembers what to acknowledge."""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from monitor.intake.counters import Counters
from monitor.intake.decode import Unreadable, decode
from monitor.intake.rhythm import Rhythm
from monitor.loglines import log

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.engine import Engine
    from monitor.core.model import Effect, Sample
    from monitor.intake.binding import Binding
    from monitor.intake.incoming import Incoming
    from monitor.service.early import Early
    from monitor.store import Store

SESSION_KEY: Final = "broker.session"
LIGHT: Final = 1024
"""Bytes. Up to here it costs less to keep what a message said than to make one that does without."""


class Ingest:
    """Used by the thread of decisions."""

    def __init__(self, engine: Engine, store: Store, bindings: Iterable[Binding], early: Early) -> None:
        self.early = early
        self._engine = engine
        self._store = store
        self._bindings: dict[str, list[Binding]] = {}
        for binding in bindings:
            self._bindings.setdefault(binding.topic, []).append(binding)
        self._session = int(store.kept(SESSION_KEY) or 0)
        self.unacknowledged: deque[Incoming] = deque()
        self.counters = Counters()
        self.rhythm = Rhythm()

    @property
    def topics(self) -> list[str]:
        return sorted(self._bindings)

    @property
    def session(self) -> int:
        """The newest broker session that was seen, for the next link to go on from."""
        return self._session

    def of(self, topic: str) -> list[Binding]:
        """What is bound to a topic."""
        return self._bindings.get(topic, [])

    def take(self, message: Incoming) -> list[Effect]:
        """Store and step with every new sample of a message; it is acknowledged after the next commit."""
        if message.session != self._session:
            self._notice_session(message)
        effects: list[Effect] = []
        if message.mid:
            self._owe(message)
        if message.dup and (self._store.delivered_before(message.mid, message.payload) or self.early.has(message)):
            return effects  # it was taken, only its acknowledgement was lost
        anonymous = False
        for binding in self._bindings.get(message.topic, ()):
            samples = self._read(message, binding)
            for sample in samples:
                anonymous |= self._sample(message, binding, sample, effects)
        if anonymous:
            self._remember(message)
        return effects

    def _owe(self, message: Incoming) -> None:
        """It is acknowledged after the next commit; until then a large one must not fill the memory of a small board."""
        light = message if len(message.payload) <= LIGHT else replace(message, payload=b"")
        self.unacknowledged.append(light)

    def release(self) -> list[Effect]:
        """The clock is set, or was waited for long enough: what was held goes to the store and into the history."""
        effects: list[Effect] = []
        for held in self.early.release():
            placed = self._store.add(held.reading)
            if placed is not None:
                effects.extend(self._engine.place(placed))
            if held.anonymous:
                self._remember(held.message)
        return effects

    def _remember(self, message: Incoming) -> None:
        """For a message that nothing but its delivery tells from another; those of an earlier session come no more."""
        if message.mid and message.session == self._session:
            self._store.remember_delivery(self._session, message.mid, message.payload)

    def note(self, message: Incoming) -> None:
        """A message that is no reading: it is acknowledged after the next commit, in its turn."""
        if message.session != self._session:
            self._notice_session(message)
        if message.mid:
            self._owe(message)

    def refuse(self, source: str, message: Incoming, why: Unreadable) -> None:
        """Count and keep what could not be read."""
        self.counters.refused(source, why)
        self._store.quarantine(source, message.arrived, str(why), message.payload)

    def set_aside(self, message: Incoming, reason: str) -> None:
        """A message that broke the program: keep it for a look, and let the broker forget it."""
        for binding in self._bindings.get(message.topic, ()):
            self._store.quarantine(binding.probe, message.arrived, reason, message.payload)

    def _notice_session(self, message: Incoming) -> None:
        self._session = message.session
        self._store.new_broker_session()
        self._store.keep(SESSION_KEY, str(message.session))

    def _read(self, message: Incoming, binding: Binding) -> list[Sample]:
        certain = not (message.retain or message.queued)
        if certain:
            self.rhythm.heard(binding.probe, message.arrived)
        try:
            samples = decode(message.payload, binding, message.arrived if certain else None)
        except Unreadable as why:
            self.counters.refused(binding.probe, why)
            self._store.quarantine(binding.probe, message.arrived, str(why), message.payload)
            self._engine.heard(binding.probe, message.arrived, str(why))
            log.debug("reading.unreadable", probe=binding.probe, reason=str(why))
            return []
        self.counters.read(binding.probe, samples)
        return samples

    def _sample(self, message: Incoming, binding: Binding, sample: Sample, effects: list[Effect]) -> bool:
        """Store and step; whether the store knows it by its delivery only."""
        reading = self._engine.judge(
            binding.probe, sample, message.arrived, retained=message.retain, queued=message.queued
        )
        # A relative time in a SenML pack counts from the arrival, so it is no identity of its own.
        anonymous = not (reading.own_time or reading.seq is not None) or binding.decoder == "senml"
        if self.early.holding and not reading.own_time:
            self.early.take(message, reading, anonymous=anonymous)
            effects.extend(self._engine.step(reading))  # decisions go on with what is known
            return False
        placed = self._store.add(self.early.marked(reading) if self.early.unset else reading)
        if placed is not None:
            effects.extend(self._engine.step(placed))
        return anonymous
