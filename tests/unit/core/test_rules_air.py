"""Weak air in the shed: when it rings, when it does not, what it says, and how it gives way to stopped air."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from monitor.core.bench import bench
from monitor.core.log import Harvest, LogEntry, Seen, Settle, Sight
from monitor.core.model import HOUR, MINUTE, SECOND, Acknowledge, Air, AlarmState, Priority
from tests.unit.core.worlds import T0, Shed, lines, recording, site, start

WEAK = "air-weak:ash"


def shed_of(hours_ago: float, cysts_g: float, celsius: float = 28.0, seen: Sight | None = None) -> Shed:
    """Ash was begun some hours ago in warm water with good air; somebody may have looked."""
    shed = Shed(site(cold=10.0))
    shed.remember("ash-water", 30, lambda _: celsius).remember("ash-air", 30, lambda _: 1)
    shed.run(MINUTE, celsius)
    shed.begin(hours_ago=hours_ago, cysts_g=cysts_g)
    if seen is not None:
        shed.do(Seen(shed.now, shed.now, "b1", seen))
    shed.run(2 * MINUTE, celsius)
    return shed


def half_out(cysts_g: float) -> Shed:
    return shed_of(16, cysts_g, seen=Sight.SOME)


def weakly(shed: Shed, minutes: float) -> None:
    shed.run(round(minutes * MINUTE), 28.0, air=Air.WEAK)


def weakly_until_told(shed: Shed, celsius: float, within_h: int) -> None:
    """Weak air from now on, until somebody is told of it, or so many hours."""
    for _ in range(within_h):
        if shed.told("air-weak"):
            return
        shed.run(HOUR, celsius, air=Air.WEAK, every=5 * MINUTE)


def test_weak_air_over_a_dense_hatched_batch_is_urgent() -> None:
    """With many animals swimming weak air rings high, says the range, where the oxygen settles, and what to check first."""
    shed = half_out(3.0)
    since = shed.now
    weakly(shed, 6)
    (told,) = shed.told("air-")
    assert (told.alarm.id, told.alarm.priority, told.alarm.since) == (WEAK, Priority.HIGH, since)
    assert re.fullmatch(r"Weak air in ash: act (within \d+ min|now)", told.alarm.title)
    assert re.search(r"Weak air since \d\d:\d\d\. Oxygen (may fall|falls) below 2 mg/L", told.alarm.text)
    assert re.search(r"it settles at \d\.\d-\d\.\d mg/L\. Without oxygen hatched nauplii die\.", told.alarm.text)
    assert re.match(
        r"Check the hose for a kink, the stone .*, the pump's membrane .*; else swap the pump", told.alarm.todo
    )


def test_a_thin_batch_on_weak_air_needs_nobody() -> None:
    """Where weak air is enough for all that will hatch nothing rings, though the bench says that it is weak."""
    shed = half_out(0.2)
    weakly(shed, 30)
    assert shed.told("air-") == []
    assert WEAK not in shed.engine.state.memories
    shown = bench(shed.engine, {"b1": shed.engine.estimate("b1", shed.now)}, shed.now)["vessels"][0]
    assert shown["air"]["value"] == "weak"
    assert shed.engine.estimate("b1", shed.now).air == "weak"


def test_weak_air_long_before_the_hatch_waits() -> None:
    """Cysts need little: what will be short only when they hatch, in more than half a day, is told nearer to it."""
    shed = Shed(site(cold=10.0))
    shed.run(5 * MINUTE, 25.0)
    shed.begin(cysts_g=2.0)
    shed.run(HOUR, 25.0, air=Air.WEAK, every=5 * MINUTE)
    assert shed.told("air-") == []
    weakly_until_told(shed, 25.0, 20)
    (told,) = shed.told("air-weak")
    estimate = shed.engine.estimate("b1", told.time)
    assert told.alarm.priority is Priority.MEDIUM
    assert told.alarm.title == "Weak air in ash"
    assert "Without oxygen cysts pause, and what hatches then dies." in told.alarm.text
    assert estimate.t90.mid is not None
    assert told.time < estimate.t90.mid


def test_what_begins_medium_becomes_urgent_once() -> None:
    """A standing alarm is told again when animals swim and less than two hours may be left, and not a third time."""
    shed = Shed(site(cold=10.0))
    shed.run(5 * MINUTE, 27.0)
    shed.begin(cysts_g=1.5)
    shed.run(24 * HOUR, 27.0, air=Air.WEAK, every=5 * MINUTE)
    told = shed.told("air-weak")
    assert [move.alarm.priority for move in told] == [Priority.MEDIUM, Priority.HIGH]
    assert told[1].reason == "it has become urgent"


def test_weak_air_waits_its_on_delay() -> None:
    """A pump that coughs for a moment rings nobody: weak air must last five minutes, or a tenth of what is left."""
    shed = half_out(1.0)
    shed.say("ash-air", Air.WEAK)
    shed.wait(20 * SECOND)
    shed.run(10 * MINUTE, 28.0)
    assert shed.told("air-") == []


def test_good_air_ends_it() -> None:
    """Ten minutes of good air end the alarm, and that is told once."""
    shed = half_out(3.0)
    weakly(shed, 6)
    back = shed.now
    shed.run(15 * MINUTE, 28.0)
    assert [move.alarm.state for move in shed.told("air-")] == [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED]
    assert shed.told("air-")[1].time - back == 10 * MINUTE


def test_stopped_air_takes_its_place() -> None:
    """When weak air stops altogether one alarm of the air stands, the graver, and the weak one is held back without a word."""
    shed = half_out(3.0)
    weakly(shed, 6)
    shed.run(3 * MINUTE, 28.0, air=False)
    assert [move.alarm.id for move in shed.told("air-")] == [WEAK, "air-stopped:ash"]
    assert shed.state(WEAK) is AlarmState.SUPPRESSED
    assert shed.engine.alarm_ids_of("b1") == ["air-stopped:ash"]
    shed.run(20 * MINUTE, 28.0)
    assert [(move.alarm.id, move.alarm.state) for move in shed.told("air-")[2:]] == [
        ("air-stopped:ash", AlarmState.RETURNED)
    ]
    assert shed.state(WEAK) is AlarmState.NORMAL


def test_air_that_is_weak_again_after_a_stop_is_told_again() -> None:
    """Stopped, then weak: the keeper hears that the one is over and that the other is not."""
    shed = half_out(3.0)
    weakly(shed, 6)
    shed.run(3 * MINUTE, 28.0, air=False)
    weakly(shed, 6)
    assert [move.alarm.id for move in shed.told("air-")][2:] in (
        [WEAK, "air-stopped:ash"],
        ["air-stopped:ash", WEAK],
    )
    assert shed.state(WEAK) is AlarmState.UNACKNOWLEDGED


def test_a_stop_after_weak_air_leaves_fewer_minutes() -> None:
    """When air stops that was weak, the minutes left begin from the little oxygen there was."""
    told = []
    for before in (True, Air.WEAK):
        shed = half_out(1.0)
        shed.run(MINUTE, 28.0, air=before)
        shed.run(2 * MINUTE, 28.0, air=False)
        (move,) = shed.told("air-stopped")
        told.append(int(re.findall(r"within (\d+) min|act now", move.alarm.title)[0] or 0))
    assert told[1] < told[0]


def test_settling_holds_it_back() -> None:
    """Air turned down on purpose is no alarm while it settles."""
    shed = half_out(1.0)
    shed.do(Settle(shed.now, shed.now, "ash", shed.now + 15 * MINUTE))
    weakly(shed, 14)
    assert shed.told("air-") == []
    weakly(shed, 10)
    assert [move.alarm.id for move in shed.told("air-")] == [WEAK]


def test_the_keeper_who_ends_the_batch_hears_nothing_more() -> None:
    """Harvesting ends the alarm without a word."""
    shed = half_out(3.0)
    weakly(shed, 6)
    told = len(shed.told())
    shed.do(Harvest(shed.now, shed.now, "b1"))
    weakly(shed, 30)
    assert len(shed.told()) == told
    assert shed.state(WEAK) is AlarmState.NORMAL


def test_in_an_empty_vessel_weak_air_is_nobodys_business() -> None:
    """Without a batch weak air is no alarm."""
    shed = Shed()
    weakly(shed, 20)
    assert shed.moves == []


@pytest.mark.parametrize("silent", [0, 3])
def test_a_restart_tells_nothing_again(silent: int) -> None:
    """After a restart the alarm stands as before, weak since the same moment, and can be acknowledged."""
    shed = half_out(3.0)
    weakly(shed, 12)
    shed.wait(silent * HOUR)
    back = shed.restarted()
    was, now = (one.engine.state.probes["ash-air"] for one in (shed, back))
    assert (now.air_state, now.air_since) == (was.air_state, was.air_since) == (Air.WEAK, was.air_since)
    assert now.seen_weak
    weakly(back, 5)
    assert back.told("air-") == []
    back.do(Acknowledge(back.now, WEAK, "the keeper"))
    assert back.state(WEAK) is AlarmState.ACKNOWLEDGED


# -- development and replay


def replayed(cysts_g: float, air: Any, entries: tuple[LogEntry, ...] = ()) -> list[dict[str, Any]]:
    rows = recording(lambda _: 28.0, 20.0, air=air)
    return lines(rows, [replace(start(cysts_g=cysts_g), litres=1.0), *entries])


def test_replay_says_weak() -> None:
    """A replayed line says that the air was weak, and by what alarm that was told."""
    told = replayed(2.0, lambda hour: Air.WEAK if hour > 12 else True)
    assert {line["air"] for line in told if line["time"] < "2026-03-02T19:00:00Z"} == {"running"}
    assert {line["air"] for line in told if line["time"] > "2026-03-02T19:10:00Z"} == {"weak"}
    assert any(WEAK in line["alarms"] for line in told)


def test_cysts_develop_in_weak_air_unless_the_oxygen_settles_low() -> None:
    """A thin batch hatches in weak air as in good; one so dense that its oxygen settles below 2 mg/L falls behind."""
    good, thin, dense = (
        replayed(grams, lambda _, air=air: air)[-1]["hatched"]["mid"]
        for grams, air in ((0.3, True), (0.3, Air.WEAK), (12.0, Air.WEAK))
    )
    assert thin == pytest.approx(good, abs=0.005)
    assert dense < good - 0.05


def test_batches_teach_their_tin_on_weak_air_that_is_enough() -> None:
    """What hatched in weak air with oxygen enough is as good a lesson as any; without oxygen it is none."""
    untaught = []
    for grams in (0.3, 12.0):
        shed = shed_of(14, grams)
        shed.run(10 * HOUR, 28.0, air=Air.WEAK, every=5 * MINUTE)
        shed.do(Harvest(shed.now, shed.now, "b1", hatched_fraction=0.6))
        untaught.append(shed.engine.state.batches["b1"].untaught)
    assert untaught == ["", "it lost its air"]


def test_the_alarm_names_the_moment_it_became_weak() -> None:
    """Weak air is counted from its first reading, not from when it mattered."""
    shed = Shed(site(cold=10.0))
    shed.run(5 * MINUTE, 25.0)
    shed.begin(cysts_g=2.0)
    weakly_until_told(shed, 25.0, 20)
    (told,) = shed.told("air-weak")
    assert told.alarm.since == T0 + 5 * MINUTE


# -- several vessels on one pump


def test_vessels_of_one_pump_ring_in_the_same_moment() -> None:
    """Probes of a minute's period see the stop one after the other; once the first rings the others wait no longer."""
    names = ("ash", "birch", "cedar")
    shed = Shed(site(*names, cold=10.0))
    for name in names:
        shed.remember(f"{name}-water", 30, lambda _: 28.0).remember(f"{name}-air", 30, lambda _: 1)
        shed.run(MINUTE, 28.0, vessel=name)
        shed.begin(hours_ago=18, batch=f"of-{name}", vessel=name)
    for name, wait in (("ash", 25), ("birch", 20), ("cedar", 60)):
        shed.say(f"{name}-air", False)
        shed.wait(wait * SECOND)
    told = shed.told("air-stopped")
    assert sorted(move.alarm.subject for move in told) == ["ash", "birch", "cedar"]
    assert len({move.time for move in told}) == 1
    assert told[0].time - told[0].alarm.since <= 60 * SECOND


def test_air_that_stops_elsewhere_an_hour_later_waits_its_own_delay() -> None:
    """Another pump, another trouble: its probe may flicker as any other."""
    shed = Shed(site("ash", "birch", cold=10.0))
    for name in ("ash", "birch"):
        shed.remember(f"{name}-water", 30, lambda _: 25.0).remember(f"{name}-air", 30, lambda _: 1)
        shed.run(MINUTE, 25.0, vessel=name)
        shed.begin(hours_ago=1, batch=f"of-{name}", vessel=name)
    shed.say("ash-air", False)
    shed.wait(HOUR)
    shed.say("birch-air", False)
    shed.wait(59 * SECOND)
    assert [move.alarm.subject for move in shed.told("air-stopped")] == ["ash"]
    shed.wait(2 * SECOND)
    assert [move.alarm.subject for move in shed.told("air-stopped")] == ["ash", "birch"]
