"""The engine as a whole: order and repetition don't matter, what can't be taken changes nothing, timers miss nothing."""

from __future__ import annotations

import pickle
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from monitor.core.engine import Engine
from monitor.core.log import Discard, Harvest, Seen, Settle, Sight, Start
from monitor.core.model import (
    HOUR,
    MINUTE,
    SECOND,
    Acknowledge,
    AlarmState,
    BatchChanged,
    BrokerLink,
    Ms,
    Refused,
    Sample,
    SlotClosed,
    Tick,
)
from tests.unit.core.worlds import T0, Shed, alike, site, slow_site

if TYPE_CHECKING:
    from monitor.core.log import LogEntry
    from monitor.core.model import Estimate, Event
    from monitor.core.progress import Progress

# -- order and repetition

HOURS = 5.0
ROWS = [
    (f"ash-{what}", T0 - HOUR + k * 5 * MINUTE + offset)
    for k in range(round((HOURS + 1) * 12))
    for what, offset in (("water", 11_000), ("air", 17_000))
]
END = T0 + round(HOURS * HOUR)
Slots = dict[tuple[str, Ms], tuple[int, int]]


def sample_of(probe: str, time: Ms) -> Sample:
    """The same world whenever it is told: water that swings by a degree, air that is off for an hour and a half."""
    if probe == "ash-air":
        return Sample(running=not 2 * HOUR <= time - T0 < 3.5 * HOUR, time=time)
    return Sample(value=25.0 + ((time // 60_000) % 7) / 10, time=time)


def tell(order: list[int], start_at: int, *, by_the_clock: bool = False) -> tuple[Estimate, Slots]:
    """Feed the rows in an order and log the start and a look before the given one; what is believed, and all slots."""
    engine = Engine(slow_site(), T0 - HOUR)
    stored: set[tuple[str, Ms]] = set()
    slots: Slots = {}

    def take(event: Event) -> None:
        for effect in engine.step(event):
            if isinstance(effect, SlotClosed):
                count, total = slots.get((effect.probe, effect.slot), (0, 0))
                slots[effect.probe, effect.slot] = count + effect.count, total + effect.total

    for k, index in enumerate(order):
        if k == start_at:
            take(Start(T0, T0, "b1", "ash", "new", 2.0, 1.0, 25.0))
            take(Seen(T0 + 2 * HOUR, T0 + 2 * HOUR, "b1", Sight.NONE))
        probe, time = ROWS[index]
        reading = engine.judge(probe, sample_of(probe, time), time + SECOND if by_the_clock else END)
        if (probe, time) not in stored:
            stored.add((probe, time))
            take(reading)
        if by_the_clock:
            take(Tick(time + SECOND))
    take(Tick(END))
    told = engine.estimate("b1", END)
    take(Tick(END + 3 * HOUR))
    return told, slots


IN_ORDER, ALL_SLOTS = tell(list(range(len(ROWS))), 24, by_the_clock=True)


@given(st.permutations(range(len(ROWS))), st.lists(st.integers(0, len(ROWS) - 1), max_size=40), st.integers(0, 100))
@settings(max_examples=20, deadline=None)
def test_order_and_repetition_do_not_matter(order: list[int], again: list[int], start_at: int) -> None:
    """Readings with times of their own, told in any order and again, give the same slots and the same estimate."""
    told, slots = tell([*order[:90], *again, *order[90:]], start_at)
    assert slots == ALL_SLOTS
    assert alike(told, IN_ORDER)


@given(st.integers(0, 60), st.integers(10, 80))
@settings(max_examples=15, deadline=None)
def test_hours_late_is_as_good_as_in_time(begin: int, length: int) -> None:
    """A stretch of readings that comes hours late, after all others, gives what it would have given in time."""
    late = list(range(begin, min(begin + length, len(ROWS) - 4)))
    order = [*(k for k in range(len(ROWS)) if k not in late), *late]
    told, slots = tell(order, 20)
    assert slots == ALL_SLOTS
    assert alike(told, IN_ORDER)


def test_the_rows_say_something() -> None:
    """The world of these tests is one in which order could matter: the air was off, and every slot is told of."""
    assert len(ALL_SLOTS) == len(ROWS)
    assert {total for (probe, _), (_, total) in ALL_SLOTS.items() if probe == "ash-air"} == {0, 1000}
    assert IN_ORDER.ready.mid is not None


# -- what can't be taken

NOW = T0 + 6 * MINUTE
REFUSALS = [
    (
        Start(NOW, NOW, "b2", "ash", "new", 1.0, 1.0, 25.0),
        "ash still holds batch b1; harvest or discard that one first",
    ),
    (Start(NOW, NOW, "b1", "birch", "new", 1.0, 1.0, 25.0), "already a batch b1; give this one another name"),
    (Start(NOW, NOW, "b2", "oak", "new", 1.0, 1.0, 25.0), "no vessel oak; known are: ash, birch"),
    (Start(NOW, NOW, "b2", "birch", "new", 0.0, 1.0, 25.0), "cysts_g is 0; allowed is more than 0 and at most 1000"),
    (Start(NOW, NOW, "b2", "birch", "new", float("nan"), 1.0, 25.0), "cysts_g is nan; allowed is more than 0"),
    (Start(NOW, NOW, "b2", "birch", "new", 1.0, -1.0, 25.0), "litres is -1; allowed is more than 0 and at most 1000"),
    (Start(NOW, NOW, "b2", "birch", "new", 1.0, 1.0, 201.0), "salinity is 201 g/L; allowed is 0 to 200"),
    (Seen(NOW, NOW, "b9", Sight.FIRST), "no batch b9; open batches: b1"),
    (Seen(NOW, NOW, "old", Sight.FIRST), "batch old has already ended"),
    (Seen(T0 - HOUR, NOW, "b1", Sight.FIRST), "before batch b1 was started"),
    (Seen(NOW, NOW, "b1", Sight.SOME, 1.2), "the hatched fraction is 1.2; allowed is 0 to 1"),
    (Seen(NOW, NOW, "b1", Sight.SOME, float("nan")), "the hatched fraction is nan; allowed is 0 to 1"),
    (Harvest(NOW, NOW, "b1", -0.1), "the hatched fraction is -0.1; allowed is 0 to 1"),
    (Harvest(NOW, NOW, "old"), "batch old has already ended"),
    (Discard(NOW, NOW, "b9"), "no batch b9; open batches: b1"),
    (Settle(NOW, NOW, "oak", NOW + MINUTE), "no vessel oak; known are: ash, birch"),
    (Acknowledge(NOW, "too-hot:ash"), "no alarm too-hot:ash standing; standing: air-stopped:ash"),
]


@pytest.mark.parametrize(("entry", "says"), REFUSALS, ids=lambda value: type(value).__name__)
def test_what_cannot_be_taken_changes_nothing(entry: Event, says: str) -> None:
    """A refused entry says what was found and what would be allowed, and leaves the state as it was."""
    shed = Shed(site("ash", "birch"))
    shed.begin(batch="old", vessel="birch")
    shed.do(Discard(shed.now, shed.now, "old"))
    shed.begin()
    shed.run(3 * MINUTE)
    shed.run(3 * MINUTE, air=False)
    before = pickle.dumps(shed.engine.state)
    with pytest.raises(Refused, match=says.replace("(", r"\(")):
        shed.engine.step(entry)
    assert pickle.dumps(shed.engine.state) == before


def test_a_batch_that_is_opened_or_ended_is_told() -> None:
    """Start, look, harvest: each says which batch has changed."""
    shed = Shed()
    entries: list[LogEntry] = [
        Start(T0, T0, "b1", "ash", "new", 1.0, 1.0, 25.0),
        Seen(T0, T0, "b1", Sight.NONE),
        Harvest(T0, T0, "b1"),
    ]
    for entry in entries:
        assert BatchChanged(T0, "b1") in shed.do(entry)
    assert shed.engine.open_batches() == []


# -- the keeper and the alarms


def test_what_is_acknowledged_is_no_longer_listed_as_new() -> None:
    """Acknowledging names the person, tells nobody, and a second time finds nothing to do."""
    shed = Shed()
    shed.begin()
    shed.run(3 * MINUTE)
    shed.run(3 * MINUTE, air=False)
    shed.do(Acknowledge(shed.now, "air-stopped:ash", "the page"))
    assert shed.state("air-stopped:ash") is AlarmState.ACKNOWLEDGED
    assert shed.moves[-1].reason == "acknowledged by the page"
    assert shed.do(Acknowledge(shed.now, "air-stopped:ash")) == []


def test_the_most_urgent_and_newest_alarm_comes_first() -> None:
    """Alarms are listed by priority, then the newest first; those of a batch are its vessel's, its probes' and the site's."""
    shed = Shed(site("ash", "birch"))
    shed.remember("ash-water", 21, lambda _: 28.0).remember("ash-air", 21, lambda _: 1)
    shed.run(MINUTE, 28.0)
    shed.begin(hours_ago=20)
    shed.run(MINUTE, 28.0, air=False)
    shed.do(BrokerLink(shed.now, up=False))
    shed.wait(6 * MINUTE)
    listed = [a.id for a in shed.engine.alarms() if a.state is AlarmState.UNACKNOWLEDGED]
    assert listed[0] == "air-stopped:ash"
    assert "broker-lost:site" in listed
    assert set(shed.engine.alarm_ids_of("b1")) >= {"air-stopped:ash", "broker-lost:site"}
    assert not [a for a in shed.engine.alarm_ids_of("b1") if "birch" in a]


# -- timers


@given(st.lists(st.tuples(st.sampled_from(["on", "off", "hot", "cool", "silent"]), st.integers(1, 200)), max_size=10))
@example([("on", 180), ("on", 2)])  # one of two that fell silent together speaks again
@settings(max_examples=15, deadline=None)
def test_ticks_when_due_see_what_ticks_each_second_see(acts: list[tuple[str, int]]) -> None:
    """Ticking only when something is due finds every transition within a second of ticking each second, and no other."""
    due, steady = Shed(site(feeding_times=())), Shed(site(feeding_times=()))
    for shed in (due, steady):
        shed.begin()
        shed.run(2 * MINUTE, 30.0)
    for act, seconds in acts:
        for shed in (due, steady):
            if act in ("on", "off"):
                shed.say("ash-air", act == "on")
            elif act != "silent":
                shed.say("ash-water", 32.6 if act == "hot" else 30.5)
        due.wait(seconds * SECOND)
        for _ in range(seconds):
            steady.now += SECOND
            steady.do(Tick(steady.now))
    sequences = [[(m.alarm.id, m.before, m.alarm.state, m.notify) for m in shed.moves] for shed in (due, steady)]
    assert sequences[0] == sequences[1]
    repeats: Counter[str] = Counter()  # each is counted from the one before, so what they are late adds up
    for one, other in zip(due.moves, steady.moves, strict=True):
        repeats[one.alarm.id] += one.before is one.alarm.state
        assert 0 <= other.time - one.time <= SECOND * (1 + repeats[one.alarm.id])


def test_a_probe_that_is_not_configured_is_ignored() -> None:
    """A reading of a probe that the configuration does not know moves nothing."""
    shed = Shed()
    stranger = replace(shed.engine.judge("ash-water", Sample(value=20.0), T0), probe="oak-water")
    before = pickle.dumps(shed.engine.state)
    assert shed.engine.step(stranger) == []
    assert pickle.dumps(shed.engine.state) == before


# -- summing


def test_readings_while_cysts_soak_leave_the_sum_as_it_is() -> None:
    """Before progress begins there is nothing to sum anew; a late reading of that time counts once something is summed."""
    shed = Shed(slow_site()).remember("ash-water", 6)
    shed.begin()

    def summed() -> Progress | None:
        belief = shed.engine.state.batches["b1"].belief
        assert belief is not None
        return belief.progress

    shed.engine.estimate("b1", shed.now)
    begun = summed()
    shed.run(HOUR, every=5 * MINUTE)
    shed.engine.estimate("b1", shed.now)
    assert begun is not None
    assert summed() is begun
    shed.run(3 * HOUR, every=5 * MINUTE)
    shed.engine.estimate("b1", shed.now)
    assert begun.summed

    shed.say("ash-water", 25.4, own=T0 + 11 * MINUTE)

    assert summed() is None, "summed anew at the next estimate"
    assert alike(shed.engine.estimate("b1", shed.now), shed.restarted().engine.estimate("b1", shed.now))
