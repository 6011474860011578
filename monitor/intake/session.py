"""The lasting relation to the broker: one named thread that connects, comes back, and never gives up.

Promises: a message is acknowledged only when :meth:`Session.ack` was called for it, in order of arrival, over the
connection that brought it. All topics are subscribed on every connection. Each change of the link is told once.
"""

from __future__ import annotations

import random
import threading
import time
from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.intake.connection import Connection
from monitor.intake.incoming import Incoming
from monitor.intake.link import Link, Version, back_off
from monitor.intake.orders import Letter, Orders
from monitor.intake.reports import Reports, SessionState
from monitor.intake.terms import Ending, Terms

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from monitor.core.model import Ms

__all__ = ["Incoming", "Link", "Session", "SessionState"]

STEADY_S = 30.0
"""A link that lasted this long starts the back-off anew when it goes."""
CALM_S = 600.0
"""After a link that lasted this long, a quarrel about the client id counts as over."""
SHORT_S = 10.0
SHORT_IN_A_ROW = 3
"""So many links that last no longer than SHORT_S look like two clients with one id."""
LONGEST_TOPIC = 65_535  # bytes, MQTT section 1.5.4


def wall_ms() -> Ms:
    """UTC now, in milliseconds."""
    return time.time_ns() // 1_000_000


class Session:
    """Reads topics with a session that the broker keeps while we are away.

    Callbacks run in the session's thread (named ``mqtt-session``) and must be quick:

    * ``on_message(incoming)`` for each message of ``topics``. Where it raises, the message stays at the broker.
    * ``on_link(up, text)`` once per change, up when all topics are subscribed. Down is told at the start only when
      the first attempt fails, and not on :meth:`stop`.
    * ``on_problem(subject, text)`` for what a person must set right: a topic the broker refuses (subject is the
      topic), another client with our id (subject is ``"client-id"``), or, after the link went down for another reason,
      a broker that lets us in no more (subject is ``"broker"``). Each is told once until it changes or has gone away.

    ``clock`` gives the wall time of records; reconnects and deadlines run on the monotonic clock. ``session`` is where
    the count of broker sessions goes on from: hand in the highest one stored, so that identities survive a restart.
    ``families`` are topics of which every one directly below is read; themselves they are exact.
    """

    def __init__(
        self,
        link: Link,
        topics: Iterable[str],
        site: str,
        on_message: Callable[[Incoming], None],
        on_link: Callable[[bool, str], None],
        *,
        on_problem: Callable[[str, str], None] | None = None,
        clock: Callable[[], Ms] = wall_ms,
        session: int = 0,
        families: Iterable[str] = (),
        first_delay_s: float = 1.0,
        longest_delay_s: float = 60.0,
    ) -> None:
        _check_topic(site)
        bound = frozenset(topics)
        below = frozenset(families)
        for topic in bound | below:
            _check_topic(topic)
        bound |= {f"{topic}/+" for topic in below}
        self._orders = Orders()
        self._reports = Reports(link, self._orders, clock, on_message, on_link, on_problem)
        self._reports.state.session = session
        self._terms = Terms(link, site, bound, clock, self._orders, self._reports)
        self._delays = (first_delay_s, longest_delay_s)
        self._chance = random.Random()  # noqa: S311  (spreads load, guards nothing)
        self._version: Version = "3.1.1" if link.version == "3.1.1" else "5"
        self._version_certain = link.version != "auto"
        self._failures = 0
        self._short = 0
        self._thread: threading.Thread | None = None
        self._halt = threading.Event()

    # -- for everyone --------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Return at once; the broker may be away. Called again when the thread has died, it goes on as after a lost link."""
        if self.alive or self._halt.is_set():
            raise RuntimeError("a session is started once; a stopped one is replaced by a new one")
        self._thread = threading.Thread(target=self._live, name="mqtt-session", daemon=True)
        self._thread.start()

    def stop(self, timeout: float = 10.0) -> None:
        """Send the acknowledgements given so far and a farewell, then end the thread. The broker keeps the session."""
        self._orders.stop = True
        self._halt.set()
        self._orders.ring()
        if self._thread is not None:
            self._thread.join(timeout)
        if not self.alive:
            self._orders.close()

    def ack(self, *incoming: Incoming) -> None:
        """The messages are stored; the broker may forget them. Any thread.

        No effect for a message of an earlier connection: the broker delivers that one again.
        """
        self._orders.acks.extend([(one.connection, one.mid) for one in incoming if one.mid])
        self._orders.ring()

    def publish(self, topic: str, payload: bytes | str, retain: bool = True) -> None:
        """Publish at QoS 1; any thread, never blocks.

        A retained payload is also given to the broker anew on every connection, so that it holds whatever happens to
        the broker; an empty one clears the topic. A payload that is not retained is dropped while the link is down.
        """
        _check_topic(topic)
        data = payload.encode() if isinstance(payload, str) else bytes(payload)
        self._reports.letter(Letter(topic, data, retain))

    @property
    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread is not None and self._thread.is_alive()

    @property
    def state(self) -> SessionState:
        """A copy; any thread."""
        return replace(self._reports.state)

    # -- the thread ----------------------------------------------------------------------------------------------

    def _live(self) -> None:
        try:
            self._run()
        finally:
            self._reports.parted()  # even where it breaks off: who publishes must not take the link for up

    def _run(self) -> None:
        state = self._reports.state
        while not self._halt.is_set():
            state.connections += 1
            state.version = self._version
            self._reports.tick()
            ending = Connection(self._terms, self._version, state.connections).serve()
            if ending.up_s is None and self._choose_version(ending):
                continue
            self._reports.ended(ending)
            if ending.cause == "stopped":
                return
            if not self._version_certain:
                self._version = "5"
            self._judge(ending)
            self._pause()

    def _pause(self) -> None:
        until = time.monotonic() + back_off(self._failures, self._chance, *self._delays)
        while (left := until - time.monotonic()) > 0 and not self._halt.wait(min(left, 1.0)):
            self._reports.tick()

    def _judge(self, ending: Ending) -> None:
        """Count for the back-off, and tell two clients with one id from a broker that goes down now and then."""
        if ending.up_s is None:
            self._failures += 1
            return
        self._failures = 1 if ending.up_s >= STEADY_S else self._failures + 1
        self._short = self._short + 1 if ending.up_s < SHORT_S else 0
        if ending.cause == "taken" or self._short >= SHORT_IN_A_ROW:
            self._reports.problem(
                "client-id",
                "the broker ends our connection soon after it began: another client seems to use the id "
                f"{self._terms.link.client_id} as well; give each its own",
            )
        elif ending.up_s >= CALM_S:
            self._reports.solved("client-id")

    def _choose_version(self, ending: Ending) -> bool:
        """Choose the MQTT version that comes next; True when it is to be tried at once, before anything is told.

        A plain refusal is remembered. A broker that closes without an answer may not know MQTT 5, or may just be
        going down: 3.1.1 is tried once, and 5 again after that link has gone.
        """
        if self._version_certain or ending.cause == "stopped":
            return False
        if self._version == "5" and ending.cause in ("version", "silent"):
            self._version = "3.1.1"
            self._version_certain = ending.cause == "version"
            return True
        return False


def _check_topic(topic: str) -> None:
    """A site id or the name of a topic; wildcards would bring what nobody bound."""
    if not topic or any(mark in topic for mark in "+#\0") or len(topic.encode()) > LONGEST_TOPIC:
        raise ValueError(f"{topic!r} is no exact MQTT topic; it may not be empty nor contain + or #")
