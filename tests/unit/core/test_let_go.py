"""What was foreseen of a batch is let go when it has ended for good: a log of years is held in memory."""

from __future__ import annotations

from monitor.core.log import Harvest, Undo, key_of
from monitor.core.model import HOUR, MINUTE
from tests.unit.core.test_undo import stocked


def test_an_ended_batch_holds_no_forecast_any_more() -> None:
    """An hour after the harvest its estimates and forecasts are gone, those of the batch beside it are not."""
    shed = stocked()
    shed.do(Harvest(shed.now, shed.now, "ash-1", 0.7))
    ash, birch = (shed.engine.state.batches[name] for name in ("ash-1", "birch-1"))
    shed.wait(9 * MINUTE)
    assert ash.future is not None
    shed.wait(HOUR)
    assert ash.estimate is None
    assert ash.future is None
    assert ash.foreseen is None
    assert ash.outlooks == []
    assert birch.future is not None
    assert birch.outlooks != []


def test_a_harvest_that_is_undone_in_time_has_its_forecast() -> None:
    """As long as it can be undone nothing is let go, and what came back is not let go later."""
    shed = stocked()
    made = Harvest(shed.now, shed.now, "ash-1", 0.7)
    shed.do(made)
    shed.wait(9 * MINUTE)
    kind, subject, at = key_of(made)
    shed.do(Undo(shed.now, shed.now, kind, subject, at))
    shed.wait(2 * HOUR)
    assert shed.engine.state.batches["ash-1"].future is not None
