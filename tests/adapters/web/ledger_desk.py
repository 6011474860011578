"""A desk with the real core and a real store behind it: what is noted is decided, kept, and can be read back."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from monitor.core.log import Chill, Harvest, Start, kind_of, subject_of
from monitor.core.log_food import Brood, Tin
from monitor.core.model import DAY, HOUR, ColdStoreSpec, LotSpec
from monitor.store.record import Record
from monitor.store.store import Store
from tests.adapters.web.core_desk import CoreDesk
from tests.unit.core.worlds import Shed, slow_site

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.core.log import LogEntry
    from monitor.web.desk import Command


class LedgerDesk(CoreDesk):
    """``path``: where its store is made."""

    def __init__(self, shed: Shed, path: Path) -> None:
        super().__init__(shed)
        self._hand = ThreadPoolExecutor(1)  # a store belongs to the thread that opened it
        self._store = self._hand.submit(Store.open, path, now=shed.now).result()
        self.record = Record(path)
        self.ahead: dict[str, Any] = {}

    def food(self) -> dict[str, Any]:
        return self.ahead

    def note(self, *entries: LogEntry) -> None:
        """As they were noted before the test begins."""
        for entry in entries:
            self._keep(entry)
        self.renew()

    def _carry_out(self, command: Command) -> dict[str, Any]:
        """Only entries come here. Raises Refused, and then nothing is kept."""
        entry: LogEntry = command  # type: ignore[assignment]
        self._keep(entry)
        self._bench = self._document()
        return {"done": kind_of(entry), "subject": subject_of(entry)}

    def _keep(self, entry: LogEntry) -> None:
        self.shed.do(entry)
        self._hand.submit(self._store.log, entry).result()
        self._hand.submit(self._store.commit).result()
        self.shed.now += 1

    def close(self) -> None:
        self._hand.submit(self._store.close).result()
        self._hand.shutdown()


def shed_with_food() -> Shed:
    """Two vessels, a fridge, and tin-7 of the configuration with 50 g."""
    where = replace(
        slow_site("ash", "birch"),
        cold_stores={"fridge": ColdStoreSpec("fridge")},
        lots={"tin-7": LotSpec("tin-7", "great-salt-lake", 85.0, grams=50.0)},
    )
    shed = Shed(where)
    for vessel in ("ash", "birch"):
        shed.remember(f"{vessel}-water", 30, lambda _: 27.0)
        shed.say(f"{vessel}-water", 27.0)
    return shed


def stocked(desk: LedgerDesk) -> None:
    """A batch of 2 g was harvested and put into the fridge; killi-3 swims; tin-8 was bought long ago."""
    now = desk.shed.now
    began, came = now - 30 * HOUR, now - 2 * HOUR
    desk.note(
        Tin(
            time=now - 400 * DAY, logged=began - HOUR, lot="tin-8", strain="san-francisco-bay", grams=100.0, price=40.0
        ),
        Start(began, began, "ash-1", "ash", "tin-7", 2.0, 1.0, 25.0),
        Harvest(came, came, "ash-1", None, 300_000.0),
        Chill(came + 1000, came + 1000, "fridge", 120_000.0, 0.5, batch="ash-1"),
        Brood(
            time=now - 18 * DAY,
            logged=came + 2000,
            brood="killi-3",
            fish="a killifish of ours",
            larvae=80.0,
            ration=250.0,
            swim_up_days=14.0,
            wean_days=28.0,
        ),
    )
