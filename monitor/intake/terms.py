"""What a connection is given, whom it tells, and how it can end."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, Protocol

from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.model import Ms
    from monitor.intake.incoming import Incoming
    from monitor.intake.link import Link
    from monitor.intake.orders import Orders

Cause = Literal["unreachable", "distrust", "silent", "version", "refused", "lost", "taken", "stopped"]


@light
class Ending:
    """How a connection ended.

    ``distrust``: TLS found no common ground. ``silent``: closed before any answer, as brokers do that do not know the
    version.
    """

    cause: Cause
    text: str
    up_s: float | None = None  # how long the link was up; None when it never was


class Listener(Protocol):
    """What a connection tells, in its own thread. None of these may raise."""

    def resumed(self, present: bool) -> int:
        """The broker answered; returns the number of the broker session."""

    def opened(self, since: Ms) -> None:
        """All topics are answered for; what is to be kept at the broker waits in the orders from now on."""

    def deliver(self, message: Incoming) -> bool:
        """A message of a bound topic. False when it could not be taken: it stays with the broker."""

    def drained(self) -> None:
        """What waited at the broker has been delivered."""

    def stray(self) -> None:
        """A message nobody is bound to was acknowledged unread."""

    def answered(self, topic: str, problem: str | None) -> None:
        """The broker granted a topic, or did not."""

    def tick(self) -> None:
        """The thread is alive."""


@light
class Terms:
    """What stays the same from one connection to the next."""

    link: Link
    site: str
    topics: frozenset[str]  # exact ones, and such that end in /+
    clock: Callable[[], Ms]
    orders: Orders
    listener: Listener

    def takes(self, topic: str) -> bool:
        """Whether somebody is bound to it."""
        return topic in self.topics or f"{topic.rpartition('/')[0]}/+" in self.topics
