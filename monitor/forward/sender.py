"""One thread for each server: it sends what is new, twice, and waits ever longer while the server takes nothing.

A server that ends without warning has lost what it took in the last seconds, and may be back before anybody notices. So all
is sent a second time when ``SETTLE_S`` have passed, and only then counts as arrived; the same point twice is one point.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, Literal

from monitor.core.light import light
from monitor.core.wording import rfc3339
from monitor.forward.posting import SendFailed
from monitor.forward.trail import EVER
from monitor.loglines import log
from monitor.store.errors import StoreError
from monitor.store.records import time_of
from monitor.store.sinks import Forwarded, Late, Reached

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from monitor.core.model import Ms
    from monitor.forward.posting import Poster
    from monitor.forward.trail import Trail
    from monitor.service.clock import Clock
    from monitor.store.sinks import Ceilings

State = Literal["starting", "current", "behind", "failing"]
BACK_OFF_S: Final = (1.0, 60.0)
"""After the first failure, doubling up to the second number. Common practice, no source."""
REPORT_EVERY_S: Final = 5.0
"""How often the store is told how far a long back-fill has got."""
LEAST_LINES: Final = 50


@light
class Pace:
    """``every_s``: between two looks. ``settle_s``: see above; a stock victoria-metrics 1.79 that was killed had lost up to
    10 s. ``rest``: pause after a call, as a multiple of what reading and making its lines took: while lines are made, no
    reading can be taken in.
    """

    every_s: float = 10.0
    settle_s: float = 60.0
    lines: int = 2000
    rest: float = 9.0
    least_rest_s: float = 0.02


@light
class _Told:
    """What the bench shows; replaced as a whole, so that any thread may read it."""

    state: State = "starting"
    reason: str = ""
    todo: str = ""
    last: Ms | None = None  # wall time of the newest call that was taken
    oldest: Ms | None = None  # time of the oldest reading that waits
    sent: int = 0  # lines in this run
    refused: int = 0


class Sender:
    """``moved`` must only pass on what it is given (to a queue). ``stop`` ends it for good."""

    def __init__(
        self,
        name: str,
        trail: Trail,
        poster: Poster,
        pace: Pace,
        clock: Clock,
        ceilings: Ceilings,
        reached: Reached,
        moved: Callable[[Forwarded], None],
    ) -> None:
        self.id = name
        self._trail = trail
        self._poster = poster
        self._pace = pace
        self._clock = clock
        self._ceilings = ceilings
        self._moved = moved
        self._sure = self._ahead = reached
        self._passed: deque[tuple[float, Reached]] = deque()  # when all up to there had been sent once
        self._late: dict[Late, float] = {}  # when it was sent once
        self._struck: set[Late] = set()  # sent twice; the store may not have struck them off yet
        self._done: list[Late] = []  # of those, what it has not been told
        self._reported = (time.monotonic(), reached)
        self._limit = pace.lines
        self._failures = 0
        self._told = _Told()
        self._halt = threading.Event()
        self._thread: threading.Thread | None = None
        self.last_tick = time.monotonic()

    # -- for the thread of decisions

    def start(self) -> None:
        self.last_tick = time.monotonic()
        # A daemon thread: a server that hangs must not keep the process from ending.
        self._thread = threading.Thread(target=self._run, name=f"forward-{self.id}", daemon=True)
        self._thread.start()

    @property
    def alive(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def ask_to_stop(self) -> None:
        self._halt.set()

    def join(self, timeout: float) -> bool:
        """Whether it has ended."""
        if self._thread is not None:
            self._thread.join(timeout)
        return not self.alive

    def document(self) -> dict[str, Any]:
        """For the bench. ``lag_s``: the age of the oldest reading that waits, 0 when none does."""
        told = self._told
        lag = 0 if told.oldest is None else max(self._clock.now() - told.oldest, 0) // 1000
        return {
            "id": self.id,
            "state": told.state if self.alive else "failing",
            "reason": told.reason if self.alive else "its thread has ended; it is started anew",
            "todo": told.todo,
            "last": None if told.last is None else rfc3339(told.last),
            "lag_s": lag,
            "sent": told.sent,
            "refused": told.refused,
        }

    # -- the thread

    def _run(self) -> None:
        try:
            while not self._halt.is_set():
                pause = self._round()
                self.last_tick = time.monotonic() + pause  # no life is expected before
                self._halt.wait(pause)
        finally:
            self._poster.close()

    def _round(self) -> float:
        """Send all there is; seconds until the next look."""
        try:
            self._send_all()
        except SendFailed as failed:
            return self._failed(failed)
        except StoreError as error:  # it is asked again; whatever is wrong with the store is told elsewhere
            log.warning("series.unread", server=self.id, reason=str(error))
            return self._pace.every_s
        finally:
            self._report()
        if self._told.state != "current":
            log.info("series.current", server=self.id)
        self._told = replace(self._told, state="current", reason="", todo="", oldest=None)
        return self._pace.every_s

    def _send_all(self) -> None:
        newest = self._trail.newest()
        if newest > self._ahead.reading:
            # Before it is read: what is written below from now on is noted.
            self._ceilings.publish(self.id, newest)
        end = Reached(max(newest, self._ahead.reading), EVER, EVER)
        busy = True
        while busy and not self._halt.is_set():
            busy = self._send_new(end)
            busy |= self._send_late()
            busy |= self._send_again()
            if time.monotonic() - self._reported[0] > REPORT_EVERY_S:
                self._report()

    def _send_new(self, end: Reached) -> bool:
        began = time.monotonic()
        piece = self._trail.piece(self._ahead, end, self._limit)
        if piece is None:
            return False
        self._post(piece.lines, began)
        self._ahead = piece.reached
        self._pass(piece.reached)
        more = self._ahead.reading < end.reading and len(piece.lines) >= self._limit
        oldest = time_of(self._ahead.reading) if more else None
        self._told = replace(self._told, state="behind" if more else self._told.state, oldest=oldest)
        return True

    def _pass(self, reached: Reached) -> None:
        """Several in one second count as the last of them."""
        now = time.monotonic()
        if len(self._passed) > 1 and now - self._passed[-2][0] < 1.0:
            self._passed.pop()
        self._passed.append((now, reached))

    def _send_again(self) -> bool:
        """One piece of what was sent long enough ago."""
        settled = time.monotonic() - self._pace.settle_s
        while self._passed and self._passed[0][0] <= settled:
            began = time.monotonic()
            piece = self._trail.piece(self._sure, self._passed[0][1], self._limit)
            if piece is None:
                self._sure = self._passed.popleft()[1]
                continue
            self._post(piece.lines, began)
            self._sure = piece.reached
            return True
        return False

    def _send_late(self) -> bool:
        """One call with minutes that got more readings. They are sent twice as well."""
        began = time.monotonic()
        noted = self._trail.late(self.id)
        self._struck &= set(noted)
        self._late = {late: when for late, when in self._late.items() if late in set(noted)}
        lines: list[str] = []
        sent: list[Late] = []
        for late in noted:
            if late in self._struck or self._late.get(late, -EVER) > began - self._pace.settle_s:
                continue
            if len(lines) >= self._limit:
                break
            lines += self._trail.minute(late)
            sent.append(late)
        for first in range(0, len(lines), self._limit):
            self._post(lines[first : first + self._limit], began)
        for late in sent:
            if late in self._late:
                self._struck.add(late)
                self._done.append(late)
            else:
                self._late[late] = time.monotonic()
        return bool(sent)

    def _post(self, lines: Sequence[str], began: float) -> None:
        """One call, and a rest. ``began``: since when this thread has kept the interpreter busy with it."""
        made = time.monotonic() - began
        self.last_tick = time.monotonic()
        if lines:
            try:
                self._poster.post(lines)
            except SendFailed as failed:
                if not failed.refused:
                    raise
                self._refused(len(lines), str(failed))
            self._took(len(lines))
        self._halt.wait(max(made * self._pace.rest, self._pace.least_rest_s))

    def _took(self, count: int) -> None:
        if self._failures:
            log.info("series.recovered", server=self.id, failures=self._failures)
        self._failures = 0
        told = self._told
        state: State = "behind" if told.oldest is not None else "starting" if told.state == "starting" else "current"
        self._told = replace(told, state=state, reason="", todo="", last=self._clock.wall(), sent=told.sent + count)

    def _refused(self, count: int, why: str) -> None:
        """It will not take these, however often they are sent, and others wait: what is older than it keeps, for one."""
        if not self._told.refused:
            log.warning("series.refused", server=self.id, lines=count, reason=why)
        self._told = replace(self._told, refused=self._told.refused + count)

    def _failed(self, failed: SendFailed) -> float:
        """Note it; seconds to wait."""
        if failed.too_much and self._limit > LEAST_LINES:
            self._limit = max(self._limit // 2, LEAST_LINES)
            return 0.0
        if not self._failures:
            log.warning("series.failing", server=self.id, reason=str(failed), todo=failed.todo)
        self._failures += 1
        oldest = self._told.oldest
        try:
            oldest = self._trail.oldest_unsent(self._ahead)
        except StoreError as error:
            log.debug("series.unread", server=self.id, reason=str(error))
        self._told = replace(self._told, state="failing", reason=str(failed), todo=failed.todo, oldest=oldest)
        first, longest = BACK_OFF_S
        return max(min(first * 2.0 ** min(self._failures - 1, 10), longest), failed.retry_after)

    def _report(self) -> None:
        """What has been sent twice is told to the store's owner."""
        if self._done or self._sure != self._reported[1]:
            done, self._done = tuple(self._done), []
            self._moved(Forwarded(self.id, self._sure, done))
        self._reported = (time.monotonic(), self._sure)
