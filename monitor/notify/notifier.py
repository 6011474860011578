"""Threads that carry letters: one for each channel, so that a channel that hangs holds up nobody else."""

from __future__ import annotations

import threading
import time
from collections import deque
from typing import TYPE_CHECKING

from monitor import failpoint
from monitor.failpoint import Point
from monitor.notify.outbox import Delivery, DeliveryFailed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from monitor.notify.outbox import Channel
    from monitor.store import Letter


class Notifier:
    """Takes letters from one thread, tells ``results`` how each try ended, exactly once a letter, from another thread.

    ``results`` must only pass the delivery on (to a queue). Letters still queued at ``stop`` get no result; they stay
    in the outbox.
    """

    def __init__(self, channels: Sequence[Channel], results: Callable[[Delivery], None]) -> None:
        self._results = results
        self._lanes = {channel.id: _Lane(channel, results) for channel in channels}

    def start(self) -> None:
        for lane in self._lanes.values():
            lane.start()

    def deliver(self, letter: Letter) -> None:
        """Queue the letter for its channel; never blocks. A thread that has ended is started anew."""
        lane = self._lanes.get(letter.channel)
        if lane is None:
            known = ", ".join(sorted(self._lanes)) or "none"
            error = f"there is no channel {letter.channel!r} in the configuration any more; there are: {known}"
            self._results(Delivery(letter.id, ok=False, error=error, transient=False))
            return
        lane.put(letter)

    def busy(self) -> dict[str, float]:
        """For each channel how many seconds its present try has taken; 0 when it waits for letters."""
        return {name: lane.busy() for name, lane in self._lanes.items()}

    def ask_to_stop(self) -> None:
        """No more tries are begun."""
        for lane in self._lanes.values():
            lane.ask_to_stop()

    def stop(self, timeout: float) -> bool:
        """Let the present tries end, at most ``timeout`` seconds altogether; give back whether all did."""
        deadline = time.monotonic() + timeout
        self.ask_to_stop()
        ended = [lane.join(max(0.0, deadline - time.monotonic())) for lane in self._lanes.values()]
        return all(ended)


class _Lane:
    """One channel, its queue and its thread. The queue outlives the thread."""

    def __init__(self, channel: Channel, results: Callable[[Delivery], None]) -> None:
        self._channel = channel
        self._results = results
        self._letters: deque[Letter] = deque()
        self._wake = threading.Condition()
        self._stopping = False
        self._since: float | None = None
        self._thread: threading.Thread | None = None
        self._running = False

    def put(self, letter: Letter) -> None:
        with self._wake:
            self._letters.append(letter)
            self._wake.notify()
            self._ensure_running()

    def start(self) -> None:
        with self._wake:
            self._ensure_running()

    def _ensure_running(self) -> None:
        if self._stopping or self._running:
            return
        self._running = True
        # A daemon thread: a hanging channel must not keep the process from ending.
        self._thread = threading.Thread(target=self._run, name=f"notify-{self._channel.id}", daemon=True)
        self._thread.start()

    def busy(self) -> float:
        since = self._since
        return 0.0 if since is None else time.monotonic() - since

    def ask_to_stop(self) -> None:
        with self._wake:
            self._stopping = True
            self._wake.notify()

    def join(self, timeout: float) -> bool:
        if self._thread is None:
            return True
        self._thread.join(timeout)
        return not self._thread.is_alive()

    def _run(self) -> None:
        try:
            while (letter := self._next()) is not None:
                self._carry(letter)
        finally:
            with self._wake:
                self._running = False
                if self._letters:
                    self._ensure_running()

    def _carry(self, letter: Letter) -> None:
        self._since = time.monotonic()
        # Stands if the channel breaks its promise and raises something else: the letter is tried again later, this
        # thread ends with a traceback, and a new one takes the letters that follow.
        outcome = Delivery(letter.id, ok=False, error=f"channel {self._channel.id} broke down; see the log")
        try:
            outcome = self._try(letter)
        finally:
            self._since = None
            self._results(outcome)

    def _next(self) -> Letter | None:
        with self._wake:
            self._wake.wait_for(lambda: self._stopping or self._letters)
            return None if self._stopping else self._letters.popleft()

    def _try(self, letter: Letter) -> Delivery:
        failpoint.reach(Point.BEFORE_SENDING)
        try:
            self._channel.send(letter)
        except DeliveryFailed as failed:
            return Delivery(letter.id, False, failed.message, failed.transient, failed.retry_after, failed.todo)
        failpoint.reach(Point.SENT)
        return Delivery(letter.id, ok=True)
