"""The parts put together: sensors measured in threads, one talk with the broker."""

from __future__ import annotations

import threading
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Final

from monitor.intake.link import Link
from monitor.loglines import log
from monitor.probe import adc, onewire
from monitor.probe.clock import Clock
from monitor.probe.count import Count
from monitor.probe.pins import PinSensor
from monitor.probe.ring import Ring
from monitor.probe.rounds import Health, Rounds, Task
from monitor.probe.sender import Sender
from monitor.settings.errors import ConfigError, Problem

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from monitor.core.model import Ms
    from monitor.probe.settings import BoardSettings

STUCK_MS: Final = 120_000
"""A thread that measures shows signs of life more often, even with a bus of a dozen slow chips beside its longest pause."""


class Bench:
    """Every sensor of the board, ready to be measured. Close it, so that the pins are free again."""

    def __init__(self, settings: BoardSettings, sysfs: Path) -> None:
        self._pins = [PinSensor(pin) for pin in settings.pin]
        self.groups: dict[str, list[Task]] = {
            "one-wire": [
                Task(one.id, settings.topic(one), one.every, partial(onewire.measure, sysfs, one.device))
                for one in settings.one_wire
            ],
            "pins": [
                Task(pin.id, settings.topic(pin), pin.every, sensor.measure)
                for pin, sensor in zip(settings.pin, self._pins, strict=True)
            ],
            "adc": [
                Task(one.id, settings.topic(one), one.every, partial(adc.measure, sysfs, one)) for one in settings.adc
            ],
        }

    def close(self) -> None:
        for pin in self._pins:
            pin.close()


def link_of(settings: BoardSettings) -> Link:
    """Where the broker is. Raises ConfigError when the password cannot be read."""
    broker = settings.broker
    password = None
    if broker.password_file is not None:
        try:
            lines = broker.password_file.read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            reason = getattr(error, "strerror", None) or "it is not UTF-8"
            problem = Problem(
                str(broker.password_file), "", f"that it cannot be read: {reason}", "a file with a password"
            )
            raise ConfigError([problem]) from None
        password = lines[0] if lines else ""
    link = Link.from_url(
        broker.url,
        f"swimup-probe-{settings.board.id}",
        user=broker.user,
        password=password,
        ca_file=broker.ca_file,
        cert_file=broker.cert_file,
        key_file=broker.key_file,
        version=broker.version,
    )
    return replace(link, keepalive_s=broker.keepalive // 1000)


class BoardRunner:
    """Everything that runs. ``alive`` is called several times a second while all of it does, with what is stuck."""

    def __init__(
        self,
        settings: BoardSettings,
        sysfs: Path,
        *,
        clock: Clock | None = None,
        alive: Callable[[str], None] = lambda _stuck: None,
        first_delay_s: float = 1.0,
        longest_delay_s: float = 60.0,
    ) -> None:
        clock = clock or Clock(trusted=settings.board.trust_clock)
        count = Count(settings.board.count_file)
        self.ring = Ring(settings.board.keep)
        self.health = Health()
        self._clock = clock
        self._alive = alive
        self._threads: list[threading.Thread] = []
        self._halt = threading.Event()
        self._broken = False
        self._bench = Bench(settings, sysfs)
        self._longest: Ms = max(sensor.every for sensor in settings.sensors)
        self._rounds = [
            Rounds(name, tasks, self.ring, self.health, count, clock)
            for name, tasks in self._bench.groups.items()
            if tasks
        ]
        self._sender = Sender(
            link_of(settings),
            settings.board.topic,
            self.ring,
            self.health,
            clock,
            alive=self._look,
            first_delay_s=first_delay_s,
            longest_delay_s=longest_delay_s,
        )

    def stuck(self) -> str:
        """The threads that show no sign of life."""
        now = self._clock.steady()
        return ", ".join(one.name for one in self._rounds if now - one.beat > STUCK_MS + self._longest)

    def run(self, halt: threading.Event) -> bool:
        """Until told to stop; blocks. Returns whether that was why: when a thread ends by itself, so does all of it."""
        self._halt = halt
        self._threads = [
            threading.Thread(target=one.run, args=(halt,), name=one.name, daemon=True) for one in self._rounds
        ]
        for thread in self._threads:
            thread.start()
        try:
            self._sender.run(halt)
        finally:
            halt.set()
            for thread in self._threads:
                thread.join(2.0)
            self._bench.close()
        return not self._broken

    def _look(self) -> None:
        """Called all the time: a board that measures only half of what it should must not look well."""
        ended = [thread.name for thread in self._threads if not thread.is_alive()]
        if ended and not self._halt.is_set():
            log.error("thread.ended", name=", ".join(ended))
            self._broken = True
            self._halt.set()
        self._alive(self.stuck())
