"""Too hot: whether it can be undone, how fast it goes to where it can't, and how urgent that is."""

from __future__ import annotations

import re

import pytest

from monitor.core.log import Discard
from monitor.core.model import HOUR, MINUTE, Acknowledge, AlarmState, Priority
from tests.unit.core.worlds import T0, Shed, slow_site

AT = re.compile(
    r"It rises by (\d+\.\d) C an hour: at this rate 33 C at about (\d\d):(\d\d) and 40 C at about (\d\d):(\d\d)\."
)


def hot_shed(hours_ago: float = 1.0, celsius: float = 28.0) -> Shed:
    """Ash was begun so long ago; its probes tell every five minutes."""
    shed = Shed(slow_site())
    shed.remember("ash-water", 40, lambda _: celsius).remember("ash-air", 40, lambda _: 1)
    shed.run(5 * MINUTE, celsius, every=5 * MINUTE)
    shed.begin(hours_ago=hours_ago)
    shed.run(5 * MINUTE, celsius, every=5 * MINUTE)
    return shed


def heat(shed: Shed, length: int, per_hour: float, begin: float) -> None:
    """The water rises by so much an hour from ``begin`` C on."""
    origin = (shed.now - T0) / HOUR
    shed.run(length, lambda hour: begin + per_hour * (hour - origin), every=5 * MINUTE)


def local(hour: float) -> float:
    """Minutes after midnight, local, of hours since T0 (08:00)."""
    return (8 + hour) * 60


def test_slow_heat_before_the_hatch_is_no_emergency_and_can_be_undone() -> None:
    """A little too warm and steady: medium, nothing is lost, no deadline, and where the limits are."""
    shed = hot_shed()
    shed.run(20 * MINUTE, 32.4, every=5 * MINUTE)
    (told,) = shed.told("too-hot")
    assert told.alarm.priority is Priority.MEDIUM
    assert told.alarm.deadline is None
    assert "Nothing is lost yet; above about 33 C development stops, above 40 C cysts die" in told.alarm.text


def test_a_rise_is_told_with_when_it_reaches_the_limits() -> None:
    """While it heats up, the text says how fast and when, at this rate, it is at 33 and at 40 C: as a straight line has it."""
    shed = hot_shed()
    heat(shed, 3 * HOUR, 1.5, 28.5)
    (told,) = shed.told("too-hot")
    assert told.alarm.priority is Priority.MEDIUM
    found = AT.search(told.alarm.text)
    assert found is not None, told.alarm.text
    rise, hour33, minute33, hour40, minute40 = (float(part) for part in found.groups())
    assert rise == pytest.approx(1.5, abs=0.1)
    began = 10 / 60  # 28.5 C
    assert 60 * hour33 + minute33 == pytest.approx(local(began + 4.5 / 1.5), abs=8)
    assert 60 * hour40 + minute40 == pytest.approx(local(began + 11.5 / 1.5), abs=20)


def test_a_rise_that_soon_kills_is_urgent_with_its_deadline() -> None:
    """Less than two hours from 40 C it is high though below 33 C, and the deadline is when it gets there."""
    shed = hot_shed()
    heat(shed, 70 * MINUTE, 5.0, 28.0)
    (told,) = shed.told("too-hot")
    assert told.alarm.priority is Priority.HIGH
    assert told.alarm.deadline is not None
    dies = T0 + 10 * MINUTE + round(12 / 5.0 * HOUR)
    assert abs(told.alarm.deadline - dies) < 10 * MINUTE


def test_between_33_and_40_it_is_in_doubt() -> None:
    """Development stops above about 33 C (FAO T428 annex 4, restated): urgent, goes on when cooled soon, in doubt later."""
    shed = hot_shed()
    shed.run(20 * MINUTE, 34.0, every=5 * MINUTE)
    (told,) = shed.told("too-hot")
    assert told.alarm.priority is Priority.HIGH
    assert "Development has about stopped. Cooled soon it most likely goes on, after hours in doubt" in told.alarm.text


def test_above_40_the_minutes_are_counted_and_then_it_is_lost() -> None:
    """Above 40 C cysts die (FAO T428 annex 4, restated): it counts down half an hour, then says lost and is urgent no more."""
    shed = hot_shed(hours_ago=4.0)
    shed.run(15 * MINUTE, 41.0, every=5 * MINUTE)
    (first,) = shed.told("too-hot")
    left = re.search(r"Cysts die above 40 C: in about (\d+) min the batch is lost", first.alarm.text)
    assert left is not None, first.alarm.text
    assert 10 <= int(left[1]) <= 25
    shed.run(40 * MINUTE, 41.0, every=5 * MINUTE)
    (standing,) = (a for a in shed.engine.alarms() if a.rule == "too-hot")
    assert "It was above 40 C for over 30 min: the batch is most likely dead." in standing.text
    assert standing.todo.endswith("after a look at what heated it.")
    pushes = len([move for move in shed.moves if move.notify])
    shed.run(HOUR, 41.0, every=5 * MINUTE)
    assert len([move for move in shed.moves if move.notify]) == pushes


def test_animals_that_swim_make_it_urgent_sooner() -> None:
    """After the hatch the point is 36 C (an assumption), not 40: it is urgent from 32 C on, and says when it gets there."""
    shed = hot_shed(hours_ago=22.0)
    heat(shed, 3 * HOUR, 1.5, 28.5)
    (told,) = shed.told("too-hot")
    assert told.alarm.priority is Priority.HIGH
    assert "Nauplii bear it for now; above about 36 C they die." in told.alarm.text
    assert re.search(r"at this rate 36 C at about 13:\d\d\.", told.alarm.text), told.alarm.text
    assert told.alarm.deadline == pytest.approx(T0 + 10 * MINUTE + 5 * HOUR, abs=12 * MINUTE)


def test_acknowledged_heat_that_goes_on_rising_comes_back() -> None:
    """Acknowledged, and still rising at half of the time that was left, it is told again."""
    shed = hot_shed(hours_ago=22.0)
    heat(shed, 3 * HOUR, 1.5, 28.5)
    begin = shed.engine.state.vessels["ash"].water_c() or 0.0
    shed.do(Acknowledge(shed.now, "too-hot:ash"))
    heat(shed, HOUR, 1.5, begin)
    again = [move for move in shed.moves if move.notify and move.reason.startswith("acknowledged ")]
    assert [move.alarm.id for move in again] == ["too-hot:ash"]


def test_water_that_cools_foretells_nothing() -> None:
    """Above the limit but falling, no time is told and no deadline set, and it ends as soon as it is cool."""
    shed = hot_shed()
    shed.run(15 * MINUTE, 32.9, every=5 * MINUTE)
    heat(shed, 20 * MINUTE, -1.0, 32.8)
    (standing,) = (a for a in shed.engine.alarms() if a.rule == "too-hot")
    assert "at this rate" not in standing.text
    shed.run(30 * MINUTE, 30.0, every=5 * MINUTE)
    assert [t.alarm.state for t in shed.told("too-hot")] == [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED]


def test_without_a_batch_heat_is_nobodys_business() -> None:
    """Thrown away, the batch takes its alarm along, however hot the water goes on to be."""
    shed = hot_shed()
    shed.run(20 * MINUTE, 34.0, every=5 * MINUTE)
    shed.do(Discard(shed.now, shed.now, "b1"))
    told = len(shed.told())
    shed.run(3 * HOUR, 39.0, every=5 * MINUTE)
    assert shed.engine.alarms() == []
    assert len(shed.told()) == told == 1


def test_a_restart_keeps_heat_and_deadline() -> None:
    """Restarted while it rises, the alarm stands with the same deadline and is not told again as new."""
    shed = hot_shed()
    heat(shed, 80 * MINUTE, 5.0, 28.0)
    after = shed.restarted()
    begin = shed.engine.state.vessels["ash"].water_c() or 0.0
    for one in (shed, after):
        heat(one, 5 * MINUTE, 5.0, begin + 5 / 12)
    assert after.told("too-hot") == []
    deadlines = [next(a.deadline for a in one.engine.alarms() if a.rule == "too-hot") for one in (shed, after)]
    assert deadlines[0] == deadlines[1]
