"""The system clock is set while the shed is watched: forth, back, or from 1970 at boot."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.bench import bench
from monitor.core.log import Settle
from monitor.core.model import DAY, HOUR, MINUTE, SECOND, SLOT, AirRule, AlarmState, ClockUnset, Measures, Ms
from tests.unit.core.worlds import T0, Shed, probe, site

JUMPS = [-HOUR, HOUR, -3 * DAY, 2 * DAY]
ANY_JUMP = st.integers(-2 * DAY, 2 * DAY) | st.sampled_from([-HOUR, HOUR, -MINUTE, 31 * DAY])


def begun_shed() -> Shed:
    shed = Shed()
    shed.begin()
    shed.run(10 * MINUTE)
    return shed


@given(st.lists(st.tuples(st.integers(0, 3 * HOUR), ANY_JUMP), min_size=1, max_size=6), st.booleans())
@settings(max_examples=40, deadline=None)
def test_a_clock_that_is_set_makes_nothing_fresh(moves: list[tuple[Ms, Ms]], own: bool) -> None:
    """However the clock is set, forth and back, a stale value never looks fresh again, and no age shrinks."""
    shed = Shed()
    shed.say("ash-water", 25.0, own=shed.now if own else None)
    water = shed.engine.state.probes["ash-water"]
    age = 0
    for wait, jump in moves:
        fresh = water.fresh(shed.now)
        shed.now += wait
        shed.jump(jump)
        assert fresh or not water.fresh(shed.now)
        now_old = water.age(shed.now)
        assert now_old is not None
        assert now_old >= age + wait
        age = now_old
        shown = bench(shed.engine, {}, shed.now)["vessels"][0]["water"]
        assert shown["fresh"] is water.fresh(shed.now)


@pytest.mark.parametrize("jump", JUMPS)
def test_the_next_reading_is_the_newest_again(jump: Ms) -> None:
    """Whatever the clock was set to, what a probe tells next is its newest value, and fresh."""
    shed = begun_shed()
    shed.jump(jump)
    shed.say("ash-water", 23.5)
    water = shed.engine.state.probes["ash-water"]
    assert water.newest is not None
    assert (water.newest.value, water.fresh(shed.now)) == (23.5, True)


@pytest.mark.parametrize("jump", JUMPS)
def test_an_on_delay_runs_on(jump: Ms) -> None:
    """A clock that is set half a minute after the air stopped neither hurries its alarm nor holds it up."""
    shed = begun_shed()
    shed.say("ash-air", False)
    shed.wait(30 * SECOND)
    shed.jump(jump)
    shed.wait(30 * SECOND - 1)
    assert shed.told("air-stopped") == []
    shed.wait(1)
    assert len(shed.told("air-stopped")) == 1


@pytest.mark.parametrize("jump", JUMPS)
def test_an_off_delay_runs_on(jump: Ms) -> None:
    """A clock that is set while an alarm is clearing does not change when it is over."""
    shed = begun_shed()
    shed.run(2 * MINUTE, air=False)
    shed.say("ash-air", True)
    shed.wait(20 * SECOND)
    shed.jump(jump)
    shed.wait(10 * SECOND - 1)
    assert shed.state("air-stopped:ash") is AlarmState.UNACKNOWLEDGED
    shed.wait(1)
    assert shed.state("air-stopped:ash") is AlarmState.RETURNED


@pytest.mark.parametrize("jump", JUMPS)
def test_settling_lasts_as_long_as_was_said(jump: Ms) -> None:
    """A quarter of an hour of settling is one, whatever the clock says."""
    shed = begun_shed()
    shed.do(Settle(shed.now, shed.now, "ash", shed.now + 15 * MINUTE))
    shed.run(5 * MINUTE, air=False)
    shed.jump(jump)
    shed.run(10 * MINUTE - 1, air=False)
    assert shed.told("air-stopped") == []
    shed.run(2, air=False)
    assert len(shed.told("air-stopped")) == 1


@pytest.mark.parametrize("jump", JUMPS)
def test_the_minutes_without_air_go_on(jump: Ms) -> None:
    """How long the air has been off does not depend on the clock that is set meanwhile."""
    shed = begun_shed()
    shed.run(20 * MINUTE, air=False)
    air = shed.engine.state.probes["ash-air"]
    assert air.air_since is not None
    assert air.air_seen is not None
    before = shed.now - air.air_since, shed.now - air.air_seen
    shed.jump(jump)
    assert (shed.now - air.air_since, shed.now - air.air_seen) == before


@pytest.mark.parametrize("jump", JUMPS)
def test_silence_is_counted_anew(jump: Ms) -> None:
    """A clock that is set makes no probe silent at once, and a silent one is not back because of it."""
    shed = begun_shed()
    shed.run(10 * MINUTE, water=None)
    assert len(shed.told("probe-silent")) == 1
    shed.jump(jump)
    shed.wait(4 * MINUTE - 1)
    assert len(shed.told("probe-silent")) == 1
    shed.wait(1)
    silent = ["probe-silent:ash-water", "no-news:ash" if jump == 2 * DAY else "probe-silent:ash-air"]  # hatched by then
    assert [t.alarm.id for t in shed.told() if t.alarm.id in silent] == silent


@pytest.mark.parametrize("jump", JUMPS)
def test_pulses_go_on(jump: Ms) -> None:
    """After the clock was set a pulse counter needs one count to begin from, and tells from the second on."""
    where = site()
    where.probes["ash-air"] = probe("ash-air", Measures.AIR, air=AirRule("pulses", 60.0, 20.0))
    shed = Shed(where)
    for k in range(3):
        shed.say("ash-air", 100.0 * k)
        shed.now += MINUTE
    shed.jump(jump)
    told = []
    for k in range(3, 6):
        told.append(shed.say("ash-air", 100.0 * k).state)
        shed.now += MINUTE
    assert told[1:] == [1, 1]


def test_from_1970_at_boot() -> None:
    """A machine that begins in 1970 shows nothing from the store as fresh, alarms, and goes on when its clock is set."""
    before = begun_shed()
    before.now = 40 * SECOND
    shed = before.restarted()
    assert not shed.engine.state.probes["ash-water"].fresh(shed.now)
    shed.run(5 * MINUTE, 24.0)
    water = shed.engine.state.probes["ash-water"]
    assert water.newest is not None
    assert (water.newest.value, water.fresh(shed.now)) == (24.0, True)
    shed.run(2 * MINUTE, 24.0, air=False)
    assert [t.alarm.id for t in shed.told()] == ["air-stopped:ash"]
    shed.jump(T0 + HOUR - shed.now)
    shed.run(5 * MINUTE, 24.0)
    assert [t.alarm.state for t in shed.told()] == [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED]
    assert shed.engine.estimate("b1", shed.now).ready.mid is not None


def test_history_survives_a_clock_that_was_far_ahead() -> None:
    """After some minutes with a clock a month ahead the history of the vessel goes on as if they had not been."""
    shed = Shed()
    shed.begin()
    shed.run(HOUR, 25.0)
    shed.jump(30 * DAY)
    shed.run(20 * MINUTE, 25.0)
    shed.jump(-30 * DAY)
    shed.run(6 * HOUR, 25.0, every=2 * MINUTE)
    straight = Shed()
    straight.begin()
    straight.run(7 * HOUR + 20 * MINUTE, 25.0, every=2 * MINUTE)
    for told in (shed, shed.restarted()):
        mid = told.engine.estimate("b1", shed.now).ready.mid
        expected = straight.engine.estimate("b1", straight.now).ready.mid
        assert mid is not None
        assert expected is not None
        assert abs(mid - expected) < 40 * MINUTE  # twenty minutes are missing


@pytest.mark.parametrize("jump", [-3 * DAY, 3 * HOUR, 20_000 * DAY])
def test_what_is_read_before_the_clock_is_set_enters_the_history_with_its_right_time(jump: Ms) -> None:
    """Meanwhile it is shown and decided on, but mixes with nothing of another day; afterwards it is as old as it is."""
    shed = Shed()
    shed.say("ash-water", 25.0)
    shed.now += 10 * MINUTE
    series = shed.engine.state.vessels["ash"].water
    now_slot = shed.now // SLOT
    assert series.cell(now_slot) == (0, 0)
    shed.do(ClockUnset(shed.now, unset=True))
    early = [shed.say("ash-water", 24.0 + n / 10) for n in range(3)]
    assert bench(shed.engine, {}, shed.now)["vessels"][0]["water"]["value"] == 24.2
    assert bench(shed.engine, {}, shed.now)["clock_set"] is False
    assert series.cell(now_slot) == (0, 0)
    shed.now += 30 * SECOND
    shed.jump(jump)
    shed.do(ClockUnset(shed.now, unset=False))
    for reading in early:
        shed.engine.place(replace(reading, time=reading.time + jump))
    water = shed.engine.state.probes["ash-water"]
    assert (water.age(shed.now), water.fresh(shed.now)) == (30 * SECOND, True)
    assert series.cell((shed.now - 30 * SECOND) // SLOT) == (3, 72_300)


def test_a_probe_with_a_clock_of_its_own_is_placed_at_once() -> None:
    """Its time is right whatever ours says."""
    shed = Shed()
    shed.do(ClockUnset(shed.now, unset=True))
    shed.say("ash-water", 24.0, own=shed.now - MINUTE)
    assert shed.engine.state.vessels["ash"].water.cell((shed.now - MINUTE) // SLOT) == (1, 24_000)
