"""No news of the air over swimming animals: whatever the cause, one urgent word for each vessel, and never a second."""

from __future__ import annotations

import re

import pytest

from monitor.core.log import Harvest, Seen, Settle, Sight, Work
from monitor.core.model import (
    HOUR,
    MINUTE,
    Acknowledge,
    Air,
    AlarmState,
    BrokerLink,
    Measures,
    Priority,
    TakeOutOfService,
)
from tests.unit.core.worlds import Shed, probe, site

NO_NEWS = "no-news:ash"


def hatched_shed(cysts_g: float = 1.0, hours: float = 20, two_air_probes: bool = False) -> Shed:
    """Ash was begun in water of 28 C so long ago that animals swim; all probes have just told."""
    where = site(cold=10.0)
    if two_air_probes:
        where.probes["ash-plug"] = probe("ash-plug", Measures.AIR)
    shed = Shed(where)
    shed.remember("ash-water", hours + 1, lambda _: 28.0).remember("ash-air", hours + 1, lambda _: 1)
    shed.run(MINUTE, 28.0)
    shed.begin(hours_ago=hours, cysts_g=cysts_g)
    shed.do(Seen(shed.now, shed.now, "b1", Sight.SOME))
    shed.run(2 * MINUTE, 28.0)
    return shed


def urgent(shed: Shed) -> list[str]:
    return [move.alarm.id for move in shed.told() if move.alarm.priority is Priority.HIGH]


def test_silence_over_swimming_animals_is_one_urgent_push() -> None:
    """It comes after three periods and a minute, counts the minutes from the last good reading, and says what to do first."""
    shed = hatched_shed()
    last = shed.now - MINUTE
    shed.run(10 * MINUTE, 28.0, air=None)
    (told,) = shed.told()
    assert (told.alarm.id, told.alarm.priority, told.time) == (NO_NEWS, Priority.HIGH, last + 4 * MINUTE)
    assert re.fullmatch(r"No news from ash: look (within \d+ min|now)", told.alarm.title)
    assert re.match(r"No news from ash since 08:02\. If its air has stopped", told.alarm.text)
    assert told.alarm.todo.startswith("Go and look at the air first")
    assert told.alarm.deadline is not None
    assert shed.state("probe-silent:ash-air") is AlarmState.SUPPRESSED


def test_the_minutes_are_those_of_air_that_stopped_with_the_last_word() -> None:
    """Silence and stopped air, begun in the same moment, leave the same time."""
    silent, stopped = hatched_shed(), hatched_shed()
    silent.run(6 * MINUTE, 28.0, air=None)
    stopped.say("ash-air", False)
    stopped.run(6 * MINUTE, 28.0, air=None)
    ends = [
        next(a.deadline for a in shed.engine.alarms() if a.id == name)
        for shed, name in ((silent, NO_NEWS), (stopped, "air-stopped:ash"))
    ]
    assert ends[0] is not None
    assert ends[1] is not None
    assert 0 <= ends[1] - ends[0] <= 2 * MINUTE


@pytest.mark.parametrize("cause", ["broker", "power", "nonsense"])
def test_whatever_the_cause(cause: str) -> None:
    """A lost broker, a power cut that takes all probes, and a probe that talks nonsense each end in the same urgent word."""
    shed = hatched_shed()
    last = shed.now - MINUTE
    if cause == "broker":
        shed.do(BrokerLink(shed.now, up=False))
    for _ in range(10):
        if cause == "nonsense":
            shed.engine.heard("ash-air", shed.now, "not a word of air")
            shed.say("ash-water", 28.0)
        shed.wait(MINUTE)
    (told,) = [move for move in shed.told() if move.alarm.priority is Priority.HIGH]
    assert (told.alarm.id, told.time) == (NO_NEWS, last + 4 * MINUTE)
    why = {"broker": "The broker is not reached", "power": "fell silent at once", "nonsense": "not a word of air"}
    assert why[cause] in told.alarm.text
    assert [move.alarm.id for move in shed.told("probe-")] == []


def test_a_broker_that_comes_and_goes_does_not_begin_the_count_anew() -> None:
    """However often the link is back for a moment, silence is counted from the last word of the air."""
    shed = hatched_shed()
    last = shed.now - MINUTE
    for _ in range(8):
        shed.do(BrokerLink(shed.now, up=False))
        shed.wait(20_000)
        shed.do(BrokerLink(shed.now, up=True))
        shed.wait(20_000)
    assert [(move.alarm.id, move.time) for move in shed.told(NO_NEWS)] == [(NO_NEWS, last + 4 * MINUTE)]


def test_a_second_air_probe_is_news_enough() -> None:
    """While one of two air probes is heard only the other's silence is told, and that is not urgent."""
    shed = hatched_shed(two_air_probes=True)
    shed.say("ash-plug", True)
    for _ in range(10):
        shed.say("ash-plug", True)
        shed.run(MINUTE, 28.0, air=None)
    assert [(move.alarm.id, move.alarm.priority) for move in shed.told()] == [("probe-silent:ash-air", Priority.MEDIUM)]
    shed.run(6 * MINUTE, 28.0, air=None)
    assert urgent(shed) == [NO_NEWS]


def test_of_two_air_probes_the_one_that_says_stopped_is_believed() -> None:
    """Two probes that disagree about the air do not hide that it has stopped."""
    shed = hatched_shed(two_air_probes=True)
    for _ in range(3):
        shed.say("ash-plug", True)
        shed.run(MINUTE, 28.0, air=False)
    assert urgent(shed) == ["air-stopped:ash"]


def test_a_batch_that_hatches_while_nobody_hears_of_its_air() -> None:
    """Silence that began long before the hatch is urgent from the hatch on."""
    shed = Shed(site(cold=10.0))
    shed.run(5 * MINUTE, 28.0)
    shed.begin()
    shed.run(5 * HOUR, 28.0, air=None, every=5 * MINUTE)
    assert urgent(shed) == []
    assert len(shed.told("probe-silent:ash-air")) == 1
    shed.run(13 * HOUR, 28.0, air=None, every=5 * MINUTE)
    assert urgent(shed) == [NO_NEWS]
    assert "may already be used up" in next(m for m in shed.told(NO_NEWS)).alarm.text


def test_a_vessel_without_an_air_probe_tells_nothing() -> None:
    """Where no probe watches the air nobody can know."""
    where = site(cold=10.0)
    del where.probes["ash-air"]
    shed = Shed(where)
    shed.remember("ash-water", 21, lambda _: 28.0)
    shed.begin(hours_ago=20)
    shed.run(HOUR, 28.0, air=None)
    assert urgent(shed) == []
    assert NO_NEWS not in shed.engine.state.memories


def test_air_that_was_seen_to_stop_keeps_its_own_alarm() -> None:
    """A probe that falls silent after it told that the air is off is no second urgent alarm."""
    shed = hatched_shed()
    shed.run(2 * MINUTE, 28.0, air=False)
    shed.run(10 * MINUTE, 28.0, air=None)
    assert urgent(shed) == ["air-stopped:ash"]
    assert shed.state(NO_NEWS) is AlarmState.SUPPRESSED


@pytest.mark.parametrize("acknowledged", [False, True])
def test_only_news_ends_it(acknowledged: bool) -> None:
    """A broker that comes back is no news of the air: that it is over is told when the probe has spoken."""
    shed = hatched_shed()
    shed.do(BrokerLink(shed.now, up=False))
    shed.run(10 * MINUTE, None, air=None)
    if acknowledged:
        shed.do(Acknowledge(shed.now, NO_NEWS))
    shed.do(BrokerLink(shed.now, up=True))
    shed.run(30 * MINUTE, 28.0, air=None)
    assert {t.alarm.state for t in shed.told(NO_NEWS)} == {AlarmState.UNACKNOWLEDGED}
    shed.run(2 * MINUTE, 28.0)
    assert next(t for t in reversed(shed.moves) if t.alarm.id == NO_NEWS).alarm.over


def test_when_the_batch_is_out_the_probe_has_its_own_small_alarm() -> None:
    """A harvest ends the urgent alarm in silence, and what still stands is told for what it is: a silent probe."""
    shed = hatched_shed()
    shed.run(10 * MINUTE, 28.0, air=None)
    shed.do(Harvest(shed.now, shed.now, "b1"))
    shed.run(MINUTE, 28.0, air=None)
    assert shed.state(NO_NEWS) is AlarmState.NORMAL
    assert [(m.alarm.id, m.alarm.priority) for m in shed.told()][1:] == [("probe-silent:ash-air", Priority.LOW)]


def test_taken_out_of_service_after_a_look_the_same_silence_is_not_told_a_second_time() -> None:
    """Who saw the bubbles and put the alarm away hears no more of that silence, but of the next one."""
    shed = hatched_shed()
    shed.run(10 * MINUTE, 28.0, air=None)
    assert shed.told(NO_NEWS)
    shed.do(TakeOutOfService(shed.now, NO_NEWS, "the keeper"))
    shed.run(60 * MINUTE, 28.0, air=None)
    assert shed.told("probe-silent") == []
    shed.run(20 * MINUTE, 28.0)
    shed.run(30 * MINUTE, 28.0, air=None)
    assert [m.alarm.id for m in shed.told("probe-silent")] == ["probe-silent:ash-air"]


def test_out_of_service_lets_the_probe_speak_for_itself() -> None:
    """Who takes the alarm out of service still hears that the probe is silent."""
    shed = hatched_shed()
    shed.do(TakeOutOfService(shed.now, NO_NEWS, "the keeper"))
    shed.run(10 * MINUTE, 28.0, air=None)
    assert [m.alarm.id for m in shed.told()] == ["probe-silent:ash-air"]


def test_it_survives_a_restart() -> None:
    """After a restart it stands as before, is not told anew, and ends when the probe is heard."""
    before = hatched_shed()
    before.run(10 * MINUTE, 28.0, air=None)
    shed = before.restarted()
    shed.run(3 * MINUTE, 28.0, air=None)
    assert shed.told(NO_NEWS) == []
    assert shed.state(NO_NEWS) is AlarmState.UNACKNOWLEDGED
    shed.run(MINUTE, 28.0)
    assert [m.alarm.state for m in shed.told(NO_NEWS)] == [AlarmState.RETURNED]


def test_a_restart_gives_the_probes_time_to_speak() -> None:
    """A monitor that was down for an hour does not cry wolf in its first minutes."""
    before = hatched_shed()
    before.now += HOUR
    shed = before.restarted()
    began = shed.now
    shed.wait(4 * MINUTE - 1)
    assert shed.told(NO_NEWS) == []
    shed.wait(MINUTE)
    assert [m.time - began for m in shed.told(NO_NEWS)] == [4 * MINUTE]


@pytest.mark.parametrize("what", [Settle, Work])
def test_said_to_be_in_hand_it_waits_until_little_is_left(what: type[Settle | Work]) -> None:
    """While the keeper settles or works it is held back, but not beyond the last two minutes of the least that may be left."""
    shed = hatched_shed(cysts_g=0.3)
    shed.do(what(shed.now, shed.now, "ash", shed.now + 4 * HOUR))
    shed.run(8 * MINUTE, 28.0, air=None)
    assert urgent(shed) == []
    assert shed.state(NO_NEWS) is AlarmState.SUPPRESSED
    shed.wait(3 * HOUR)
    (told,) = shed.told(NO_NEWS)
    assert told.alarm.deadline is not None
    assert MINUTE <= told.alarm.deadline - told.time <= 2 * MINUTE


def test_a_thin_batch_is_not_urgent() -> None:
    """Where the still surface feeds the few animals for a day or more, no news of the air is no matter of minutes."""
    shed = hatched_shed(cysts_g=0.005)
    shed.run(10 * MINUTE, 28.0, air=None)
    (told,) = shed.told()
    assert (told.alarm.id, told.alarm.priority) == (NO_NEWS, Priority.MEDIUM)
    assert "a day or more" in told.alarm.text


def test_weak_air_before_the_silence_leaves_less() -> None:
    """The minutes begin from the little oxygen that weak air had left."""
    ends = []
    for before in (True, Air.WEAK):
        shed = hatched_shed()
        shed.run(MINUTE, 28.0, air=before)
        shed.run(6 * MINUTE, 28.0, air=None)
        ends.append(next(a.deadline or 0 for a in shed.engine.alarms() if a.id == NO_NEWS))
    assert ends[1] < ends[0]
