"""Alarms about nauplii kept cold: when they ring, when they do not, what they say, how they end, and after a restart."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.model import HOUR, MINUTE, SECOND, Acknowledge, Air, AlarmState, ColdStoreSpec, Priority
from monitor.core.rules_store import COLD_DELAY, COOLING, SUFFOCATING_AHEAD, WARM_DELAY
from tests.unit.core.cold_worlds import ColdShed, cold_site

if TYPE_CHECKING:
    from monitor.core.model import Transition

RANGE = r"\(.*\d\d:\d\d to .*\d\d:\d\d\)"


def about_stores(shed: ColdShed) -> list[Transition]:
    return shed.told("store-")


def cooled(hours: float = 3, **content: Any) -> ColdShed:
    """Filled three hours ago; after four nobody doubts that it is cold."""
    shed = ColdShed.of(**(content or {"nauplii": 200_000, "litres": 0.5}))
    shed.keep(round(hours * HOUR))
    return shed


def test_an_empty_store_rings_for_nothing() -> None:
    """Whatever its temperature and its air, a store that holds nothing needs nobody."""
    shed = ColdShed.of()
    shed.keep(4 * HOUR, 20.0, air=False)
    shed.keep(4 * HOUR, -5.0, air=False)
    assert about_stores(shed) == []
    assert shed.engine.state.memories == {}


def test_a_warm_store_rings_and_says_until_when_they_are_good() -> None:
    """Above its limit for half an hour it rings medium, with since when, what is in it, and the end with its range."""
    shed = cooled()
    since = shed.now
    shed.keep(WARM_DELAY + 2 * MINUTE, 14.2)
    (told,) = about_stores(shed)
    assert (told.alarm.id, told.alarm.priority, told.alarm.since) == ("store-warm:fridge", Priority.MEDIUM, since)
    assert WARM_DELAY <= told.time - since <= WARM_DELAY + MINUTE
    assert told.alarm.title == "fridge is too warm: 14.2 C"
    assert re.fullmatch(
        r"The store is above its limit of 10 C since 12:00\. It holds about 200 000 nauplii in 0\.5 L\. "
        rf"As it is now: Good until about [^(]*\d\d:\d\d {RANGE}: kept longer at this temperature .* die\.",
        told.alarm.text,
    )
    assert told.alarm.todo.startswith("Shut its door")


def test_an_open_door_rings_nobody() -> None:
    """Twenty minutes of warm air at the probe are a door, not warm water."""
    shed = cooled()
    for _ in range(5):
        shed.keep(20 * MINUTE, 15.0)
        shed.keep(20 * MINUTE, 4.0)
    assert about_stores(shed) == []


def test_what_goes_in_warm_is_given_time_to_cool() -> None:
    """A probe in the bottle tells the warmth of the harvest for a while; only what stays warm rings."""
    shed = ColdShed.of(nauplii=200_000, litres=0.5)
    shed.keep(110 * MINUTE, lambda hours: max(25 - 10 * hours, 4.0))
    shed.keep(2 * HOUR, 4.0)
    assert about_stores(shed) == []
    warm = ColdShed.of(nauplii=200_000, litres=0.5)
    begun = warm.now
    warm.keep(COOLING + 5 * MINUTE, 18.0)
    (told,) = warm.told("store-warm")
    assert told.time - begun == COOLING


def test_it_is_over_when_it_is_cold_again_by_the_deadband() -> None:
    """At the limit less nothing it stands; below by half a degree for half an hour it is over, and that is told."""
    shed = cooled()
    shed.keep(HOUR, 14.0)
    shed.keep(2 * HOUR, 9.8)
    assert [move.alarm.state for move in about_stores(shed)] == [AlarmState.UNACKNOWLEDGED]
    back = shed.now
    shed.keep(WARM_DELAY + 2 * MINUTE, 9.4)
    assert [move.alarm.state for move in about_stores(shed)] == [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED]
    assert about_stores(shed)[-1].time - back >= WARM_DELAY


def test_a_temperature_that_hovers_is_one_alarm() -> None:
    """A day at the limit with a compressor's ripple rings once at most."""
    shed = cooled(nauplii=200_000, litres=0.5)
    shed.keep(24 * HOUR, lambda hours: 10.0 + 0.3 * (-1) ** int(hours * 12), every=5 * MINUTE)
    assert len(shed.told("store-warm")) <= 1


def test_emptying_ends_its_alarms_without_a_word() -> None:
    """Whoever empties the store has seen it: nothing stands and nothing more is told."""
    shed = cooled()
    shed.keep(HOUR, 14.0)
    count = len(about_stores(shed))
    shed.empty()
    shed.keep(2 * HOUR, 14.0)
    assert len(about_stores(shed)) == count
    assert shed.engine.alarms() == []


def test_near_freezing_rings() -> None:
    """Below its limit for a quarter of an hour it rings medium, says since when, and what to do."""
    shed = cooled()
    since = shed.now
    shed.keep(COLD_DELAY + 2 * MINUTE, 0.2)
    (told,) = about_stores(shed)
    assert (told.alarm.id, told.alarm.priority, told.alarm.since) == ("store-cold:fridge", Priority.MEDIUM, since)
    assert told.alarm.title == "fridge is too cold: 0.2 C"
    assert told.alarm.text.startswith("The store is below its limit of 1 C since 12:00. It holds about 200 000")
    assert "freezes at about -1.4 C" in told.alarm.text


def test_limits_are_the_stores_own() -> None:
    """Another store's limits are looked at, not the usual ones."""
    where = cold_site()
    where.cold_stores["fridge"] = ColdStoreSpec("fridge", warm_above=15.0, cold_below=5.0)
    shed = ColdShed.of(where, nauplii=200_000, litres=0.5)
    shed.keep(5 * HOUR, 14.0)
    assert about_stores(shed) == []
    shed.keep(HOUR, 4.0)
    assert [move.alarm.id for move in about_stores(shed)] == ["store-cold:fridge"]


def test_the_strokes_of_a_compressor_ring_nobody() -> None:
    """Ten cold minutes in each forty are how a refrigerator works."""
    shed = cooled()
    for _ in range(6):
        shed.keep(10 * MINUTE, 0.5)
        shed.keep(30 * MINUTE, 4.0)
    assert about_stores(shed) == []


def test_an_end_by_age_is_told_half_a_day_before() -> None:
    """At 4 C two days are what is published: twelve hours before, a low alarm says until when, and what to do."""
    shed = ColdShed.of(nauplii=200_000, litres=0.5)
    begun = shed.now
    shed.keep(50 * HOUR, every=2 * MINUTE)
    (told,) = about_stores(shed)
    assert (told.alarm.id, told.alarm.priority) == ("store-ending:fridge", Priority.LOW)
    assert told.time - begun == pytest.approx(36 * HOUR, abs=10 * MINUTE)
    assert told.alarm.title == "fridge: good until about Wed 09:00"
    assert re.fullmatch(
        r"fridge holds about 200 000 nauplii in 0\.5 L since Mon 09:00, now at 4\.0 C\. "
        r"Good until about Wed 09:00 \(17:00 to Thu 09:00\): kept longer at this temperature more and more of them die\.",
        told.alarm.text,
    )
    assert told.alarm.deadline is None
    (now,) = shed.engine.alarms()
    assert now.title == "fridge: past its time since about 09:00"
    assert "They were good until about 09:00 (Tue 17:00 to Thu 09:00)" in now.text


def test_a_crowded_bag_ends_by_oxygen_and_that_is_medium() -> None:
    """Three hours before its oxygen may be gone it is told, with that instant as the deadline."""
    shed = ColdShed.of(nauplii=8_000_000, litres=0.5, gas="oxygen", gas_l=1.0, aerated=False)
    shed.keep(30 * HOUR, every=5 * MINUTE)
    (told,) = about_stores(shed)
    assert (told.alarm.id, told.alarm.priority) == ("store-ending:fridge", Priority.MEDIUM)
    assert told.alarm.deadline is not None
    assert told.alarm.deadline - told.time == pytest.approx(SUFFOCATING_AHEAD, abs=10 * MINUTE)
    assert "by then they have used up their oxygen" in told.alarm.text
    assert re.search(r"Oxygen may be gone from .*\d\d:\d\d on\.", told.alarm.text)


def test_a_bottle_that_cannot_last_is_told_at_once() -> None:
    """Millions put away still and open have minutes: whoever is still in the room hears it."""
    shed = ColdShed.of(nauplii=2_000_000, litres=0.5, aerated=False)
    (told,) = about_stores(shed)
    assert told.time == shed.now
    assert told.alarm.priority is Priority.MEDIUM


def test_what_was_just_chilled_is_not_called_old() -> None:
    """In a store so warm that little time is left, half of that time passes before it is told."""
    shed = ColdShed.of(nauplii=200_000, litres=0.5)
    shed.keep(3 * HOUR, 16.0)
    assert shed.told("store-ending") == []
    shed.keep(8 * HOUR, 16.0)
    assert len(shed.told("store-ending")) == 1


def test_an_unknown_temperature_is_said() -> None:
    """Without a probe the end is reckoned all the same, and the text says what it rests on."""
    shed = ColdShed.of(cold_site(probes=False), nauplii=200_000, litres=0.5)
    shed.wait(60 * HOUR)
    (told,) = about_stores(shed)
    assert told.alarm.id == "store-ending:fridge"
    assert "; its temperature is not known. Good until about" in told.alarm.text


def test_an_old_temperature_is_said_to_be_old() -> None:
    """A probe that fell silent is not quoted as if it spoke."""
    shed = cooled()
    shed.keep(40 * HOUR, None, every=30 * MINUTE)
    (told,) = about_stores(shed)
    assert "it was 4.0 C at Mon 11:59, nothing newer is known" in told.alarm.text


def test_what_nobody_can_still_keep_is_let_be() -> None:
    """Days past its last end only the word to note it stands; the store's temperature rings no more."""
    shed = ColdShed.of(nauplii=200_000, litres=0.5)
    shed.keep(5 * 24 * HOUR, every=10 * MINUTE)
    shed.keep(5 * HOUR, 20.0, air=False)
    assert {move.alarm.id for move in about_stores(shed)} == {"store-ending:fridge"}


# -- air


def test_stopped_air_over_a_crowd_is_urgent() -> None:
    """With minutes left it rings high within one of them, says the range and what to do, and has a deadline."""
    shed = cooled(5, nauplii=4_000_000, litres=0.5)
    stopped = shed.now
    shed.keep(3 * MINUTE, 4.0, air=False)
    (told,) = about_stores(shed)
    assert (told.alarm.id, told.alarm.priority, told.alarm.since) == ("store-air:fridge", Priority.HIGH, stopped)
    assert told.time - stopped <= MINUTE
    assert re.fullmatch(r"Air stopped in fridge: act within \d+ min", told.alarm.title)
    found = re.search(
        r"for about 4 000 000 nauplii in 0\.5 L, now at 4\.0 C\. Oxygen lasts about (\d+)-(\d+) min more",
        told.alarm.text,
    )
    assert found is not None
    low, high = int(found[1]), int(found[2])
    assert 1.5 < high / low < 4
    assert told.alarm.deadline == pytest.approx(told.time + low * MINUTE, abs=MINUTE)
    assert told.alarm.todo.startswith("Look at the pump")


def test_stopped_air_over_some_is_medium_until_an_hour_is_left() -> None:
    """Few and cold breathe slowly: it is no matter of minutes, and becomes one later; so it is told twice."""
    shed = cooled(5, nauplii=600_000, litres=0.5)
    shed.keep(6 * HOUR, 4.0, air=False)
    told = about_stores(shed)
    assert [move.alarm.priority for move in told] == [Priority.MEDIUM, Priority.HIGH]
    assert told[0].alarm.title == "Air stopped in fridge"
    assert re.search(r"Oxygen lasts about .* more; without it they die\.", told[0].alarm.text)
    assert told[1].reason == "it has become urgent"


def test_warmth_leaves_less_time() -> None:
    """The same crowd has less oxygen left in a warmer store."""
    deadlines = []
    for celsius in (4.0, 9.0):
        shed = cooled(nauplii=2_000_000, litres=0.5)
        shed.keep(30 * MINUTE, celsius)
        stopped = shed.now
        shed.keep(2 * MINUTE, celsius, air=False)
        (told,) = about_stores(shed)
        deadlines.append((told.alarm.deadline or 0) - stopped)
    assert deadlines[1] < 0.75 * deadlines[0]


@pytest.mark.parametrize(
    "content",
    [
        {"nauplii": 2000, "litres": 0.5},
        {"nauplii": 100_000, "litres": 0.5, "aerated": False},
        {"nauplii": 1_000_000, "litres": 0.5, "gas": "oxygen", "gas_l": 1.0, "aerated": False},
    ],
    ids=["few", "not-aerated", "closed"],
)
def test_where_air_does_not_matter_its_end_rings_nobody(content: dict[str, Any]) -> None:
    """So few that the surface feeds them, what was never aerated, and what is closed up do not need the pump."""
    shed = cooled(**content)
    shed.keep(2 * HOUR, 4.0, air=False)
    assert shed.told("store-air") == []


def test_weak_air_is_slight_aeration() -> None:
    """Slight aeration is all a cold store wants."""
    shed = cooled(nauplii=4_000_000, litres=0.5)
    shed.keep(HOUR, 4.0, air=Air.WEAK)
    assert about_stores(shed) == []


def test_air_that_runs_again_is_told() -> None:
    """Half a minute of air ends it, and that is told."""
    shed = cooled(nauplii=4_000_000, litres=0.5)
    shed.keep(3 * MINUTE, 4.0, air=False)
    back = shed.now
    shed.keep(3 * MINUTE)
    assert [move.alarm.state for move in about_stores(shed)] == [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED]
    assert about_stores(shed)[1].time - back <= 30 * SECOND + MINUTE


def test_air_that_stopped_before_they_went_in_counts_from_then() -> None:
    """A pump that was off while the store was empty is nobody's trouble until there are animals in it."""
    shed = ColdShed.of()
    shed.keep(10 * HOUR, 4.0, air=False)
    shed.chill(nauplii=2_000_000, litres=0.5)
    filled = shed.now
    shed.keep(2 * MINUTE, 4.0, air=False)
    (told,) = shed.told("store-air")
    assert told.alarm.since == filled


# -- afterwards


@pytest.mark.parametrize(
    ("celsius", "air", "alarm"),
    [(14.0, True, "store-warm"), (0.0, True, "store-cold"), (4.0, False, "store-air")],
)
def test_what_stands_survives_a_restart_without_ringing_again(celsius: float, air: bool, alarm: str) -> None:
    """A new engine goes on from there: nothing is told twice, and the end is told."""
    shed = cooled(nauplii=1_500_000, litres=0.5)
    shed.keep(40 * MINUTE, celsius, air=air)
    shed.do(Acknowledge(shed.now, f"{alarm}:fridge"))
    kept = shed.restarted()
    fresh = ColdShed(shed.site, shed.now)
    fresh.engine, fresh.standing, fresh.entries = kept.engine, kept.standing, kept.entries
    fresh.keep(10 * MINUTE, celsius, air=air)
    assert [move.alarm.id for move in fresh.told(alarm)] == []
    assert fresh.state(f"{alarm}:fridge") is AlarmState.ACKNOWLEDGED
    fresh.keep(HOUR)
    assert [move.alarm.state for move in fresh.told(alarm)] == [AlarmState.NORMAL]


def test_a_trouble_under_way_is_not_begun_anew_by_a_restart() -> None:
    """Twenty minutes of warmth before a restart count towards the half hour."""
    shed = cooled()
    since = shed.now
    shed.keep(20 * MINUTE, 14.0)
    kept = shed.restarted()
    fresh = ColdShed(shed.site, shed.now)
    fresh.engine = kept.engine
    fresh.keep(12 * MINUTE, 14.0)
    (told,) = fresh.told("store-warm")
    assert told.time - since <= WARM_DELAY + 2 * MINUTE


def test_a_store_that_is_gone_takes_its_alarms_with_it() -> None:
    """What the configuration has no more is acknowledged and over."""
    shed = cooled()
    shed.keep(HOUR, 14.0)
    where = cold_site(probes=False)
    where.cold_stores.clear()
    fresh = shed.restarted(where)
    fresh.wait(HOUR)
    assert fresh.engine.alarms() == []
    assert fresh.told("store-") == []
