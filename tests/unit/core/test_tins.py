"""A tin that hatches worse and worse: when it rings, what it says, and what ends it."""

from __future__ import annotations

from dataclasses import replace
from itertools import count
from typing import TYPE_CHECKING

import pytest

from monitor.core.log import Discard, Harvest, Start
from monitor.core.lots import Taught
from monitor.core.model import DAY, HOUR, MINUTE, Acknowledge, AlarmState, Learned, Ms, Priority, SiteSpec, Tick
from monitor.core.tins import alarm_id
from tests.unit.core.worlds import Shed, site

if TYPE_CHECKING:
    from collections.abc import Sequence

GOOD, BAD = 0.72, 0.30
ALARM = "tin-falling:tin"


class TinShed(Shed):
    """A shed in which batches of 26 h are told after the fact, one an hour: the probes' history is there already."""

    def __init__(self, where: SiteSpec | None = None) -> None:
        super().__init__(where or site("ash", "birch"))
        for vessel in self.site.vessels:
            self.remember(f"{vessel}-water", 30, lambda _: 26.0).remember(f"{vessel}-air", 30, lambda _: 1)
        self.run_both(MINUTE)
        self.numbers = count(1)

    def run_both(self, length: Ms) -> None:
        end = self.now + length
        while self.now < end:
            for vessel in self.site.vessels:
                self.say(f"{vessel}-water", 26.0)
                self.say(f"{vessel}-air", True)
            self.wait(min(5 * MINUTE, end - self.now))

    def sow(self, lot: str = "tin", vessel: str = "ash", hours_ago: float = 0.0) -> str:
        batch = f"b{next(self.numbers)}"
        begun = self.now - round(hours_ago * HOUR)
        self.do(Start(begun, self.now, batch, vessel, lot, 1.0, 1.0, 25.0))
        return batch

    def hatch(self, shares: Sequence[float], lot: str = "tin", vessel: str = "ash") -> None:
        """A batch for each share, begun 26 h ago, harvested with this share counted; an hour between them."""
        for share in shares:
            batch = self.sow(lot, vessel, hours_ago=26)
            self.do(Harvest(self.now, self.now, batch, share))
            self.run_both(HOUR)


def weak() -> TinShed:
    """A tin that has just rung: three good batches, then two bad ones."""
    shed = TinShed()
    shed.hatch([GOOD, GOOD, GOOD, BAD, BAD])
    assert len(shed.told(ALARM)) == 1
    return shed


def test_a_tin_that_falls_rings_once_with_its_numbers() -> None:
    """The batch that shows it rings at low priority, once, with the shares of the newest and of those before."""
    shed = TinShed()
    shed.hatch([GOOD, GOOD, GOOD])
    assert shed.told("tin-falling") == []
    shed.hatch([BAD, BAD, BAD])
    (told,) = shed.told("tin-falling")
    fall = replace(shed.engine.state.lots["tin"], taught=shed.engine.state.lots["tin"].taught[:4]).fall
    assert fall is not None
    assert told.alarm.priority is Priority.LOW
    before, newest = (round(100 * share) for share in fall)
    assert f"Tin tin hatches worse and worse: {newest} % after {before} % before" in told.alarm.text
    assert 60 <= before <= 80
    assert newest <= before - 12
    assert told.alarm.todo == "Sow more of it or open another; order one if it is the last."
    assert shed.state(ALARM) is AlarmState.UNACKNOWLEDGED


def test_a_steady_tin_is_quiet() -> None:
    """Shares that differ by a few per cent from batch to batch ring nothing."""
    shed = TinShed()
    shed.hatch([0.70, 0.74, 0.69, 0.72, 0.66])
    assert shed.told("tin-falling") == []
    assert shed.engine.state.lots["tin"].batches == 5


def test_a_tin_that_has_recovered_is_over() -> None:
    """When the newest batches hatch as before, the alarm returns, and nobody is told that."""
    shed = weak()
    shed.do(Acknowledge(shed.now, ALARM, "anna"))
    shed.hatch([GOOD, GOOD, GOOD, GOOD])
    assert shed.state(ALARM) is AlarmState.NORMAL
    assert len(shed.told(ALARM)) == 1


def test_another_tin_in_its_place_is_the_answer() -> None:
    """Starting another tin in its vessel ends the alarm as acknowledged; using the weak one again is no new alarm."""
    shed = weak()
    other = shed.sow("tin-8", "birch")
    assert shed.state(ALARM) is AlarmState.UNACKNOWLEDGED
    shed.do(Discard(shed.now, shed.now, other))
    other = shed.sow("tin-8", "ash")
    assert shed.state(ALARM) is AlarmState.NORMAL
    seen = [m.reason for m in shed.moves if m.alarm.id == ALARM and m.alarm.state is AlarmState.ACKNOWLEDGED]
    assert seen == ["acknowledged by the log: tin tin-8 took its place"]
    shed.do(Discard(shed.now, shed.now, other))
    shed.sow("tin", "ash")
    shed.wait(HOUR)
    assert len(shed.told(ALARM)) == 1


def test_sowing_more_of_it_does_not_end_it() -> None:
    """The weak tin started again stays weak until its batch has taught otherwise."""
    shed = weak()
    shed.sow("tin", "ash")
    shed.wait(2 * HOUR)
    assert shed.state(ALARM) is AlarmState.UNACKNOWLEDGED


def test_a_tin_left_aside_is_nobodys_trouble() -> None:
    """After thirty days without a start of it the alarm returns; each start counts them anew."""
    shed = weak()
    shed.do(Acknowledge(shed.now, ALARM, "anna"))
    shed.wait(2 * DAY)
    shed.do(Discard(shed.now, shed.now, shed.sow("tin")))
    for _ in range(30 * 24 - 1):  # timers look once an hour, which is enough for days
        shed.now += HOUR
        shed.do(Tick(shed.now))
    assert shed.state(ALARM) is AlarmState.ACKNOWLEDGED
    shed.wait(2 * HOUR)
    assert shed.state(ALARM) is AlarmState.NORMAL
    assert len(shed.told(ALARM)) == 1


def test_a_tin_that_is_bad_again_when_taken_up_again_rings_again() -> None:
    """A new batch of a tin that was replaced and is still weak is a new occasion."""
    shed = weak()
    shed.do(Discard(shed.now, shed.now, shed.sow("tin-8")))
    shed.run_both(HOUR)
    shed.hatch([BAD])
    assert len(shed.told(ALARM)) == 2


@pytest.mark.parametrize("acknowledged", [True, False])
def test_a_restart_neither_repeats_nor_ends_it(acknowledged: bool) -> None:
    """After a restart the alarm stands as it stood, is told to nobody, and ends by the same deed."""
    before = weak()
    if acknowledged:
        before.do(Acknowledge(before.now, ALARM, "anna"))
    after = before.restarted()
    after.run(20 * MINUTE)
    assert after.state(ALARM) is before.state(ALARM)
    assert after.told(ALARM) == []
    after.do(Start(after.now, after.now, "next", "ash", "tin-8", 1.0, 1.0, 25.0))
    assert after.state(ALARM) is AlarmState.NORMAL


def test_what_a_forgotten_tin_left_standing_ends() -> None:
    """Where what a tin has taught can't be taken back, its alarm does not stand for ever."""
    before = weak()
    del before.learned["lot/tin"]
    after = before.restarted()
    after.run(20 * MINUTE)
    assert after.state(ALARM) is AlarmState.NORMAL
    assert after.told(ALARM) == []


def test_a_harvest_does_not_acknowledge_a_tin_of_the_vessel_s_name() -> None:
    """A tin that is called like its vessel keeps its alarm when the vessel is harvested."""
    shed = TinShed()
    shed.hatch([GOOD, GOOD, GOOD, BAD, BAD, BAD], lot="ash")
    assert shed.state("tin-falling:ash") is AlarmState.UNACKNOWLEDGED


def test_any_name_makes_a_topic() -> None:
    """Names that a topic can't hold are told apart and hold none of its special characters."""
    names = ["tin 7", "tin+7", "tin#7", "a/b", "tin%2b7"]
    made = {alarm_id(name) for name in names}
    assert len(made) == len(names)
    assert not any(character in name for name in made for character in "+#/")


def test_learning_is_what_rings() -> None:
    """A batch that teaches nothing rings nothing, even of a tin whose newest shares have fallen."""
    shed = TinShed()
    shed.hatch([GOOD])
    lot = shed.engine.state.lots["tin"]
    fallen = tuple(Taught(f"x{k}", lot.taught[0].time, 20.0, share) for k, share in enumerate((0.7, 0.7, 0.4, 0.3)))
    shed.engine.state.lots["tin"] = replace(lot, taught=fallen)
    batch = shed.sow(hours_ago=3)
    effects = shed.do(Discard(shed.now, shed.now, batch))
    assert not any(isinstance(effect, Learned) and effect.key == "lot/tin" for effect in effects)
    assert shed.told("tin-falling") == []
