"""What was foreseen of a batch is let go when it has ended for good: a log of years is held in memory."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core.log import Harvest, Undo, key_of
from monitor.core.model import HOUR, MINUTE
from tests.unit.core.test_undo import stocked

if TYPE_CHECKING:
    from tests.unit.core.worlds import Shed


def foreseen(shed: Shed, batch: str) -> list[object]:
    """What is held of what was foreseen of a batch."""
    held = shed.engine.state.batches[batch]
    return [one for one in (held.estimate, held.future, held.foreseen, *held.outlooks) if one is not None]


def test_an_ended_batch_holds_no_forecast_any_more() -> None:
    """An hour after the harvest its estimates and forecasts are gone, those of the batch beside it are not."""
    shed = stocked()
    shed.do(Harvest(shed.now, shed.now, "ash-1", 0.7))
    shed.wait(9 * MINUTE)
    assert foreseen(shed, "ash-1")
    shed.wait(HOUR)
    assert foreseen(shed, "ash-1") == []
    assert len(foreseen(shed, "birch-1")) >= 3


def test_a_harvest_that_is_undone_in_time_has_its_forecast() -> None:
    """As long as it can be undone nothing is let go, and what came back is not let go later."""
    shed = stocked()
    made = Harvest(shed.now, shed.now, "ash-1", 0.7)
    shed.do(made)
    shed.wait(9 * MINUTE)
    kind, subject, at = key_of(made)
    shed.do(Undo(shed.now, shed.now, kind, subject, at))
    shed.wait(2 * HOUR)
    assert len(foreseen(shed, "ash-1")) >= 3
