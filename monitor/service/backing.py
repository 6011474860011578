"""The nightly backup, in a thread of its own: neither a slow stick nor a long copy holds up a decision."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING, Final

from monitor.core.house import Kept
from monitor.core.light import light
from monitor.core.model import DAY, HOUR, Ms
from monitor.core.quality import CLOCK_UNSET
from monitor.core.wording import duration, meals, zone
from monitor.loglines import log
from monitor.store.backup import NIGHTLY, BackupStopped, make_backup, rotate, unchanged_since
from monitor.store.backups import Backup, BackupFolder, BackupProblem
from monitor.store.errors import StoreError
from monitor.store.past import begun_of
from monitor.store.rotation import Stay

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from monitor.service.clock import Clock

AGAIN_AFTER_S: Final = 3 * 3600.0
"""After a try that failed while it was copying: it has worn the card as a good one does. Common practice, no source."""
REST: Final = 3.0
"""Pauses are so many times as long as the work between them, so that one core of a small board stays free; common practice."""
LONGEST_REST_S: Final = 0.5
HANGS_AFTER_S: Final = 6 * 3600.0
LOOK_S: Final = 5.0
"""It wakes so often without being asked, so that nothing keeps it asleep unnoticed."""


@light
class Plan:
    """Where, when (minutes after local midnight) and how many. ``config`` gives what is laid beside each backup."""

    folder: BackupFolder
    at: int
    stay: Stay
    timezone: str
    config: Callable[[], str | None] = lambda: None


class Backer:
    """``wake`` it now and then; it finds out by itself whether a backup is due. For the thread of decisions.

    ``good``: when the newest good backup was, as an earlier run knew it; it counts while the folder is not there, as a stick that
    is not plugged in. Without a plan, and in simulated time, it does nothing: what was made up is worth no backup.
    """

    def __init__(self, store: Path, plan: Plan | None, clock: Clock, good: Ms | None = None) -> None:
        self._store = store
        self._works = plan is not None and clock.speed is None
        self._plan = plan or Plan(BackupFolder.of(store), 0, Stay(), "UTC")
        self._clock = clock
        self._stop = threading.Event()
        self._wake = threading.Event()
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()
        self._good = good  # up to when a good backup holds all there is
        self._known = False  # whether it has looked
        self._covers: tuple[Path, Ms] | None = None  # a backup, and up to when nothing new had come since
        self._begun: Ms | None = None
        self._error = ""
        self._busy: float | None = None
        self._not_before = 0.0
        self._copied = False  # something of it, in this try
        self._worked = time.monotonic()

    def start(self) -> None:
        """Start it; once it has ended by itself, start it anew."""
        if self._works:
            self._thread = threading.Thread(target=self._run, name="backup", daemon=True)
            self._thread.start()

    @property
    def alive(self) -> bool:
        """Whether its thread runs, where there should be one."""
        return self._thread is None or self._thread.is_alive()

    def wake(self) -> None:
        self._wake.set()

    def ask_to_stop(self) -> None:
        self._stop.set()
        self._wake.set()

    def stop(self, patience_s: float) -> None:
        """Ask it to end; what it was writing is deleted, now or before the next backup."""
        self.ask_to_stop()
        if self._thread is not None:
            self._thread.join(patience_s)

    def health(self) -> Kept | None:
        """What the rules are to know; None while nothing is known yet."""
        with self._lock:
            if not self._known:
                return None
            error = self._error
            if self._busy is not None and time.monotonic() - self._busy > HANGS_AFTER_S:
                error = f"it has been at it for {duration(round((time.monotonic() - self._busy) * 1000))}"
            return Kept(self._good, self._begun, error, str(self._plan.folder.path))

    # -- in its own thread

    def _run(self) -> None:
        while not self._stop.is_set():
            woken = self._wake.wait(LOOK_S)
            if self._stop.is_set():
                return
            if not woken:
                continue
            self._wake.clear()
            with self._lock:
                self._busy = time.monotonic()
            try:
                self._look()
                self._failed("")
            except BackupStopped:
                return
            except (BackupProblem, StoreError, OSError) as error:
                self._failed(str(error))
            except Exception as error:
                log.exception("backup.broken")
                self._failed(f"it broke the program: {type(error).__name__}")
            finally:
                with self._lock:
                    self._busy, self._known = None, True

    def _look(self) -> None:
        now, folder = self._clock.now(), self._plan.folder
        begun = begun_of(self._store)
        with self._lock:
            self._begun = begun
        newest = newest_of(folder, now)
        if newest is not None:
            covers = self._covers is not None and self._covers[0] == newest.path
            self._is_good(self._covers[1] if self._covers and covers else newest.time)
        elif folder.path.is_dir():
            self._is_good(None)
        if not due(now, self._good if newest is not None else None, self._plan.at, self._plan.timezone):
            return
        if time.monotonic() < self._not_before:
            raise BackupProblem(self._error)
        self._copied = False
        if newest is not None and unchanged_since(self._store, newest):
            log.info("backup.not-needed", newest=newest.path.name, text="nothing new is in the store")
            self._covers = newest.path, now
        else:
            made = make_backup(self._store, folder, now, NIGHTLY, self._plan.config(), self._pause)
            gone = rotate(folder, self._plan.stay, zone(self._plan.timezone), now)
            log.info("backup.made", file=str(made.path), bytes=made.bytes, deleted=len(gone))
        self._is_good(now)

    def _is_good(self, time: Ms | None) -> None:
        with self._lock:
            self._good = time

    def _failed(self, error: str) -> None:
        """Log it once in, once out."""
        with self._lock:
            before, self._error = self._error, error
        if error and not before:
            log.warning("backup.failed", reason=error)
        elif before and not error:
            log.info("backup.recovered")
        if error and self._copied:
            self._not_before, self._copied = time.monotonic() + AGAIN_AFTER_S, False

    def _pause(self) -> None:
        self._copied = True
        worked = time.monotonic() - self._worked
        if self._stop.wait(min(REST * worked, LONGEST_REST_S)):
            raise BackupStopped("the service is stopping")
        self._worked = time.monotonic()


def due(now: Ms, good: Ms | None, at: int, timezone: str) -> bool:
    """Whether there is no good backup since the last hour at which one was to be made. Never while the clock is unset."""
    if now < CLOCK_UNSET:
        return False
    last = meals(timezone, (at,), now - 2 * DAY, now + 1)[-1]
    return good is None or good < last


def newest_of(folder: BackupFolder, now: Ms) -> Backup | None:
    """The newest that is not of the future; a clock that was wrong once must not stop backups for years.

    Raises BackupProblem.
    """
    past = [backup for backup in folder.all() if backup.time <= now + HOUR]
    return past[-1] if past else None
