"""Long tasks that are started anew when they have ended by themselves, whatever ended them; for the thread of decisions."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Final, Protocol

from monitor.loglines import log

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

AGAIN_S: Final = (2.0, 600.0)
"""Before a task is started anew, doubling up to the second number. Common practice, no source."""


class Task(Protocol):
    """``alive`` is true also where there is nothing to run."""

    @property
    def alive(self) -> bool: ...

    def start(self) -> None:
        """Start it, or start it anew once it has ended."""


class Tender:
    """``look`` now and then, from when all of them have been started."""

    def __init__(
        self,
        tasks: Mapping[str, Task],
        steady: Callable[[], float] = time.monotonic,
        *,
        again_s: tuple[float, float] = AGAIN_S,
        say: Callable[[str, int], object] = lambda task, times: log.error("task.ended", task=task, times=times),
    ) -> None:
        self._tasks = tasks
        self._steady = steady
        self._again_s = again_s
        self._say = say  # that one has ended, and how often it did
        self._ended: dict[str, int] = {}  # how often
        self._due: dict[str, float] = {}

    def look(self) -> None:
        """Note what has ended, and start what has waited long enough."""
        now = self._steady()
        for name, task in self._tasks.items():
            if task.alive:
                continue
            if name not in self._due:
                times = self._ended[name] = self._ended.get(name, 0) + 1
                first, longest = self._again_s
                self._due[name] = now + min(first * 2.0 ** min(times - 1, 20), longest)
                self._say(name, times)
            elif now >= self._due[name]:
                del self._due[name]
                task.start()
                log.info("task.started-anew", task=name)
