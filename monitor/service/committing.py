"""Persist, then acknowledge: what was taken is written in groups, what is urgent at once, and only then is the broker told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor import failpoint
from monitor.failpoint import Point
from monitor.loglines import log
from monitor.store import StoreCorrupt, StoreError
from monitor.store.aside import mark_damaged

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.model import Ms
    from monitor.intake.session import Session
    from monitor.service.clock import Clock
    from monitor.service.figures import Figures
    from monitor.service.house import House
    from monitor.service.ingest import Ingest
    from monitor.store import Store

HALF_WINDOW: Final = {"5": 1000, "3.1.1": 10}
"""Messages, by MQTT version: half of what the broker sends unacknowledged."""
RETRY_S: Final = 5.0
RETRY_URGENT_S: Final = 1.0
"""Not with each reading: trying to write all that waits takes a tenth of a second, and decisions must go on."""


class Committer:
    """Used by the thread of decisions. ``release`` lets go what waits for the clock."""

    def __init__(
        self,
        store: Store,
        ingest: Ingest,
        house: House,
        figures: Figures,
        clock: Clock,
        every: Ms,
        session: Session,
        release: Callable[[], None],
    ) -> None:
        self._store = store
        self._ingest = ingest
        self._house = house
        self._figures = figures
        self._clock = clock
        self._every_s = every / 1000
        self._session = session
        self._release = release
        self._failing = False
        self._urgent_due = 0.0  # what is urgent was not taken either, and is not tried again before
        self.due = 0.0
        """When what waits is to be written, by the steady clock; 0 while nothing waits."""

    def look(self) -> None:
        """Write what has waited long enough, or what the broker waits for."""
        waiting = len(self._ingest.unacknowledged)
        now = self._clock.steady()
        if not waiting and not self._store.pending:
            self.due = 0.0
            return
        if not self.due:
            self.due = now + self._every_s
        half = HALF_WINDOW.get(self._session.state.version or "", 10)
        if self._ingest.early.holding and waiting >= half:
            self._release()  # the broker would send no more
            return
        if now >= self.due or (waiting >= half and not self._failing):
            self.commit()
        elif waiting >= half:
            self._acknowledge()  # the disk takes nothing: a live alarm beats a complete record

    def commit_urgent(self) -> None:
        """What must not wait is written at once; as long as the disk does not take even that, now and then."""
        if self._store.urgent and self._clock.steady() >= self._urgent_due:
            self.commit()

    def commit(self) -> None:
        """Persist, then acknowledge in the order of arrival. A disk that takes nothing holds up neither decisions nor pushes."""
        try:
            wrote = self._store.commit()
        except StoreError as error:
            self._figures.committed(ok=False)
            self._failed(error)
            return
        if wrote:
            self._figures.committed(ok=True)
        self._house.saved()
        self._urgent_due = 0.0
        if self._failing:
            self._failing = False
            log.info("disk.recovered", lost=self._store.lost)
        self.due = 0.0
        self._acknowledge()

    def _failed(self, error: StoreError) -> None:
        self.due = self._clock.steady() + RETRY_S
        self._house.unsaved(str(error))
        if isinstance(error, StoreCorrupt):
            mark_damaged(self._store.path)
        if not self._failing:
            self._failing = True
            log.error("disk.failing", text=str(error))
        if not getattr(error, "urgent_saved", False) and self._store.urgent:
            if not self._urgent_due:
                log.error("disk.urgent-unsaved", text="alarms go out from memory; a crash now would forget them")
            self._urgent_due = self._clock.steady() + RETRY_URGENT_S

    def _acknowledge(self) -> None:
        if self._ingest.early.holding:
            return  # not all of it is stored
        unacknowledged = self._ingest.unacknowledged
        if unacknowledged:
            failpoint.reach(Point.BEFORE_ACKNOWLEDGING)
            self._session.ack(*unacknowledged)
            unacknowledged.clear()
