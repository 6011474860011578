"""Cold by level, by fall and by consequence: what is said, and that it is said once."""

from __future__ import annotations

import re
from math import cos, pi
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.log import Discard
from monitor.core.model import HOUR, MINUTE, Acknowledge, Alarm, AlarmState, Measures, Priority, SiteSpec, Transition
from tests.unit.core.worlds import T0, Shed, probe, slow_site

if TYPE_CHECKING:
    from collections.abc import Callable

SLIPS = re.compile(
    r"At this rate the hatch slips from (\w+ )?\d\d:\d\d to about (\w+ )?\d\d:\d\d "
    r"\(.+ to .+\), past the (\w+ )?\d\d:\d\d feed\."
)
EVERY_HOUR = tuple(range(0, 1440, 60))


def warm_shed(**how: Any) -> Shed:
    """Ash has been at 25 C for a day and has just been begun; a feed each hour unless told otherwise."""
    shed = Shed(slow_site(**({"feeding_times": EVERY_HOUR, "cold": 10.0, "fall": 50.0} | how)))
    shed.remember("ash-water", 24, lambda _: 25.0).remember("ash-air", 24, lambda _: 1)
    shed.run(MINUTE)
    shed.begin()
    shed.run(20 * MINUTE, every=5 * MINUTE)
    return shed


@pytest.mark.parametrize(
    ("limits", "cause"),
    [
        ({"cold": 24.8}, "is below its limit of 24.8 C"),
        ({"fall": 2.0}, "C within 60 min"),
        ({}, "colder than when ready was reckoned"),
    ],
    ids=["level", "fall", "consequence"],
)
def test_each_cause_carries_the_consequence(limits: dict[str, float], cause: str) -> None:
    """Whatever makes it ring, the text says from when to when the hatch slips, the range, and the feed it misses."""
    shed = warm_shed(**limits)
    shed.run(2 * HOUR, lambda hour: 25.0 - 4 * (hour - 0.35), every=5 * MINUTE)
    shed.run(2 * HOUR, 18.4, every=5 * MINUTE)
    told = shed.told("cold-snap")
    assert [t.alarm.state for t in told] == [AlarmState.UNACKNOWLEDGED]
    assert cause in told[0].alarm.text
    standing = shed.engine.alarms()[0]
    assert SLIPS.search(standing.text), standing.text
    assert standing.priority is Priority.MEDIUM
    assert standing.todo == "Move it to a warmer place or heat it; or take the meal from the reserve."


def test_consequence_alone_rings() -> None:
    """Water above its limit that never fell fast rings when a meal is missed by it, within minutes of that."""
    shed = warm_shed()
    shed.run(8 * HOUR, lambda hour: max(20.0, 25.0 - 0.9 * hour), every=5 * MINUTE)
    (told,) = shed.told()
    assert told.alarm.id == "cold-snap:ash"
    assert "limit" not in told.alarm.text
    assert "fell" not in told.alarm.text
    assert SLIPS.search(told.alarm.text), told.alarm.text


def test_acknowledged_cold_that_brings_nothing_new_stays_quiet() -> None:
    """Acknowledged, a cold night that goes on, a little up and down, is not told again; nor is its small deadband crossed."""
    shed = warm_shed(cold=18.0, fall=2.0)
    shed.run(2 * HOUR, lambda hour: 25.0 - 4 * (hour - 0.35), every=5 * MINUTE)
    shed.do(Acknowledge(shed.now, "cold-snap:ash", "the keeper"))
    shed.run(12 * HOUR, lambda hour: 18.1 + 0.3 * cos(2 * pi * hour), every=5 * MINUTE)
    assert len(shed.told("cold-snap")) == 1
    assert shed.state("cold-snap:ash") is AlarmState.ACKNOWLEDGED


# -- at dusk


def with_room(*feeds: int) -> SiteSpec:
    made = slow_site(feeding_times=feeds, cold=10.0, fall=2.0)
    room = probe("shed-air", Measures.ROOM, None, every=5 * MINUTE)
    return SiteSpec(made.id, made.timezone, made.feeding_times, {**made.probes, "shed-air": room}, made.vessels)


def swing(hour: float, middle: float, size: float) -> float:
    """Warmest at 16:00 local, coldest at 04:00; hours since T0, which is 08:00 local."""
    return middle + size * cos(2 * pi * (hour - 8) / 24)


def day_and_night(shed: Shed, length: int, room: Callable[[float], float], water: float, free_from: float) -> float:
    """Water follows its room with the time constant of a jug from ``free_from`` hours on, held until then; C at the end."""
    end = shed.now + length
    while shed.now < end:
        hour = (shed.now - T0) / HOUR
        if hour >= free_from:
            water += (room(hour) - water) * (5 / 60) / 3.0
        shed.say("shed-air", round(room(hour), 2))
        shed.say("ash-water", round(water, 2))
        shed.say("ash-air", True)
        shed.wait(5 * MINUTE)
    return water


def dusk(free_from: float) -> tuple[Shed, float]:
    """A heater holds 26 C through mild days and cold nights, and is off from ``free_from``; begun at 10:00, run until dusk."""

    def room(hour: float) -> float:
        return swing(hour, 16.0, 5.0)

    shed = Shed(with_room(7 * 60))
    shed.remember("shed-air", 96, room).remember("ash-water", 96, lambda _: 26.0).remember("ash-air", 96, lambda _: 1)
    day_and_night(shed, 2 * HOUR, room, 26.0, free_from)
    shed.begin()
    water = day_and_night(shed, 9 * HOUR, room, 26.0, free_from)
    return shed, water


def test_the_cold_nights_before_are_in_what_is_told_at_dusk() -> None:
    """A heater that fails in the afternoon: at dusk the slip is told, with the night that the nights before foretell in it."""
    shed, _ = dusk(free_from=7.5)
    (told,) = shed.told("cold-snap")
    assert told.time < T0 + 11 * HOUR  # 19:00
    assert SLIPS.search(told.alarm.text), told.alarm.text
    estimate = shed.engine.estimate("b1", shed.now)
    batch = shed.engine.state.batches["b1"]
    assert estimate.ready.mid is not None
    assert batch.expected is not None
    # At the temperature of dusk alone it would come sooner: the night is counted.
    assert estimate.ready.mid - batch.expected > 8 * HOUR


def test_a_night_that_was_reckoned_with_is_no_news() -> None:
    """Unheated water whose nights are as cold as those before makes nothing later than was told: nobody is called."""

    def room(hour: float) -> float:
        return swing(hour, 21.0, 4.0)

    def water(hour: float) -> float:
        return swing(hour - 2.5, 21.0, 3.1)

    shed = Shed(with_room(7 * 60, 13 * 60, 19 * 60))
    shed.remember("shed-air", 96, room).remember("ash-water", 96, water).remember("ash-air", 96, lambda _: 1)
    shed.begin()
    day_and_night(shed, 22 * HOUR, room, water(0.0), free_from=0.0)
    assert shed.told("cold-snap") == []


def test_a_colder_evening_rings_before_the_water_is_cold() -> None:
    """A front that cools the room at dusk is told by what it will do, while the water itself is neither low nor fast."""

    def room(hour: float) -> float:
        return swing(hour, 22.0, 2.0) - 1.7 * min(max(hour - 8, 0.0), 5.0)

    shed = Shed(with_room(*EVERY_HOUR))

    def before(hour: float) -> float:
        return swing(hour, 22.0, 2.0)

    shed.remember("shed-air", 96, before).remember("ash-water", 96, lambda h: before(h - 2.5)).remember(
        "ash-air", 96, lambda _: 1
    )
    shed.begin()
    day_and_night(shed, 13 * HOUR, room, before(-2.5), free_from=0.0)
    (told,) = shed.told("cold-snap")
    assert SLIPS.search(told.alarm.text), told.alarm.text
    assert "limit" not in told.alarm.text
    assert "fell" not in told.alarm.text


def test_what_was_foreseen_survives_a_restart() -> None:
    """Restarted before the cold comes, the monitor measures against what was foreseen before, and rings as it would have."""
    before = warm_shed()
    after = before.restarted()
    batches = [shed.engine.state.batches["b1"] for shed in (before, after)]
    assert batches[1].foreseen == batches[0].foreseen
    assert batches[0].foreseen is not None
    rung: list[list[Transition]] = []
    for shed in (before, after):
        shed.run(6 * HOUR, lambda hour: max(20.0, 25.0 - hour), every=5 * MINUTE)
        rung.append(shed.told("cold-snap"))
    texts = [[(t.time, t.alarm.title) for t in told] for told in rung]
    assert texts[0] == texts[1]
    assert len(texts[0]) == 1


def test_without_a_batch_the_cold_is_over_in_silence() -> None:
    """Thrown away, the batch takes its standing alarm along."""
    shed = warm_shed(cold=22.0)
    shed.run(30 * MINUTE, 20.0)
    before: list[Alarm] = shed.engine.alarms()
    assert [a.id for a in before] == ["cold-snap:ash"]
    shed.do(Discard(shed.now, shed.now, "b1"))
    shed.run(2 * HOUR, 15.0, every=5 * MINUTE)
    assert shed.engine.alarms() == []
    assert len(shed.told()) == 1
