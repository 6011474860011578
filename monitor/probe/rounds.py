"""Measuring at set times, and what each sensor lacks."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitor.loglines import log
from monitor.probe.fault import SensorFault
from monitor.probe.ring import Held

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from monitor.core.model import Ms
    from monitor.probe.clock import Clock
    from monitor.probe.count import Count
    from monitor.probe.ring import Ring


@dataclass(frozen=True)
class Task:
    """A sensor and how it is measured; ``measure`` raises SensorFault."""

    id: str
    topic: str
    every: Ms
    measure: Callable[[], float | str]


class Health:
    """What is wrong with each sensor, by its topic; empty when nothing is. Any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._told: dict[str, tuple[str, Ms | None]] = {}

    def say(self, topic: str, text: str, wall: Ms | None) -> bool:
        """Note it; whether it is news. Since when is kept until the fault is over."""
        with self._lock:
            before = self._told.get(topic, ("", None))
            if bool(before[0]) is bool(text) and topic in self._told:
                if text != before[0]:
                    self._told[topic] = (text, before[1])
                return False
            self._told[topic] = (text, wall)
            return True

    def all(self) -> dict[str, tuple[str, Ms | None]]:
        with self._lock:
            return dict(self._told)


class Rounds:
    """Measures some sensors in turn, in a thread of its own: one bus that is slow or stuck holds up no other."""

    def __init__(
        self, name: str, tasks: Sequence[Task], ring: Ring, health: Health, count: Count, clock: Clock
    ) -> None:
        self.name = name
        self.beat: Ms = clock.steady()
        """When it last showed signs of life, by the steady clock."""
        self._tasks = tasks
        self._ring = ring
        self._health = health
        self._count = count
        self._clock = clock

    def run(self, halt: threading.Event) -> None:
        due = {task.id: self._clock.steady() for task in self._tasks}
        while not halt.is_set():
            for task in self._tasks:
                self.beat = now = self._clock.steady()
                if now >= due[task.id] and not halt.is_set():
                    self.measure(task)
                    # On the grid; what was missed meanwhile is not made up for.
                    due[task.id] += task.every * (1 + (now - due[task.id]) // task.every)
            halt.wait(max(min(due.values()) - self._clock.steady(), 0) / 1000)

    def measure(self, task: Task) -> None:
        """One reading into the ring, or a fault noted."""
        try:
            value = task.measure()
        except SensorFault as fault:
            if self._health.say(task.topic, str(fault), self._clock.wall()):
                log.warning("sensor.fault", sensor=task.id, reason=str(fault))
            return
        measured, wall = self._clock.steady(), self._clock.wall()
        if self._health.say(task.topic, "", wall):
            log.info("sensor.reads", sensor=task.id, value=value)
        self._ring.add(Held(self._count.take(task.id), task.topic, value, measured, task.every, wall))
