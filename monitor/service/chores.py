"""What is to be done at set times: rolling up each hour, clearing away each day, in small steps by the thread of decisions;
and a look each ten minutes whether a backup is due, which is made in a thread of its own.

The scheduler only puts a word into its queue; after a step with more to do, the next step queues up behind what came meanwhile.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING, Final

import structlog

from monitor.core.model import DAY, HOUR, MINUTE, SECOND
from monitor.store import StoreError

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.model import Ms
    from monitor.service.clock import Clock
    from monitor.store import Keep, Store

log = structlog.get_logger()


class Chore(StrEnum):
    ROLL_UP = "roll-up"
    CLEAR = "clear"
    BACK_UP = "back-up"


EVERY: Final[dict[Chore, Ms]] = {Chore.ROLL_UP: HOUR, Chore.CLEAR: DAY, Chore.BACK_UP: 10 * MINUTE}


class Chores:
    """``start`` and ``stop`` it; ``put`` is called with a chore when its time has come, in a thread of the scheduler's.

    All are also due a little after the start: a machine that is switched off each night must come round to them.
    """

    FIRST_S: Final = 20.0
    LIFE_EVERY_S: Final = 20.0

    def __init__(self, put: Callable[[Chore], None], clock: Clock) -> None:
        # Not at the top: importing it takes as long as all of the rest of a command line that does not need it.
        from apscheduler.executors.pool import ThreadPoolExecutor  # noqa: PLC0415
        from apscheduler.schedulers.background import BackgroundScheduler  # noqa: PLC0415

        self._scheduler = BackgroundScheduler(
            timezone="UTC",
            executors={"default": ThreadPoolExecutor(1)},  # its usual ten threads come one by one, and stay
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
        )
        self._steady = clock.steady
        self.last_tick = clock.steady()
        self._scheduler.add_job(self._alive, "interval", seconds=self.LIFE_EVERY_S)
        speed = clock.speed or 1.0
        for n, (chore, every) in enumerate(EVERY.items()):
            seconds = max(every / SECOND / speed, 1.0)
            first = min(self.FIRST_S * (n + 1), seconds)
            self._scheduler.add_job(put, "interval", (chore,), seconds=seconds, next_run_time=_in(first))

    def _alive(self) -> None:
        """Done as the chores are: whatever keeps them from coming keeps this from being young."""
        self.last_tick = self._steady()

    def start(self) -> None:
        self.last_tick = self._steady()
        self._scheduler.start()

    def stop(self) -> None:
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)


def _in(seconds: float) -> datetime:
    return datetime.now(UTC) + timedelta(seconds=seconds)


class Upkeep:
    """Does one step of a chore; for the thread of decisions."""

    def __init__(
        self,
        store: Store,
        keep: Keep,
        clock: Clock,
        put: Callable[[Chore], None],
        back_up: Callable[[], None] = lambda: None,
    ) -> None:
        self._store = store
        self._keep = keep
        self._clock = clock
        self._put = put
        self._back_up = back_up
        self._failing = False

    def do(self, chore: Chore) -> None:
        """What fails now, for a full disk or a locked file, is tried when the chore is due the next time."""
        if chore is Chore.BACK_UP:
            self._back_up()
            return
        now = self._clock.now()
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
