"""What is told to the rest of the monitor about the link: each change once, each problem once, nothing that kills."""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from queue import Full
from typing import TYPE_CHECKING, Any

from monitor.core.light import light
from monitor.intake.decode import LARGEST
from monitor.intake.orders import WAIT_AT_MOST, Letter, Orders
from monitor.loglines import log

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.model import Ms
    from monitor.intake.incoming import Incoming
    from monitor.intake.link import Link, Version
    from monitor.intake.terms import Ending

TOO_LARGE = LARGEST + 1
"""Bytes. What is larger is cut: that it is too large can still be seen, and thousands that wait do not fill the memory."""

CALLBACK_FAULTS = (ArithmeticError, AttributeError, Full, LookupError, OSError, RuntimeError, TypeError, ValueError)
"""What a callback may let slip without ending the thread that brings the readings."""


@light(frozen=False)
class SessionState:
    """What the session knows of itself; totals since the start."""

    up: bool = False
    since: Ms | None = None  # of the last change of ``up``
    version: Version | None = None  # in use, or tried last
    live: bool = False  # what waited at the broker has been delivered
    session: int = 0  # number of the broker session
    connections: int = 0  # attempts included
    messages: int = 0
    strays: int = 0  # of topics nobody is bound to
    faults: int = 0  # callbacks that raised
    tick: float | None = None  # time.monotonic() when the thread last showed life


class Reports:
    """Hears the connection and tells the callbacks. All in the session's thread, except :meth:`letter`."""

    def __init__(
        self,
        link: Link,
        orders: Orders,
        clock: Callable[[], Ms],
        on_message: Callable[[Incoming], None],
        on_link: Callable[[bool, str], None],
        on_problem: Callable[[str, str], None] | None,
    ) -> None:
        self.state = SessionState()
        self._link = link
        self._orders = orders
        self._clock = clock
        self._on_message = on_message
        self._on_link = on_link
        self._on_problem = on_problem
        self._lock = threading.Lock()  # holds ``state.up`` and ``_kept`` together
        self._kept: dict[str, bytes] = {}
        self._link_told: bool | None = None
        self._problems: dict[str, str] = {}  # told, by subject

    # -- any thread ----------------------------------------------------------------------------------------------

    def letter(self, letter: Letter) -> None:
        """Publish it now when the link is up; keep it for later connections when it is retained."""
        with self._lock:
            if letter.retain:
                self._keep(letter)
            if self.state.up:
                self._orders.letters.append(letter)
        self._orders.ring()

    def _keep(self, letter: Letter) -> None:
        """The newest go last; when there are too many, a cleared one goes first, otherwise the oldest."""
        self._kept.pop(letter.topic, None)
        self._kept[letter.topic] = letter.payload
        if len(self._kept) > WAIT_AT_MOST:
            spare = next((topic for topic, payload in self._kept.items() if not payload), next(iter(self._kept)))
            del self._kept[spare]

    # -- from the connection -------------------------------------------------------------------------------------

    def resumed(self, present: bool) -> int:
        if not present:
            self.state.session += 1
        return self.state.session

    def opened(self, since: Ms) -> None:
        with self._lock:
            self._orders.letters.clear()
            self.state.up, self.state.since = True, since
            for topic, payload in self._kept.items():
                self._orders.letters.append(Letter(topic, payload, retain=True))
        log.info("broker.connected", address=self._link.address, mqtt=self.state.version, session=self.state.session)
        self._problems.pop("broker", None)
        self._link_told = True
        self._call(self._on_link, True, f"connected to {self._link.address} with MQTT {self.state.version}")

    def parted(self) -> None:
        """There is no connection, for whatever reason: what is published is kept for the next."""
        with self._lock:
            self._orders.letters.clear()
            self.state.live = False
            if self.state.up:
                self.state.up, self.state.since = False, self._clock()

    def ended(self, ending: Ending) -> None:
        """The connection is no more, or never came about."""
        self.parted()
        if ending.cause == "stopped":
            log.info("broker.left", address=self._link.address)
        elif self._link_told is not False:
            log.warning(
                "broker.absent" if self._link_told is None else "broker.lost",
                address=self._link.address,
                reason=ending.text,
            )
            self._link_told = False
            self._problems["broker"] = ending.text
            self._call(self._on_link, False, ending.text)
        elif ending.cause in ("refused", "distrust"):  # no longer away: a person must set something right
            self.problem("broker", ending.text)

    def deliver(self, message: Incoming) -> bool:
        self.state.messages += 1
        if len(message.payload) > TOO_LARGE:
            message = replace(message, payload=message.payload[:TOO_LARGE])
        try:  # as ``_call``, without its cost for each message
            self._on_message(message)
        except CALLBACK_FAULTS as error:
            return self._failed(self._on_message, error)
        return True

    def drained(self) -> None:
        self.state.live = True

    def stray(self) -> None:
        self.state.strays += 1

    def answered(self, topic: str, problem: str | None) -> None:
        if problem is None:
            self.solved(topic)
        else:
            self.problem(topic, problem)

    def tick(self) -> None:
        self.state.tick = time.monotonic()

    # -- problems ------------------------------------------------------------------------------------------------

    def problem(self, subject: str, text: str) -> None:
        """Tell it once, until it changes or is solved."""
        if self._problems.get(subject) == text:
            return
        self._problems[subject] = text
        log.warning("broker.problem", subject=subject, text=text)
        if self._on_problem is not None:
            self._call(self._on_problem, subject, text)

    def solved(self, subject: str) -> None:
        self._problems.pop(subject, None)

    def _call(self, callback: Callable[..., None], *arguments: Any) -> bool:
        try:
            callback(*arguments)
        except CALLBACK_FAULTS as error:
            return self._failed(callback, error)
        return True

    def _failed(self, callback: Callable[..., None], error: Exception) -> bool:
        self.state.faults += 1
        if self.state.faults == 1:
            name = getattr(callback, "__qualname__", str(callback))
            log.error("session.callback-failed", callback=name, exc_info=error)
        return False
