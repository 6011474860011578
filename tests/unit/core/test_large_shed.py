"""A shed with many vessels: what comes due for all of them at once goes in turns, and a home's all at once as ever."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import pytest

from monitor.core import rules_late, rules_thermal, rules_water, thermal
from monitor.core.log import Seen, Sight, Start, Work
from monitor.core.looks import A_TICK
from monitor.core.model import HOUR, MINUTE, SECOND, SLOT, Air, Ms, Tick
from tests.unit.core.worlds import Shed, site

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.state import VesselState

MANY = 3 * A_TICK - 8
FEW = 6


def names(count: int) -> list[str]:
    return [f"v{number}" for number in range(count)]


class Looks:
    """Which vessels the slow rules look at, by when."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.at: dict[Ms, list[str]] = {}
        for rules, name in ((rules_water, "cold_snap"), (rules_late, "hatch_late")):
            monkeypatch.setattr(rules, name, self._noted(getattr(rules, name)))

    def _noted(self, rule: Callable[..., object]) -> Callable[..., object]:
        def noted(state: object, vessel: VesselState, now: Ms) -> object:
            self.at.setdefault(now, []).append(vessel.spec.id)
            return rule(state, vessel, now)

        return noted


def at_a_slot(vessels: int, **changes: float) -> Shed:
    """Some seconds before a slot begins; whatever was due before has been looked at."""
    shed = Shed(site(*names(vessels), **changes))
    shed.now = (shed.now // SLOT + 1) * SLOT - MINUTE
    for _ in range(55):
        shed.do(Tick(shed.now))
        shed.now += SECOND
    return shed


def with_batches(shed: Shed, vessels: int, age_h: int) -> None:
    begun = shed.now - age_h * HOUR
    for name in names(vessels):
        shed.engine.recall_entry(Start(begun, begun, f"{name}-b", name, "tin-7", 1.0, 1.0, 25.0))


def seconds(shed: Shed, count: int) -> None:
    for _ in range(count):
        shed.now += SECOND
        shed.do(Tick(shed.now))


def test_at_a_slot_many_vessels_are_looked_at_in_turns(monkeypatch: pytest.MonkeyPatch) -> None:
    """No second takes more than its share, and after few seconds each vessel has been looked at, once."""
    shed, looks = at_a_slot(MANY), Looks(monkeypatch)
    seconds(shed, 20)
    assert [len(found) for found in looks.at.values()] == [2 * A_TICK, 2 * A_TICK, 2 * (MANY - 2 * A_TICK)]
    assert max(looks.at) - min(looks.at) == 2 * SECOND
    assert Counter(name for found in looks.at.values() for name in found) == dict.fromkeys(names(MANY), 2)


def test_at_a_slot_few_vessels_are_looked_at_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a home all are looked at in the very tick in which the slot begins, and then no more until the next one."""
    shed, looks = at_a_slot(FEW), Looks(monkeypatch)
    begins = (shed.now // SLOT + 1) * SLOT
    seconds(shed, 60)
    assert looks.at == {begins: [name for name in names(FEW) for _ in range(2)]}


def test_who_waits_for_a_turn_is_waited_for_by_the_second() -> None:
    """Timers that run from due to due, as in a replay, give all their turns in the same seconds as a clock that ticks."""
    shed = at_a_slot(MANY)
    begins = (shed.now // SLOT + 1) * SLOT
    dues = [shed.engine.next_due(shed.now)]
    while len(dues) < 3:
        shed.do(Tick(dues[-1]))
        dues.append(shed.engine.next_due(dues[-1]))
    assert dues == [begins, begins + SECOND, begins + 2 * SECOND]


def test_rare_ticks_pass_nobody_by(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where ticks are too rare for a turn each slot, all still have as many turns as any other."""
    shed, looks = at_a_slot(MANY), Looks(monkeypatch)
    for _ in range(3 * MANY):
        shed.now += SLOT
        shed.do(Tick(shed.now))
    turns = Counter(name for found in looks.at.values() for name in found)
    assert len(turns) == MANY
    assert max(turns.values()) - min(turns.values()) <= 2  # one look, by two rules


def test_work_that_is_done_has_its_vessel_looked_at_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was held back while somebody worked is looked at in the second in which that ends, however many vessels there are."""
    shed = at_a_slot(MANY)
    done = shed.now + 10 * SECOND
    last = names(MANY)[-1]
    shed.do(Work(shed.now, shed.now, last, done))
    looks = Looks(monkeypatch)
    seconds(shed, 10)
    assert last in looks.at[done]


def test_an_entry_and_air_that_stops_wait_for_no_turn() -> None:
    """In the seconds in which many forecasts wait, what a keeper saw is reckoned, and air that stopped rings, as fast as ever."""
    shed = at_a_slot(MANY)
    with_batches(shed, MANY, 26)
    batches = shed.engine.state.batches
    for batch in batches.values():
        batch.rule_due = shed.now + SECOND
    last = names(MANY)[-1]
    seconds(shed, 1)
    waiting = [batch for batch in batches.values() if batch.rule_due <= shed.now]
    assert len(waiting) == MANY - A_TICK
    shed.do(Seen(shed.now, shed.now, f"{last}-b", Sight.MOST))
    known = batches[f"{last}-b"].estimate
    assert known is not None
    assert known.time == shed.now
    shed.say(f"{last}-air", Air.RUNNING)
    shed.say(f"{last}-air", Air.STOPPED)
    assert f"air-stopped:{last}" in shed.engine.state.memories


def test_an_entry_has_its_own_vessel_looked_at_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is logged is looked at where it is about in the same step; others have their turns in the seconds that follow."""
    shed, looks = at_a_slot(MANY), Looks(monkeypatch)
    last = names(MANY)[-1]
    shed.do(Start(shed.now, shed.now, "new", last, "tin-7", 1.0, 1.0, 25.0))
    assert last in looks.at[shed.now]
    assert len(looks.at[shed.now]) == 2 * (A_TICK + 1)
    seconds(shed, 2)
    assert {name for found in looks.at.values() for name in found} == set(names(MANY))


def test_a_batch_due_before_the_others_goes_before_them() -> None:
    """Ready that comes due in the seconds before a forecast of all is told in its second, not after theirs."""
    shed = at_a_slot(MANY)
    with_batches(shed, MANY, 20)
    batches = list(shed.engine.state.batches.values())
    for batch in batches:
        batch.rule_due = shed.now + SECOND
    batches[-1].rule_due = shed.now + 1
    seconds(shed, 1)
    assert batches[-1].estimate is not None
    assert batches[-1].estimate.time == shed.now
    assert sum(batch.rule_due <= shed.now for batch in batches) == MANY - A_TICK


@pytest.mark.parametrize("level", [15.0, 26.0])
def test_each_probe_asks_few_others_what_the_room_is(level: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no probe tells the room, a probe more costs no more than the one before, be the water cold or warm."""
    asked: list[str] = []
    free = thermal.is_free

    def noted(vessel: VesselState, begin: int, end: int) -> bool:
        asked.append(vessel.spec.id)
        return free(vessel, begin, end)

    monkeypatch.setattr(thermal, "is_free", noted)
    for vessels in (20, 40):
        shed = Shed(site(*names(vessels)))
        with_batches(shed, vessels, 30)
        for name in names(vessels):
            shed.remember(f"{name}-water", 20, lambda _: level)
            shed.say(f"{name}-water", level)
        state = shed.engine.state
        asked.clear()
        thermal.look(state, shed.now)
        for vessel in state.vessels.values():
            rules_thermal.probe_out(state, vessel.water_probes[0], shed.now)
        each = 2 * thermal.ENOUGH if level < thermal.FREE_BELOW_C else 0  # of the last hour, and of hours before
        assert len(asked) == each * vessels
