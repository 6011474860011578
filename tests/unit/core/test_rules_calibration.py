"""A calibration that is too old is told once, low, and ends without a word when a newer one is configured."""

from __future__ import annotations

from dataclasses import replace

from monitor.core.model import DAY, HOUR, AlarmState, Priority
from monitor.core.rules import can_ring
from tests.unit.core.worlds import T0, Shed, site

DUE = "calibration-due:ash-water"


def shed(due: int | None) -> Shed:
    where = site(feeding_times=())
    water = replace(where.probes["ash-water"], calibrate_by=due)
    return Shed(replace(where, probes={**where.probes, "ash-water": water}))


def test_it_rings_once_when_its_time_is_over() -> None:
    """Not a day before; then low, with what to do, and nothing more in the months after."""
    one = shed(T0 + 2 * HOUR)
    one.run(HOUR)
    assert one.told("calibration") == []
    one.run(2 * HOUR)
    (told,) = one.told("calibration")
    assert (told.alarm.id, told.alarm.priority) == (DUE, Priority.LOW)
    assert told.alarm.since == T0 + 2 * HOUR
    assert "ice water" in told.alarm.todo
    one.wait(20 * DAY)
    one.run(HOUR)
    assert len(one.told("calibration")) == 1
    assert one.state(DUE) is AlarmState.UNACKNOWLEDGED


def test_a_probe_without_one_has_no_such_alarm() -> None:
    """Nobody is reminded of what was never done, and it cannot be put off either."""
    one = shed(None)
    one.wait(20 * DAY)
    one.run(HOUR)
    assert one.told("calibration") == []
    assert DUE not in can_ring(one.engine.state)
    assert DUE in can_ring(shed(T0).engine.state)


def test_a_newer_calibration_ends_it_without_a_word() -> None:
    """After the restart with the new day the alarm is gone, and nobody is told."""
    one = shed(T0)
    one.run(HOUR)
    assert one.state(DUE) is AlarmState.UNACKNOWLEDGED
    probe = one.engine.state.probes["ash-water"]
    probe.spec = replace(probe.spec, calibrate_by=T0 + 365 * DAY)
    one.run(HOUR)
    assert one.state(DUE) is AlarmState.RETURNED
    assert len(one.told("calibration")) == 1
