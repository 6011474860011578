"""Probes that talk and cannot be believed: nonsense, the same value for hours, the room's air taken for water."""

from __future__ import annotations

from dataclasses import replace
from math import cos, exp, pi
from typing import TYPE_CHECKING

from monitor.core.model import HOUR, MINUTE, SECOND, AlarmState, Measures, Priority
from monitor.core.rules_probes import DOUBT_ON_DELAY
from monitor.core.rules_thermal import SAME_FOR
from tests.unit.core.worlds import T0, Shed, probe, site, slow_site

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.model import Ms, SiteSpec, Transition

NONSENSE = 300.0
FIVE = 5 * MINUTE


def begun() -> Shed:
    """Ash was begun an hour ago and both probes talk."""
    shed = Shed(site(fall=50.0, feeding_times=()))
    shed.run(HOUR)
    shed.begin()
    shed.run(10 * MINUTE)
    assert shed.told() == []
    return shed


# -- nonsense


def test_a_probe_that_tells_only_nonsense_is_told_as_that_and_not_as_silent() -> None:
    """Three periods, a minute, and one period more; the text says what it said last, and good words end it."""
    shed = begun()
    last = shed.now - MINUTE
    shed.run(4 * MINUTE - 1, NONSENSE)
    assert shed.told() == []
    shed.run(2 * MINUTE, NONSENSE)
    (told,) = shed.told()
    assert told.alarm.id == "probe-suspect:ash-water"
    assert told.time - last == 5 * MINUTE
    assert told.alarm.priority is Priority.MEDIUM
    assert "nothing it says can be used since 09:09" in told.alarm.text
    assert "300" in told.alarm.text
    assert "plug and cable" in told.alarm.todo
    shed.run(3 * HOUR)
    assert [(t.alarm.id, t.alarm.over) for t in shed.told()[1:]] == [("probe-suspect:ash-water", True)]


def test_a_true_step_of_which_one_message_is_lost_is_no_nonsense() -> None:
    """Water poured in is a jump that is believed at the third message; one that is lost on the way makes no alarm."""
    shed = begun()
    shed.run(MINUTE, None)
    shed.run(20 * MINUTE, 8.0 + 5.0)
    assert shed.told("probe") == []
    assert shed.engine.state.probes["ash-water"].newest is not None
    assert shed.engine.state.vessels["ash"].water_c() == 13.0


def test_every_second_message_of_no_use_is_a_loose_plug_and_can_wait() -> None:
    """It still works by its good words, so it is of low priority, and only after a quarter of an hour."""
    shed = begun()
    begins = shed.now
    while shed.now < begins + 3 * HOUR and not shed.told("probe-suspect"):
        shed.say("ash-air", True)
        for water in (25.0, NONSENSE, NONSENSE):
            shed.say("ash-water", water)
            shed.wait(20 * SECOND)
    (told,) = shed.told()
    assert (told.alarm.id, told.alarm.priority) == ("probe-suspect:ash-water", Priority.LOW)
    assert told.time - begins >= DOUBT_ON_DELAY
    assert "% can't be used" in told.alarm.text


# -- the very same value for hours


def pair() -> Shed:
    """Ash with two thermometers in it and the room's."""
    where = slow_site(fall=50.0, feeding_times=())
    more = {
        "ash-two": probe("ash-two", Measures.WATER, "ash", every=FIVE),
        "shed-air": probe("shed-air", Measures.ROOM, None, every=FIVE),
    }
    return Shed(replace(where, probes={**where.probes, **more}))


def live(shed: Shed, length: Ms, every: Ms = FIVE, **says: Callable[[float], float]) -> list[Transition]:
    """All probes talk once a period, by hours since T0; gives what was told about probes meanwhile."""
    known, end = len(shed.told("probe")), shed.now + length
    while shed.now < end:
        hour = (shed.now - T0) / HOUR
        for name, value in says.items():
            shed.say(name.replace("_", "-"), round(value(hour), 2))
        shed.say("ash-air", True)
        shed.wait(every)
    return shed.told("probe")[known:]


def test_the_very_same_value_beside_a_probe_that_moves_is_stuck() -> None:
    """Of two in the same water one moves by degrees and the other by nothing at all: it is told, once, with both names."""
    shed = pair()
    shed.begin()
    told = live(
        shed,
        12 * HOUR,
        ash_water=lambda _: 25.0,
        ash_two=lambda hour: 25.0 + 2.0 * cos(2 * pi * hour / 12),
        shed_air=lambda hour: 21.0 + cos(2 * pi * hour / 24),
    )
    (stuck,) = told
    assert stuck.alarm.id == "probe-stuck:ash-water"
    assert stuck.time - T0 >= SAME_FOR
    assert "ash-two moved by" in stuck.alarm.text
    assert "Warm the probe in your hand" in stuck.alarm.todo
    (over,) = live(shed, HOUR, ash_water=lambda hour: 25.0 + hour / 20, ash_two=lambda _: 25.4, shed_air=lambda _: 21.0)
    assert (over.alarm.id, over.alarm.over) == ("probe-stuck:ash-water", True)


def test_a_truly_steady_vessel_does_not_alarm() -> None:
    """A good heater and a coarse probe: the same 26.0 C for a day and a half, in a room that swings, is no alarm."""
    shed = pair()
    shed.begin()
    told = live(
        shed,
        36 * HOUR,
        ash_water=lambda _: 26.0,
        ash_two=lambda _: 26.0,
        shed_air=lambda hour: 19.0 + 4.0 * cos(2 * pi * hour / 24),
    )
    assert told == []


def test_water_must_have_followed_a_room_that_got_hot() -> None:
    """No heater cools: a value that stays at 20 C while the room is at 30 C for hours can't be true."""
    shed = Shed(with_room())
    shed.begin()
    told = live(shed, 14 * HOUR, ash_water=lambda _: 20.0, shed_air=lambda hour: 20.0 if hour < 4 else 30.0)
    assert "probe-stuck:ash-water" in [move.alarm.id for move in told]
    stuck = next(move for move in told if move.alarm.rule == "probe-stuck")
    assert "The room got warmer: the water must have risen by" in stuck.alarm.text


# -- out of the water


def with_room(every: Ms = FIVE) -> SiteSpec:
    where = site(fall=50.0, feeding_times=())
    where.probes["shed-air"] = probe("shed-air", Measures.ROOM, None)
    return replace(where, probes={name: replace(one, every=every) for name, one in where.probes.items()})


def test_a_probe_that_is_at_the_room_within_minutes_is_out_of_the_water() -> None:
    """From 26 C to the 17 C of the room in ten minutes, and up and down with it since: it hangs in the air."""
    shed = Shed(with_room(MINUTE))
    shed.begin()

    def room(hour: float) -> float:
        return 17.0 + 0.5 * cos(2 * pi * hour / 3)

    assert live(shed, 4 * HOUR, MINUTE, ash_water=lambda _: 26.0, shed_air=room) == []
    told = live(shed, 4 * HOUR, MINUTE, ash_water=lambda hour: room(hour) + 0.1, shed_air=room)
    out = [move for move in told if move.alarm.rule == "probe-out"]
    assert [(move.alarm.id, move.alarm.priority) for move in out] == [("probe-out:ash-water", Priority.MEDIUM)]
    assert "faster than water can" in out[0].alarm.text
    assert "below the surface" in out[0].alarm.todo
    assert out[0].time - T0 < 6.5 * HOUR
    back = live(shed, 2 * HOUR, MINUTE, ash_water=lambda _: 25.5, shed_air=room)
    assert [(move.alarm.id, move.alarm.over) for move in back if move.alarm.rule == "probe-out"] == [
        ("probe-out:ash-water", True)
    ]


def test_water_that_really_cools_to_the_room_is_not_out_of_it() -> None:
    """A heater that fails: a litre comes to the room with its own time constant of two hours, and stays there."""
    shed = Shed(with_room())
    shed.begin()
    live(shed, 4 * HOUR, ash_water=lambda _: 26.0, shed_air=lambda _: 17.0)
    told = live(
        shed,
        14 * HOUR,
        ash_water=lambda hour: 17.0 + 9.0 * exp(-(hour - 4) / 1.9),
        shed_air=lambda _: 17.0,
    )
    assert [move.alarm.id for move in told if move.alarm.rule == "probe-out"] == []
    assert shed.state("probe-out:ash-water") is AlarmState.NORMAL
