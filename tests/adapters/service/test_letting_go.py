"""A log of years: what is long over is not held, and can be spoken of all the same."""

from __future__ import annotations

import asyncio
import threading
from typing import TYPE_CHECKING

import pytest

from monitor.core.log import Harvest, Start, key_of
from monitor.core.log_food import Correct
from monitor.core.model import DAY, HOUR, SECOND, Refused
from monitor.intake.link import Link
from monitor.service.clock import SystemClock
from monitor.service.supervisor import Supervisor
from monitor.service.wiring import Wiring
from monitor.store import Store
from tests.system.daemon import until
from tests.unit.core.worlds import site

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

AGO = range(200, 0, -1)  # days


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[Supervisor]:
    """A service that has run for 200 days, with a batch every day."""
    path, clock = tmp_path / "shed.sqlite3", SystemClock()
    now = clock.now()
    with Store.open(path) as store:
        for days in AGO:
            begun = now - days * DAY
            store.log(Start(begun, begun, f"ash-{days}", "ash", "tin-7", 1.0, 1.0, 25.0))
            store.log(Harvest(begun + 20 * HOUR, begun + 20 * HOUR, f"ash-{days}", 0.6))
        store.commit()
    nobody = Link("127.0.0.1", 9, "swimup-shed")  # no broker is needed
    service = Supervisor(Wiring(site(), [], nobody, [], str(path), SECOND, clock))
    thread = threading.Thread(target=service.run, daemon=True)
    thread.start()
    try:
        until(lambda: bool(service.desk.bench()), "it has not begun")
        yield service
    finally:
        service.stop()
        thread.join(20)


def test_an_entry_of_last_year_is_put_right(shed: Supervisor) -> None:
    """Only the newest sixty days are held; a correction of an older entry is taken and kept, and an old name stays taken."""
    state = shed._engine.state
    assert 60 <= len(state.batches) <= 62  # by whole days
    assert sum(grams for _, grams in state.sown["tin-7"]) == len(AGO)
    old = shed.desk.record.entries()[0].entry
    now = SystemClock().now()
    correct = Correct(now, now, *key_of(old), {"cysts_g": 7.0})
    asyncio.run(shed.desk.do(correct))
    assert shed.desk.record.entries()[-1].entry == correct
    assert sum(grams for _, grams in shed._engine.state.sown["tin-7"]) == len(AGO) + 6
    with pytest.raises(Refused, match="already a batch ash-150"):
        asyncio.run(shed.desk.do(Start(now, now, "ash-150", "ash", "tin-7", 1.0, 1.0, 25.0)))
