"""Our room told to others, and other rooms shown here."""

from __future__ import annotations

import secrets
import threading
from typing import TYPE_CHECKING, Any, Final

from monitor.core.model import SECOND, Ms
from monitor.core.rooms import Rooms, own_document
from monitor.core.summary import summary, urgent
from monitor.core.wording import rfc3339
from monitor.intake.neighbours import Neighbours
from monitor.intake.room_news import place_of, read_status, read_summary, write_summary
from monitor.intake.unreadable import Unreadable
from monitor.loglines import log

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from monitor.intake.link import Link
    from monitor.service.clock import Clock

EVERY: Final[Ms] = 60 * SECOND
"""A summary comes at least so often, so that its silence can be told."""
NOT_BEFORE_S: Final = 5.0
"""And not more often than this, unless an alarm or a stage has changed."""


def summary_topic(site: str) -> str:
    return f"swimup/{site}/summary"


class Announcer:
    """Used by the thread of decisions: keeps our summary at the broker, with real time, whatever time the bench counts."""

    def __init__(self, run: str, page: str, clock: Clock, publish: Callable[[str, str], None]) -> None:
        self._run = run
        self._page = page
        self._clock = clock
        self._publish = publish
        self._at = -NOT_BEFORE_S - EVERY / SECOND
        self._told: dict[str, Any] = {}
        self._waits = False

    def due(self) -> float:
        """When something waits to be told, by the steady clock; never sooner than the next period."""
        return self._at + (NOT_BEFORE_S if self._waits else EVERY / SECOND)

    def show(self, view: Mapping[str, Any]) -> None:
        """A newer view of the bench. Publishes when it is time."""
        told, now = summary(view), self._clock.steady()
        self._waits = told != self._told
        at_once = self._waits and (not self._told or urgent(told) != urgent(self._told))
        if at_once or now >= self.due():
            self._at, self._told, self._waits = now, told, False
            text = write_summary(told, self._run, self._clock.wall(), EVERY, self._page)
            self._publish(summary_topic(told["site"]), text)


class RoomsBoard:
    """What other rooms told, safe from any thread. ``others`` are the awaited sites, () for any, None when none are shown."""

    def __init__(
        self,
        own: str,
        page: str,
        link: Link,
        others: Sequence[str] | None,
        clock: Clock,
        bench: Callable[[], dict[str, Any]],
    ) -> None:
        self.run = secrets.token_hex(4)
        self._own, self._page, self._clock, self._bench = own, page, clock, bench
        self._shown = others is not None
        self._lock = threading.Lock()
        self._rooms = Rooms(own, self.run, clock.wall(), tuple(others or ()))
        self._problem = "No link to our own broker yet." if self._shown else ""
        sites = [own, *others] if others else ()  # our own: to hear whether somebody else uses its name
        self._neighbours = Neighbours(link, sites, self._take, self._tell) if self._shown else None

    def start(self) -> None:
        """Listen; once that has ended by itself, listen anew."""
        if self._neighbours is not None:
            self._neighbours.start()

    @property
    def alive(self) -> bool:
        """Whether it listens, where it should."""
        return self._neighbours is None or self._neighbours.alive

    def stop(self) -> None:
        if self._neighbours is not None:
            self._neighbours.stop()

    def document(self) -> dict[str, Any]:
        """Our own room first, then the others by name."""
        now = self._clock.wall()
        bench = self._bench()
        own = own_document(summary(bench), self._page, now)
        with self._lock:
            others = self._rooms.documents(now)
            doubled, beyond, problem = self._rooms.doubled, self._rooms.beyond, self._problem
        return {
            "now": rfc3339(now),
            "timezone": bench["timezone"],
            "shown": self._shown,
            "problem": problem,
            "doubled": doubled,
            "beyond": beyond,
            "rooms": [own, *others],
        }

    # -- in the thread that listens

    def _tell(self, problem: str) -> None:
        with self._lock:
            before, self._problem = self._problem, problem
        if problem and problem != before:
            log.warning("rooms.not-heard", text=problem)
        elif before and not problem:
            log.info("rooms.heard")

    def _take(self, topic: str, payload: bytes, retained: bool) -> None:
        place = place_of(topic)
        if place is None:
            return
        site, leaf = place
        arrived = self._clock.wall()
        try:
            if leaf == "status":
                word = read_status(payload)
                with self._lock:
                    self._rooms.status(site, word)
            elif not payload:
                with self._lock:
                    self._rooms.cleared(site)
            else:
                news = read_summary(site, payload)
                with self._lock:
                    self._rooms.news(news, arrived, live=not retained)
        except Unreadable as why:
            log.debug("rooms.unreadable", topic=topic, reason=why.reason)
            if leaf == "summary":
                with self._lock:
                    self._rooms.unreadable(site, why.reason)
