"""Each rule in the shed: when it rings, what it says, and when it keeps quiet."""

from __future__ import annotations

from dataclasses import replace

from monitor.core.log import Discard, Harvest, Settle
from monitor.core.model import HOUR, MINUTE, SECOND, Acknowledge, AlarmState, BrokerLink, Priority, VesselSpec
from monitor.core.rules_probes import BROKER_ON_DELAY
from tests.unit.core.worlds import T0, Shed, site


def hatched_shed(cysts_g: float = 1.0, celsius: float = 28.0) -> Shed:
    """Ash was begun 20 h ago in warm water: swimming animals, not yet ready; both probes have just told."""
    shed = Shed(site(cold=10.0))
    shed.remember("ash-water", 21, lambda _: celsius).remember("ash-air", 21, lambda _: 1)
    shed.run(MINUTE, celsius)
    shed.begin(hours_ago=20, cysts_g=cysts_g)
    shed.run(2 * MINUTE, celsius)
    assert shed.told() == []
    return shed


# -- air


def test_air_that_stops_before_the_hatch_is_no_emergency() -> None:
    """Before the hatch the air alarm waits its 60 s, is of medium priority, and says that the cysts pause."""
    shed = Shed()
    shed.begin()
    shed.run(10 * MINUTE)
    shed.say("ash-air", False)
    shed.wait(60 * SECOND - 1)
    assert shed.told() == []
    shed.wait(1)
    (told,) = shed.told()
    assert (told.alarm.id, told.alarm.priority) == ("air-stopped:ash", Priority.MEDIUM)
    assert told.alarm.title == "Air stopped in ash"
    assert told.alarm.since == T0 + 10 * MINUTE
    assert "No air since 08:10. Nothing has hatched yet: the cysts pause" in told.alarm.text
    assert "pump" in told.alarm.todo


def test_air_that_stops_after_the_hatch_is_urgent() -> None:
    """With animals swimming the alarm is of high priority and says within how many minutes to act."""
    shed = hatched_shed()
    shed.run(2 * MINUTE, 28.0, air=False)
    (told,) = shed.told()
    assert (told.alarm.id, told.alarm.priority) == ("air-stopped:ash", Priority.HIGH)
    assert told.alarm.title.startswith("Air stopped in ash: act within ")
    assert "hatched nauplii die without it" in told.alarm.text


def test_where_little_is_left_the_alarm_waits_a_tenth_of_it() -> None:
    """In a dense hatched batch of which only minutes are left the alarm rings well before its 60 s."""
    shed = hatched_shed(cysts_g=2.5)
    shed.say("ash-air", False)
    stopped = shed.now
    shed.wait(60 * SECOND)
    (told,) = shed.told()
    assert told.alarm.priority is Priority.HIGH
    assert 10 * SECOND <= told.time - stopped <= 50 * SECOND


def test_a_thin_batch_has_air_enough() -> None:
    """A batch so thin that the still surface feeds it isn't told to be suffocating when the air stops."""
    shed = hatched_shed(cysts_g=0.005)
    shed.run(3 * MINUTE, 28.0, air=False)
    (told,) = shed.told()
    assert "a day or more" in told.alarm.text
    assert "used up" not in told.alarm.text
    assert "act now" not in told.alarm.title


def test_the_air_coming_back_is_told_once() -> None:
    """Half a minute of running air ends the alarm, and that is told once."""
    shed = hatched_shed()
    shed.run(2 * MINUTE, 28.0, air=False)
    shed.run(5 * MINUTE, 28.0)
    assert [t.alarm.state for t in shed.told("air-stopped")] == [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED]
    assert shed.moves[-1].time - (shed.now - 5 * MINUTE) == 30 * SECOND


def test_a_pump_that_hiccups_rings_once() -> None:
    """Air that comes back for less than half a minute at a time is one trouble."""
    shed = hatched_shed()
    shed.run(2 * MINUTE, 28.0, air=False)
    for _ in range(5):
        shed.say("ash-air", True)
        shed.wait(20 * SECOND)
        shed.say("ash-air", False)
        shed.wait(60 * SECOND)
    assert len(shed.told("air-stopped")) == 1


def test_air_in_an_empty_vessel_is_nobodys_business() -> None:
    """Without a batch a stopped pump is no alarm."""
    shed = Shed()
    shed.run(10 * MINUTE, air=False)
    assert shed.moves == []


def test_a_batch_begun_with_the_pump_still_off_has_its_on_delay() -> None:
    """Air that was off before the batch counts from its start: there is a minute to switch it on."""
    shed = Shed()
    shed.run(2 * HOUR, air=False, every=2 * MINUTE)
    shed.begin()
    shed.wait(50 * SECOND)
    shed.say("ash-air", True)
    shed.wait(2 * MINUTE)
    assert shed.told("air-stopped") == []


def test_a_batch_begun_without_air_is_told() -> None:
    """When the pump stays off after the start it rings a minute later, dated from the start."""
    shed = Shed()
    shed.run(2 * HOUR, air=False, every=2 * MINUTE)
    begun = shed.now
    shed.begin()
    shed.wait(60 * SECOND)
    (told,) = shed.told()
    assert (told.alarm.since, told.time) == (begun, begun + 60 * SECOND)
    assert "No air since 10:00" in told.alarm.text


def test_a_clock_of_a_probe_that_runs_ahead_delays_no_alarm() -> None:
    """An air probe whose clock is two minutes ahead is alarmed about as soon as any other."""
    shed = hatched_shed()
    shed.say("ash-air", False, own=shed.now + 2 * MINUTE)
    shed.wait(60 * SECOND)
    assert [t.alarm.id for t in shed.told()] == ["air-stopped:ash"]


# -- settling


def settle(shed: Shed, minutes: int = 15) -> None:
    shed.do(Settle(shed.now, shed.now, "ash", shed.now + minutes * MINUTE))


def test_settling_holds_the_air_alarm_back_and_lets_it_ring_when_it_ends() -> None:
    """Air off on purpose is quiet for its quarter of an hour; still off then, it rings in that very moment, urgent."""
    shed = hatched_shed()
    settle(shed)
    begun = shed.now
    shed.run(15 * MINUTE - 1, 28.0, air=False)
    assert shed.told() == []
    assert shed.state("air-stopped:ash") is AlarmState.SUPPRESSED
    assert "settling until" in shed.standing["air-stopped:ash"].reason
    shed.run(2 * MINUTE, 28.0, air=False)
    (told,) = shed.told("air-stopped")
    assert (told.time, told.alarm.priority) == (begun + 15 * MINUTE, Priority.HIGH)


def test_settling_that_ends_well_says_nothing() -> None:
    """Air that is back before settling ends leaves nothing behind."""
    shed = hatched_shed()
    settle(shed)
    shed.run(10 * MINUTE, 28.0, air=False)
    shed.run(10 * MINUTE, 28.0)
    assert shed.told("air-stopped") == []
    assert shed.state("air-stopped:ash") is AlarmState.NORMAL


def test_settling_quiets_an_alarm_that_rings_already() -> None:
    """A keeper who says "settling" after the alarm rang has quiet until it ends, then it rings again."""
    shed = hatched_shed()
    shed.run(2 * MINUTE, 28.0, air=False)
    settle(shed)
    shed.run(14 * MINUTE, 28.0, air=False)
    assert len(shed.told("air-stopped")) == 1
    shed.run(2 * MINUTE, 28.0, air=False)
    assert len(shed.told("air-stopped")) == 2


def test_a_harvest_with_the_air_off_ends_it_in_silence() -> None:
    """Harvested with the air alarm standing, nobody is told that anything is over."""
    shed = hatched_shed()
    shed.run(2 * MINUTE, 28.0, air=False)
    shed.do(Harvest(shed.now, shed.now, "b1"))
    shed.run(10 * MINUTE, 28.0, air=False)
    assert len(shed.told()) == 1
    assert shed.engine.alarms() == []


# -- cold and heat


def test_cold_by_level() -> None:
    """Water below its limit for five minutes is told, with the limit and what it does to ready."""
    shed = Shed(site(cold=18.0))
    shed.remember("ash-water", 3, lambda _: 18.5)
    shed.begin()
    shed.run(10 * MINUTE, 18.5)
    shed.run(11 * MINUTE, 17.8)
    (told,) = shed.told("cold-snap")
    assert told.alarm.title == "Cold in ash: 17.8 C"
    assert "is below its limit of 18 C" in told.alarm.text
    assert "At this rate the hatch slips from " in told.alarm.text
    assert "fell" not in told.alarm.text


def test_cold_by_level_has_a_deadband() -> None:
    """Back above the limit by less than half a degree the cold stands; by more, for ten minutes, it is over."""
    shed = Shed(site(cold=18.0, feeding_times=()))
    shed.remember("ash-water", 3, lambda _: 17.8)
    shed.begin()
    shed.run(10 * MINUTE, 17.8)
    shed.run(40 * MINUTE, 18.4)
    assert [t.alarm.state for t in shed.told("cold-snap")] == [AlarmState.UNACKNOWLEDGED]
    shed.run(9 * MINUTE, 18.5)
    assert len(shed.told("cold-snap")) == 1
    shed.run(2 * MINUTE, 18.5)
    assert [t.alarm.state for t in shed.told("cold-snap")] == [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED]


def test_cold_by_fall_stands_until_the_fall_is_well_past() -> None:
    """A fall alarm holds while the hour still shows a fall within half a degree of the limit, then ends by itself."""
    shed = Shed(site(feeding_times=()))
    shed.remember("ash-water", 3)
    shed.begin()

    def water(hour: float) -> float:
        return 25.0 - 6 * min(hour, 0.4) - 1.6 * max(hour - 0.4, 0.0)  # 2.4 C in 24 min, then 1.6 C an hour

    shed.run(110 * MINUTE, water)
    assert [t.alarm.state for t in shed.told("cold-snap")] == [AlarmState.UNACKNOWLEDGED]
    shed.run(3 * HOUR, water(110 / 60))
    assert [t.alarm.state for t in shed.told("cold-snap")] == [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED]


def test_cold_by_a_fast_fall() -> None:
    """A fall of over 2 C within the hour is told though the water is well above its limit."""
    shed = Shed()
    shed.remember("ash-water", 3)
    shed.begin()
    shed.run(30 * MINUTE, lambda hour: 25.0 - 6 * hour)
    (told,) = shed.told("cold-snap")
    assert "within 60 min" in told.alarm.text
    assert "fell 2." in told.alarm.text
    assert "limit" not in told.alarm.text


def test_a_slow_fall_is_no_cold_snap() -> None:
    """One degree in the hour is weather."""
    shed = Shed(site(feeding_times=()))
    shed.remember("ash-water", 3)
    shed.begin()
    shed.run(2 * HOUR, lambda hour: 25.0 - hour)
    assert shed.told() == []


def cooling(hour: float) -> float:
    return max(19.0, 25.0 - 3 * hour)


def test_cold_that_makes_a_meal_late_says_from_when_to_when_and_which_meal() -> None:
    """Ready that slips past the next feed through colder water is told: from, to, and the feed it misses."""
    shed = Shed(site(feeding_times=tuple(range(0, 1440, 60)), fall=50.0))
    shed.remember("ash-water", 16, lambda _: 25.0).remember("ash-air", 16, lambda _: 1)
    shed.run(MINUTE)
    shed.begin()
    shed.run(20 * MINUTE, every=2 * MINUTE)
    shed.run(6 * HOUR, cooling, every=2 * MINUTE)
    told = shed.told("cold-snap")
    assert len(told) == 1
    text = told[0].alarm.text
    assert "is colder than when ready was reckoned" in text
    assert "the hatch slips from " in text
    assert " to about " in text
    assert text.count(" feed.") == 1
    assert ", past the " in text


def test_colder_water_that_misses_no_meal_is_quiet() -> None:
    """The same cold without a feed in between is no alarm."""
    shed = Shed(site(feeding_times=(), fall=50.0))
    shed.remember("ash-water", 16, lambda _: 25.0).remember("ash-air", 16, lambda _: 1)
    shed.begin()
    shed.run(20 * MINUTE, every=2 * MINUTE)
    shed.run(6 * HOUR, cooling, every=2 * MINUTE)
    assert shed.told() == []


def test_cold_without_a_batch_is_nobodys_business() -> None:
    """An empty vessel may be as cold as it likes."""
    shed = Shed(site(cold=18.0))
    shed.run(30 * MINUTE, 5.0)
    assert shed.told() == []


def test_too_hot_has_delays_and_a_deadband() -> None:
    """Above the limit for five minutes it is told; half a degree below for ten minutes it is over; between, it stands."""
    shed = Shed()
    shed.remember("ash-water", 2, lambda _: 30.0)
    shed.begin()
    shed.run(5 * MINUTE, 30.0)
    shed.run(5 * MINUTE - 1, 32.1)
    assert shed.told() == []
    shed.run(MINUTE, 32.1)
    (told,) = shed.told("too-hot")
    assert (told.alarm.priority, told.alarm.title) == (Priority.MEDIUM, "Too hot in ash: 32.1 C")
    shed.run(30 * MINUTE, 31.6)
    assert len(shed.told()) == 1
    shed.run(12 * MINUTE, 31.4)
    assert [t.alarm.state for t in shed.told("too-hot")] == [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED]


def test_heat_that_stops_development_is_urgent() -> None:
    """From 33 C, where development stops (FAO T428 annex 4, restated), a standing heat alarm becomes urgent, once."""
    shed = Shed()
    shed.remember("ash-water", 2, lambda _: 31.0)
    shed.begin()
    shed.run(8 * MINUTE, 32.4)
    shed.do(Acknowledge(shed.now, "too-hot:ash"))
    shed.run(20 * MINUTE, 33.2)
    assert [t.alarm.priority for t in shed.told("too-hot")] == [Priority.MEDIUM, Priority.HIGH]
    assert "Development has about stopped" in shed.told()[-1].alarm.text


# -- silence


def test_a_silent_probe_is_told_after_three_periods_and_a_minute() -> None:
    """A probe that reports each minute is silent after four; its return is told once, at its first word."""
    shed = Shed()
    shed.begin()
    shed.run(10 * MINUTE)
    last = shed.now - MINUTE
    shed.run(9 * MINUTE, water=None)
    (told,) = shed.told("probe-silent")
    assert (told.alarm.id, told.time) == ("probe-silent:ash-water", last + 4 * MINUTE)
    assert told.alarm.priority is Priority.MEDIUM
    assert "since 08:09" in told.alarm.text
    shed.run(5 * MINUTE)
    assert [t.alarm.state for t in shed.told()] == [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED]
    assert shed.told()[-1].time == shed.now - 5 * MINUTE


def test_a_backlog_is_no_sign_of_life() -> None:
    """Old readings that come in late do not end the silence of a probe; a present one does."""
    shed = Shed()
    shed.begin()
    shed.run(5 * MINUTE)
    shed.run(3 * HOUR, water=None)
    for k in range(60):
        shed.say("ash-water", 25.0, own=T0 + (10 + k) * MINUTE)
    assert len(shed.told("probe-silent")) == 1
    shed.say("ash-water", 25.0, own=shed.now)
    assert len(shed.told("probe-silent")) == 2


def test_a_lost_broker_is_one_alarm_and_holds_back_its_effects() -> None:
    """When the broker is gone for two minutes that is told once; that the probes are not heard then is not."""
    shed = Shed(site("ash", "birch"))
    shed.begin()
    shed.run(3 * MINUTE)
    shed.run(MINUTE, vessel="birch")
    shed.do(BrokerLink(shed.now, up=False))
    gone = shed.now
    shed.wait(30 * MINUTE)
    assert [(t.alarm.id, t.time) for t in shed.told()] == [("broker-lost:site", gone + BROKER_ON_DELAY)]
    assert shed.state("probe-silent:ash-water") is AlarmState.SUPPRESSED
    shed.do(BrokerLink(shed.now, up=True))
    for vessel in ("ash", "birch"):
        shed.say(f"{vessel}-water", 25.0)
        shed.say(f"{vessel}-air", True)
    shed.wait(2 * MINUTE)
    assert [t.alarm.id for t in shed.told()] == ["broker-lost:site"] * 2
    assert [a.id for a in shed.engine.alarms() if a.id.startswith("probe-silent")] == []


def test_a_probe_that_stays_silent_when_the_broker_is_back_is_told() -> None:
    """After the broker came back a probe has its three periods and a minute, then it is told."""
    shed = Shed()
    shed.begin()
    shed.run(10 * MINUTE)
    shed.do(BrokerLink(shed.now, up=False))
    shed.wait(30 * MINUTE)
    back = shed.now
    shed.do(BrokerLink(back, up=True))
    shed.run(4 * MINUTE - 1, water=None)
    assert shed.told("probe-silent") == []
    shed.run(10 * MINUTE, water=None)
    assert [(t.alarm.id, t.time) for t in shed.told("probe-silent")] == [("probe-silent:ash-water", back + 4 * MINUTE)]


def test_a_broker_that_comes_and_goes_does_not_repeat_a_dead_probe() -> None:
    """A probe that is dead and acknowledged is told no second time because the broker was away meanwhile."""
    shed = Shed()
    shed.begin()
    shed.run(5 * MINUTE)
    shed.run(10 * MINUTE, water=None)
    shed.do(Acknowledge(shed.now, "probe-silent:ash-water"))
    for _ in range(3):
        shed.do(BrokerLink(shed.now, up=False))
        shed.wait(90 * SECOND)
        shed.do(BrokerLink(shed.now, up=True))
        shed.run(20 * MINUTE, water=None)
    assert len(shed.told("probe-silent:ash-water")) == 1


# -- ready


def ripe_shed() -> Shed:
    shed = Shed(site(feeding_times=()))
    shed.remember("ash-water", 24, lambda _: 28.0).remember("ash-air", 24, lambda _: 1)
    shed.run(MINUTE, 28.0)
    shed.begin(hours_ago=17)
    return shed


def test_ready_is_told_once_and_a_harvest_ends_it() -> None:
    """When ready comes it is told once, from the minute it came, and the harvest ends it in silence."""
    shed = ripe_shed()
    while not shed.told() and shed.now < T0 + 12 * HOUR:
        shed.run(30 * MINUTE, 28.0, every=2 * MINUTE)
    (told,) = shed.told()
    assert (told.alarm.id, told.alarm.priority) == ("ready:ash", Priority.MEDIUM)
    assert told.alarm.title == "ash is ready to harvest"
    assert abs(told.time - told.alarm.since) < 10 * MINUTE
    shed.run(2 * HOUR, 28.0, every=2 * MINUTE)
    assert len(shed.told()) == 1
    shed.do(Harvest(shed.now, shed.now, "b1"))
    shed.run(MINUTE, 28.0)
    assert len(shed.told()) == 1
    assert shed.state("ready:ash") is AlarmState.NORMAL


def test_a_discarded_batch_leaves_no_alarm() -> None:
    """What is thrown away takes its alarms along, in silence."""
    shed = Shed(site(cold=18.0))
    shed.remember("ash-water", 3, lambda _: 17.0)
    shed.begin()
    shed.run(15 * MINUTE, 17.0)
    assert [t.alarm.id for t in shed.told()] == ["cold-snap:ash"]
    shed.do(Discard(shed.now, shed.now, "b1", "spilled"))
    shed.run(15 * MINUTE, 17.0)
    assert len(shed.told()) == 1
    assert shed.engine.alarms() == []


def test_a_vessels_own_limits_count() -> None:
    """The limits of one vessel say nothing about another."""
    where = site("ash", "birch")
    where.vessels["birch"] = replace(where.vessels["birch"], hot_above=27.0)
    assert where.vessels["ash"] == VesselSpec("ash", 1.0, cold_below=10.0, hot_above=32.0)
    shed = Shed(where)
    for vessel in ("ash", "birch"):
        shed.begin(batch=f"of-{vessel}", vessel=vessel)
    for _ in range(8):
        shed.say("ash-water", 28.0)
        shed.say("ash-air", True)
        shed.run(MINUTE, 28.0, vessel="birch")
    assert [t.alarm.id for t in shed.told()] == ["too-hot:birch"]
