"""Cause before effect: what is held back because its cause is told, and what never is."""

from __future__ import annotations

import pytest

from monitor.core.log import Discard, Harvest, Work
from monitor.core.model import (
    HOUR,
    MINUTE,
    SECOND,
    Acknowledge,
    AlarmState,
    BrokerLink,
    Ms,
    Priority,
    Refused,
    TakeOutOfService,
)
from tests.unit.core.worlds import Shed, probe, site

VESSELS = ("ash", "birch", "cedar")
PROBES_LOST = "probes-lost:site"


def heard(shed: Shed, length: Ms, *but: str, every: Ms = MINUTE) -> None:
    """All probes of the shed tell once a minute, water of 25 C and running air, but for those that are silent."""
    end = shed.now + length
    while shed.now < end:
        for name in shed.site.probes:
            if name not in but:
                shed.say(name, True if name.endswith("air") else 25.0)
        shed.wait(min(every, end - shed.now))


def shed_of_three(*batches: str) -> Shed:
    """Its probes are heard for a quarter of an hour, with just begun batches in these vessels."""
    shed = Shed(site(*VESSELS))
    heard(shed, 10 * MINUTE)
    for vessel in batches:
        shed.begin(batch=f"in-{vessel}", vessel=vessel)
    heard(shed, 5 * MINUTE)
    assert shed.told() == []
    return shed


def rung(shed: Shed) -> list[str]:
    return [move.alarm.id for move in shed.told() if not move.alarm.over]


# -- the broker


def test_a_lost_broker_is_told_in_place_of_its_probes() -> None:
    """While the broker is not reached no probe of the house is told to be silent, and each is shown as held back by it."""
    shed = shed_of_three("ash", "birch")
    shed.do(BrokerLink(shed.now, up=False))
    shed.wait(HOUR)
    assert rung(shed) == ["broker-lost:site"]
    for name in shed.site.probes:
        assert shed.state(f"probe-silent:{name}") is AlarmState.SUPPRESSED
        held = next(a for a in shed.engine.alarms() if a.id == f"probe-silent:{name}")
        assert held.reason == "the broker is not reached"


def test_a_broker_that_is_back_within_two_minutes_is_nobodys_trouble() -> None:
    """A broker that starts again is not told, nor what was not heard meanwhile."""
    shed = shed_of_three("ash")
    shed.do(BrokerLink(shed.now, up=False))
    shed.wait(2 * MINUTE - 1)
    shed.do(BrokerLink(shed.now, up=True))
    heard(shed, 20 * MINUTE)
    assert shed.told() == []


def test_a_broker_that_was_told_to_be_lost_is_told_once_when_it_is_back() -> None:
    """After an hour without the broker its return is one word, and the probes that are heard again are none."""
    shed = shed_of_three("ash")
    shed.do(BrokerLink(shed.now, up=False))
    shed.wait(HOUR)
    shed.do(BrokerLink(shed.now, up=True))
    heard(shed, 20 * MINUTE)
    assert [move.alarm.id for move in shed.told()] == ["broker-lost:site"] * 2
    assert [a.id for a in shed.engine.alarms() if a.id.startswith("probe-")] == []


def test_a_probe_told_before_the_broker_was_lost_is_held_back_no_more() -> None:
    """What a person was told already stays as it is: a cause that comes later takes nothing back."""
    shed = shed_of_three("ash")
    heard(shed, 10 * MINUTE, "ash-water")
    assert rung(shed) == ["probe-silent:ash-water"]
    shed.do(BrokerLink(shed.now, up=False))
    shed.wait(HOUR)
    assert shed.state("probe-silent:ash-water") is AlarmState.UNACKNOWLEDGED
    assert rung(shed) == ["probe-silent:ash-water", "broker-lost:site"]


# -- all probes at once


def test_all_probes_lost_at_once_are_one_word() -> None:
    """Six probes that fall silent in one minute are one alarm that says so, names the vessels, and tells what to look at."""
    shed = shed_of_three("ash", "birch")
    shed.wait(HOUR)
    (told,) = shed.told()
    assert (told.alarm.id, told.alarm.priority) == (PROBES_LOST, Priority.MEDIUM)
    assert told.alarm.title == "All 6 probes silent: power or Wi-Fi lost"
    assert "fell silent together at 08:14" in told.alarm.text
    assert told.alarm.text.endswith("Nothing is known of ash and birch.")
    assert told.alarm.todo.startswith("Look whether the pumps run")
    assert {shed.state(f"probe-silent:{name}") for name in shed.site.probes} == {AlarmState.SUPPRESSED}


def test_all_probes_that_come_back_together_are_one_word_more() -> None:
    """When the power is back that is told once; the probes' own alarms have never been told and end in silence."""
    shed = shed_of_three("ash")
    shed.wait(HOUR)
    heard(shed, 30 * MINUTE)
    assert [(m.alarm.id, m.alarm.over) for m in shed.told()] == [(PROBES_LOST, False), (PROBES_LOST, True)]
    assert [a.id for a in shed.engine.alarms() if a.id.startswith("probe-")] == []


def test_a_power_cut_that_is_over_within_three_minutes_is_nobodys_trouble() -> None:
    """A router that starts again is not told."""
    shed = shed_of_three("ash")
    shed.wait(2 * MINUTE)
    heard(shed, 20 * MINUTE)
    assert shed.told() == []


def test_who_stays_silent_when_the_others_are_back_is_told_by_name() -> None:
    """A probe that a power cut has killed is told once the others are heard again, for itself."""
    shed = shed_of_three("ash")
    shed.wait(HOUR)
    heard(shed, 30 * MINUTE, "ash-water")
    assert rung(shed) == [PROBES_LOST, "probe-silent:ash-water"]


def test_one_of_six_is_told_by_name() -> None:
    """One probe that falls silent while all others are heard is its own alarm after three periods and a minute."""
    shed = shed_of_three("ash")
    last = shed.now - MINUTE
    heard(shed, 30 * MINUTE, "ash-water")
    assert [(m.alarm.id, m.time) for m in shed.told()] == [("probe-silent:ash-water", last + 4 * MINUTE)]


def test_one_after_the_other_is_no_power_cut() -> None:
    """Three probes that fall silent a quarter of an hour apart are three troubles."""
    shed = shed_of_three("ash")
    gone: list[str] = []
    for name in ("ash-water", "birch-water", "cedar-water"):
        gone.append(name)
        heard(shed, 15 * MINUTE, *gone)
    assert rung(shed) == [f"probe-silent:{name}" for name in gone]


def test_probes_with_other_periods_are_lost_with_the_rest() -> None:
    """A probe that reports each ten minutes is waited for, and counts as lost with those that report each minute."""
    where = site("ash", "birch")
    where.probes["birch-water"] = probe("birch-water", where.probes["birch-water"].measures, "birch", 10 * MINUTE)
    shed = Shed(where)
    heard(shed, 10 * MINUTE)
    shed.begin()
    heard(shed, 5 * MINUTE)
    shed.wait(2 * HOUR)
    assert rung(shed) == [PROBES_LOST]


def test_out_of_service_lets_the_probes_speak_for_themselves() -> None:
    """Who takes the common alarm out of service hears of each probe instead of nothing."""
    shed = shed_of_three("ash")
    shed.do(TakeOutOfService(shed.now, PROBES_LOST))
    shed.wait(HOUR)
    assert sorted(rung(shed)) == sorted(f"probe-silent:{name}" for name in shed.site.probes)


def test_a_power_cut_survives_a_restart() -> None:
    """After a restart the common alarm stands, nothing is told anew, and it ends when the probes are heard."""
    before = shed_of_three("ash")
    before.wait(HOUR)
    shed = before.restarted()
    shed.wait(HOUR)
    assert shed.told() == []
    assert shed.state(PROBES_LOST) is AlarmState.UNACKNOWLEDGED
    heard(shed, 30 * MINUTE)
    assert [(m.alarm.id, m.alarm.over) for m in shed.told()] == [(PROBES_LOST, True)]


# -- a batch that is out of its vessel


@pytest.mark.parametrize("how", [Harvest, Discard])
def test_a_batch_that_is_out_silences_the_rules_of_its_vessel(how: type[Harvest | Discard]) -> None:
    """In a vessel without a batch stopped air, cold water and heat are nobody's trouble."""
    shed = shed_of_three("ash", "birch")
    shed.do(how(shed.now, shed.now, "in-ash"))
    for water in (3.0, 40.0):
        for _ in range(90):
            shed.say("ash-water", water)
            shed.say("ash-air", False)
            heard(shed, MINUTE, "ash-water", "ash-air")
    assert shed.told() == []


def test_ending_a_batch_ends_what_rings_for_it() -> None:
    """The alarms of a vessel are over with its batch, without a word to the keeper who has just emptied it."""
    shed = shed_of_three("ash", "birch")
    for _ in range(20):
        shed.say("ash-water", 5.0)
        shed.say("ash-air", False)
        heard(shed, MINUTE, "ash-water", "ash-air")
    assert sorted(rung(shed)) == ["air-stopped:ash", "cold-snap:ash"]
    shed.do(Harvest(shed.now, shed.now, "in-ash"))
    heard(shed, HOUR)
    assert [a for a in shed.engine.alarms() if a.subject == "ash"] == []
    assert [move.alarm.id for move in shed.told() if move.alarm.over] == []


# -- somebody is at work


def working(shed: Shed, length: Ms, vessel: str = "cedar") -> None:
    shed.do(Work(shed.now, shed.now, vessel, shed.now + length))


def test_work_holds_back_its_vessel_and_no_other() -> None:
    """While the keeper works on cedar its air and its probes are held back by design, with the reason; birch's are not."""
    shed = shed_of_three("birch", "cedar")
    working(shed, HOUR)
    for _ in range(30):
        heard(shed, MINUTE, "cedar-water", "cedar-air", "birch-air")
        shed.say("cedar-air", False)
        shed.say("birch-air", False)
    assert rung(shed) == ["air-stopped:birch"]
    for alarm in ("air-stopped:cedar", "probe-silent:cedar-water"):
        held = next(a for a in shed.engine.alarms() if a.id == alarm)
        assert (held.state, held.reason) == (AlarmState.SUPPRESSED, "work on cedar until 09:15")


def test_work_ends_by_itself() -> None:
    """What still stands when the time is over rings in that moment; nobody has to say that the work is done."""
    shed = shed_of_three("cedar")
    working(shed, HOUR)
    ends = shed.now + HOUR
    while shed.now < ends + 10 * MINUTE:
        heard(shed, MINUTE, "cedar-air")
        shed.say("cedar-air", False)
    assert [(m.alarm.id, m.time) for m in shed.told()] == [("air-stopped:cedar", ends)]


def test_work_that_left_nothing_behind_is_never_told() -> None:
    """What began and ended while somebody was at work is no word to anybody."""
    shed = shed_of_three("cedar")
    working(shed, HOUR)
    for _ in range(30):
        heard(shed, MINUTE, "cedar-air", "cedar-water")
        shed.say("cedar-air", False)
    heard(shed, 2 * HOUR)
    assert shed.told() == []


def test_work_that_is_said_to_be_done_ends_at_once() -> None:
    """An end that lies not after now is the word that the work is done."""
    shed = shed_of_three("cedar")
    working(shed, HOUR)
    for _ in range(10):
        heard(shed, MINUTE, "cedar-air")
        shed.say("cedar-air", False)
    assert rung(shed) == []
    working(shed, 0)
    assert rung(shed) == ["air-stopped:cedar"]


def test_work_survives_a_restart() -> None:
    """After a restart the vessel is still said to be worked on, until the same moment."""
    before = shed_of_three("cedar")
    working(before, HOUR)
    ends = before.now + HOUR
    for _ in range(10):
        heard(before, MINUTE, "cedar-air")
        before.say("cedar-air", False)
    shed = before.restarted()
    while shed.now < ends + 10 * MINUTE:
        heard(shed, MINUTE, "cedar-air")
        shed.say("cedar-air", False)
    assert [(m.alarm.id, m.time) for m in shed.told()] == [("air-stopped:cedar", ends)]


def test_work_cannot_be_forgotten_for_a_day() -> None:
    """Work for longer than four hours is refused, so that no vessel stays unwatched by a slip."""
    shed = shed_of_three("cedar")
    working(shed, 4 * HOUR)
    with pytest.raises(Refused, match="allowed is at most 4 h"):
        working(shed, 4 * HOUR + SECOND)


def test_an_acknowledged_cause_still_holds_back_its_effects() -> None:
    """Taking note of the common alarm does not let the probes ring one by one."""
    shed = shed_of_three("ash")
    shed.wait(10 * MINUTE)
    shed.do(Acknowledge(shed.now, PROBES_LOST))
    shed.wait(3 * HOUR)
    assert rung(shed) == [PROBES_LOST]
