"""What is to be done at set times: rolling up each hour, clearing away each day, in small steps by the thread of decisions;
a look each ten minutes whether a backup is due, which is made in a thread of its own; and each day what is long over leaves
memory.

Whoever watches the time only puts a word into its queue; after a step with more to do, the next step queues up behind what
came meanwhile.
"""

from __future__ import annotations

import threading
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from monitor.core.model import DAY, HOUR, MINUTE, SECOND
from monitor.loglines import log
from monitor.service.memory import trim
from monitor.store import StoreError

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.model import Ms
    from monitor.service.clock import Clock
    from monitor.store import Keep, Store


class Chore(StrEnum):
    ROLL_UP = "roll-up"
    CLEAR = "clear"
    BACK_UP = "back-up"
    LET_GO = "let-go"


EVERY: Final[dict[Chore, Ms]] = {Chore.ROLL_UP: HOUR, Chore.CLEAR: DAY, Chore.BACK_UP: 10 * MINUTE, Chore.LET_GO: DAY}


class Chores:
    """``start`` and ``stop`` it; ``put`` is called with a chore when its time has come, in a thread "chores".

    All are also due a little after the start: a machine that is switched off each night must come round to them. Seconds are
    of the steady clock: whoever sets the system clock neither holds up a chore nor makes one due a thousand times.
    """

    FIRST_S: Final = 20.0
    LIFE_EVERY_S: Final = 5.0

    def __init__(self, put: Callable[[Chore], None], clock: Clock) -> None:
        self._put = put
        self._steady = clock.steady
        speed = clock.speed or 1.0
        self._every = {chore: max(every / SECOND / speed, 1.0) for chore, every in EVERY.items()}
        self._due: dict[Chore, float] = {}
        self._halt = threading.Event()
        self._thread: threading.Thread | None = None
        self.last_tick = clock.steady()

    def start(self) -> None:
        now = self.last_tick = self._steady()
        firsts = enumerate(self._every.items(), 1)
        self._due = {chore: now + min(n * self.FIRST_S, every) for n, (chore, every) in firsts}
        self._thread = threading.Thread(target=self._run, name="chores", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._halt.set()

    @property
    def alive(self) -> bool:
        """Whether its thread runs, after the start."""
        return self._thread is not None and self._thread.is_alive()

    def _run(self) -> None:
        while not self._halt.wait(
            max(min(*self._due.values(), self.last_tick + self.LIFE_EVERY_S) - self._steady(), 0)
        ):
            now = self.last_tick = self._steady()
            for chore, due in self._due.items():
                if now >= due:
                    self._put(chore)
                    self._due[chore] = max(due + self._every[chore], now)


class Upkeep:
    """Does one step of a chore; for the thread of decisions."""

    def __init__(
        self,
        store: Store,
        keep: Keep,
        clock: Clock,
        put: Callable[[Chore], None],
        back_up: Callable[[], None] = lambda: None,
        let_go: Callable[[Ms], None] = lambda _: None,
    ) -> None:
        self._store = store
        self._keep = keep
        self._clock = clock
        self._put = put
        self._back_up = back_up
        self._let_go = let_go
        self._failing = False

    def do(self, chore: Chore) -> None:
        """What fails now, for a full disk or a locked file, is tried when the chore is due the next time."""
        if chore is Chore.BACK_UP:
            self._back_up()
            return
        now = self._clock.now()
        if chore is Chore.LET_GO:
            self._let_go(now)
            trim()
            return
        try:
            more = self._store.roll_up(now) if chore is Chore.ROLL_UP else self._store.clear(now, self._keep)
        except StoreError as error:
            if not self._failing:
                self._failing = True
                log.warning("upkeep.failed", chore=chore.value, reason=str(error))
            return
        if self._failing:
            self._failing = False
            log.info("upkeep.recovered", chore=chore.value)
        if more:
            self._put(chore)
