"""The state comes back from what the store has kept: nothing is lost, told twice or made younger."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.engine import RULES_EVERY
from monitor.core.log import Harvest, Seen, Settle, Sight, Start
from monitor.core.model import HOUR, MINUTE, SECOND, SLOT, Acknowledge, AlarmState, BrokerLink, Ms
from tests.unit.core.worlds import T0, Shed, alike, probe, site

if TYPE_CHECKING:
    from monitor.core.model import Alarm, Event

    AlarmFacts = tuple[str, AlarmState, str, Ms]


def facts(alarm: Alarm) -> AlarmFacts:
    return alarm.id, alarm.state, alarm.priority.value, alarm.since


def a_night(shed: Shed, cut: Ms) -> None:
    """Ten eventful hours of ash and birch up to ``cut`` after T0; the same events up to there whatever ``cut`` is."""

    def step(minute: int) -> None:
        now = shed.now
        events: dict[int, Event] = {
            0: Start(now, now, "b1", "ash", "tin-7", 1.0, 1.0, 25.0),
            30: Start(now - 25 * HOUR, now, "b2", "birch", "new", 2.0, 1.0, 25.0),
            60: Settle(now, now, "birch", now + 15 * MINUTE),
            200: Acknowledge(now, "air-stopped:birch"),
            260: Seen(now - 20 * MINUTE, now, "b1", Sight.NONE),
            300: Harvest(now, now, "b2", 0.6),
        }
        if minute in events:
            shed.do(events[minute])
        if minute % 5 == 0:
            cold = 25 - max(0, minute - 320) / 20
            shed.say("ash-water", round(cold, 2), own=now - 7 * SECOND)
            shed.say("ash-air", True)
            if not 380 < minute < 500:
                shed.say("birch-water", 27.5)
            shed.say("birch-air", not (60 <= minute < 90 or 150 <= minute < 240))

    shed.remember("ash-water", 6, lambda _: 25.0).remember("birch-water", 30, lambda _: 27.5)
    shed.remember("birch-air", 30, lambda _: 1).remember("ash-air", 6, lambda _: 1)
    for minute in range(600):
        if shed.now > T0 + cut:
            break
        step(minute)
        shed.wait(min(MINUTE, T0 + cut - shed.now))
        if shed.now >= T0 + cut:
            break


def two_vessels() -> Shed:
    where = site("ash", "birch", cold=18.0)
    return Shed(
        replace(where, probes={n: probe(n, p.measures, p.vessel, every=5 * MINUTE) for n, p in where.probes.items()})
    )


@given(st.integers(MINUTE, 599 * MINUTE))
@settings(max_examples=25, deadline=None)
def test_estimates_and_alarms_come_back(cut: Ms) -> None:
    """Stopped at any moment of a night, the monitor comes back with the same estimates and the same alarms."""
    before = two_vessels()
    a_night(before, cut)
    after = before.restarted()
    assert after.engine.open_batches() == before.engine.open_batches()
    for batch in before.engine.open_batches():
        assert alike(before.engine.estimate(batch, before.now), after.engine.estimate(batch, before.now))
    assert [facts(a) for a in after.engine.alarms()] == [facts(a) for a in before.engine.alarms()]
    for name, known in before.engine.state.probes.items():
        back = after.engine.state.probes[name]
        assert back.fresh(after.now) == known.fresh(before.now)
        assert back.air_state == known.air_state
        assert (back.air_seen or 0) <= (known.air_seen or 0)


@given(st.integers(MINUTE, 590 * MINUTE))
@settings(max_examples=15, deadline=None)
def test_a_restart_tells_nobody_anything(cut: Ms) -> None:
    """The first minutes after a restart tell no more than they would have without it."""
    before = two_vessels()
    a_night(before, cut)
    after = before.restarted()
    soon, later = [], []
    for shed in (before, after):
        known = len(shed.moves)
        soon.append(moved(shed, known, 3 * SECOND))
        # A restart looks at everything at once; without it that comes with the next look, within ten minutes.
        later.append(moved(shed, known, RULES_EVERY))
    assert [move for move in soon[1] if move not in later[0]] == []
    assert [move for move in soon[0] if move not in later[1]] == []


def moved(shed: Shed, known: int, wait: Ms) -> list[tuple[str, AlarmState, AlarmState, bool]]:
    """What every alarm did since there were ``known`` moves, after waiting."""
    shed.wait(wait)
    return [(m.alarm.id, m.before, m.alarm.state, m.notify) for m in shed.moves[known:]]


def stopped_shed() -> Shed:
    shed = Shed()
    shed.begin()
    shed.run(23 * MINUTE)
    shed.run(40 * MINUTE, air=False)
    return shed


def test_a_standing_alarm_goes_on() -> None:
    """A standing alarm is neither told again nor over after a restart, can be acknowledged, and ends in its time."""
    shed = stopped_shed().restarted()
    shed.run(5 * MINUTE, air=False)
    assert shed.moves == []
    shed.do(Acknowledge(shed.now, "air-stopped:ash", "the keeper"))
    shed.run(5 * MINUTE)
    assert [(m.alarm.state, m.notify) for m in shed.moves] == [
        (AlarmState.ACKNOWLEDGED, False),
        (AlarmState.NORMAL, True),
    ]


@pytest.mark.parametrize("silent", [0, 3])
def test_since_when_the_air_is_off_comes_back_to_the_minute(silent: int) -> None:
    """The minutes without air count from the same moment before and after a restart, and never from a later one."""
    before = stopped_shed()
    before.wait(silent * HOUR)
    after = before.restarted()
    was, now = (shed.engine.state.probes["ash-air"] for shed in (before, after))
    assert now.air_state == was.air_state == 0
    assert now.air_since == was.air_since == T0 + 23 * MINUTE
    assert was.air_seen is not None
    assert now.air_seen is not None
    assert was.air_seen - 5 * MINUTE <= now.air_seen <= was.air_seen


def test_air_that_stopped_at_the_last_word_is_not_running_after_a_restart() -> None:
    """A probe that told of the stop and then nothing, with the pump on the same plug, is not taken for running later."""
    shed = Shed()
    shed.begin()
    shed.run(24 * MINUTE)
    shed.say("ash-air", False)
    shed.wait(5 * HOUR)
    assert shed.state("air-stopped:ash") is AlarmState.UNACKNOWLEDGED
    after = shed.restarted()
    after.wait(MINUTE)
    assert after.state("air-stopped:ash") is AlarmState.UNACKNOWLEDGED
    assert after.told() == []


def test_stale_stays_stale() -> None:
    """A slow probe's last value is as old after a restart as it was before, though its slot has been closed."""
    where = site()
    where.probes["ash-water"] = probe("ash-water", where.probes["ash-water"].measures, every=HOUR)
    shed = Shed(where)
    shed.run(MINUTE)
    shed.run(2 * HOUR, water=None)
    for wait in range(10):
        after = shed.restarted()
        water, known = after.engine.state.probes["ash-water"], shed.engine.state.probes["ash-water"]
        assert water.newest == known.newest
        assert water.fresh(shed.now) == known.fresh(shed.now) == (wait == 0 and shed.now == T0 + 2 * HOUR)
        shed.wait(MINUTE)


def test_a_silent_probe_is_not_back_because_of_a_restart() -> None:
    """The end of silence is told when the probe speaks, not when the monitor begins anew."""
    before = Shed()
    before.begin()
    before.run(5 * MINUTE)
    before.run(10 * MINUTE, water=None)
    assert len(before.told()) == 1
    shed = before.restarted()
    shed.run(10 * MINUTE, water=None)
    assert shed.told() == []
    shed.run(MINUTE)
    assert [t.alarm.state for t in shed.told()] == [AlarmState.RETURNED]


def test_an_alarm_held_back_by_the_broker_comes_back_held() -> None:
    """A probe alarm that was held back waits again after a restart, and is told when the probe stays silent."""
    before = Shed()
    before.begin()
    before.run(5 * MINUTE)
    before.do(BrokerLink(before.now, up=False))
    before.wait(20 * MINUTE)
    shed = before.restarted()
    shed.run(4 * MINUTE - 1, water=None)
    assert shed.told("probe-silent") == []
    shed.run(MINUTE, water=None)
    assert [t.alarm.id for t in shed.told("probe-silent")] == ["probe-silent:ash-water"]


def test_settling_goes_on_and_ends() -> None:
    """Settling that was under way is, after a restart, and rings in its time."""
    before = Shed()
    before.begin()
    before.run(5 * MINUTE)
    end = before.now + 15 * MINUTE
    before.do(Settle(before.now, before.now, "ash", end))
    before.run(5 * MINUTE, air=False)
    shed = before.restarted()
    shed.run(12 * MINUTE, air=False)
    assert [(t.alarm.id, t.time) for t in shed.told()] == [("air-stopped:ash", end)]


def test_a_returned_alarm_waits_for_its_on_delay_when_the_trouble_is_new() -> None:
    """After a restart a returned alarm that nobody acknowledged rings for a new trouble only after its on-delay."""
    before = stopped_shed()
    before.run(5 * MINUTE)
    assert before.state("air-stopped:ash") is AlarmState.RETURNED
    shed = before.restarted()
    shed.say("ash-air", False)
    shed.wait(59 * SECOND)
    assert shed.told() == []
    shed.wait(SECOND)
    assert len(shed.told("air-stopped")) == 1


def test_a_word_before_the_first_tick_ends_no_alarm() -> None:
    """A log entry that comes before the first forecast after a restart neither ends nor repeats "ready"."""
    before = Shed(site("ash", "birch", feeding_times=()))
    before.remember("ash-water", 40, lambda _: 28.0).remember("ash-air", 40, lambda _: 1)
    before.run(MINUTE, 28.0)
    before.begin(hours_ago=22)
    before.run(5 * MINUTE, 28.0)
    assert [t.alarm.id for t in before.told("ready")] == ["ready:ash"]
    shed = before.restarted()
    shed.begin(batch="b2", vessel="birch")
    shed.run(5 * MINUTE, 28.0)
    assert shed.told("ready") == []
    assert [m for m in shed.moves if m.alarm.id == "ready:ash"] == []
    assert shed.state("ready:ash") is AlarmState.UNACKNOWLEDGED


def test_what_is_no_longer_configured_leaves_nothing_standing() -> None:
    """After a vessel was taken out of the configuration its record does no harm and its alarms end in silence."""
    before = Shed(site("ash", "birch"))
    before.begin(vessel="birch")
    before.do(Settle(before.now, before.now, "birch", before.now + 15 * MINUTE))
    before.do(Settle(before.now, before.now, "birch", before.now))
    before.run(5 * MINUTE, vessel="birch")
    before.run(10 * MINUTE, vessel="birch", air=False)
    assert before.state("air-stopped:birch") is AlarmState.UNACKNOWLEDGED
    shed = before.restarted(site("ash"))
    assert shed.engine.open_batches() == []
    shed.run(6 * MINUTE)
    assert [a.id for a in shed.engine.alarms() if "birch" in a.id] == []
    assert [t.alarm.id for t in shed.told() if "birch" in t.alarm.id] == []
    assert {m.alarm.id: m.alarm.state for m in shed.moves}["air-stopped:birch"] is AlarmState.NORMAL


def test_a_batch_has_learnt_the_same_tin() -> None:
    """What a harvested batch taught of its tin is known to the next batch after a restart."""
    before = Shed()
    before.remember("ash-water", 30, lambda _: 26.0).remember("ash-air", 30, lambda _: 1)
    before.run(MINUTE, 26.0)
    before.begin(hours_ago=26)
    before.run(10 * MINUTE, 26.0)
    before.do(Harvest(before.now, before.now, "b1", 0.7))
    before.begin(batch="b2")
    after = before.restarted()
    assert "lot/new" in before.learned
    assert alike(before.engine.estimate("b2", before.now), after.engine.estimate("b2", after.now))


@pytest.mark.parametrize("cut", [16, 20, 24, 29, 33])
def test_no_reading_is_counted_twice_in_the_history(cut: int) -> None:
    """Over a restart each reading counts once in its slot, also one that comes late afterwards."""
    shed = Shed()
    shed.run(cut * MINUTE)
    shed = shed.restarted()
    shed.run(20 * MINUTE)
    shed.say("ash-water", 24.0, own=T0 + 7 * MINUTE + SECOND)
    shed.wait(2 * HOUR)
    counts: dict[tuple[Ms, str], list[int]] = {}
    for (time, name), reading in shed.readings.items():
        counts.setdefault((time // SLOT * SLOT, name), []).append(reading.milli if reading.state is None else 1000)
    assert shed.slots == {key: (len(told), sum(told)) for key, told in counts.items()}


def test_an_open_batch_keeps_the_prior_it_began_with() -> None:
    """A tin that learns while another batch of it is open does not change that batch's estimate by a restart."""
    before = Shed(site("ash", "birch"))
    for vessel in ("ash", "birch"):
        before.remember(f"{vessel}-water", 30, lambda _: 26.0).remember(f"{vessel}-air", 30, lambda _: 1)
    before.run(MINUTE, 26.0)
    before.begin(hours_ago=26)
    before.begin(hours_ago=6, batch="b2", vessel="birch")
    before.do(Harvest(before.now, before.now, "b1", 0.3))
    after = before.restarted()
    now = before.now
    assert after.engine.estimate("b2", now).ready == before.engine.estimate("b2", now).ready


def test_a_cold_alarm_by_what_was_expected_stands_after_a_restart() -> None:
    """What the keeper could count on is known after a restart: a hatch that slips is not told as over."""
    before = Shed(site("ash", feeding_times=tuple(range(0, 1440, 60))))
    before.remember("ash-water", 30, lambda _: 25.0).remember("ash-air", 30, lambda _: 1)
    before.run(MINUTE, 25.0)
    before.begin(hours_ago=4)
    start = before.now
    before.run(6 * HOUR, lambda h: 25.0 - (h - (start - T0) / HOUR))
    assert before.state("cold-snap:ash") is AlarmState.UNACKNOWLEDGED
    after = before.restarted()
    after.run(30 * MINUTE, 19.0)
    assert after.state("cold-snap:ash") is AlarmState.UNACKNOWLEDGED
    assert after.told("cold-snap") == []
