"""What a tick and a reading pass over, and that nothing is missed by it."""

from __future__ import annotations

from random import Random

import pytest

from monitor.core import alarms, at_rest, causes, rules, rules_probes
from monitor.core.alarms import Condition, Memory
from monitor.core.log import Harvest, Start
from monitor.core.model import HOUR, MINUTE, SECOND, Acknowledge, Air, Ms, Tick
from tests.unit.core.worlds import Shed, site

VESSELS = ("ash", "birch")
LASTS = 3 * HOUR


def moves(shed: Shed, found: Condition | None) -> bool:
    """Whether the alarm would change if it were looked at now."""
    if found is None:
        return False
    state = shed.engine.state
    held = causes.hold_back(state, found, shed.now)
    after, told = alarms.step(state.memories.get(found.id, Memory()), held, shed.now)
    return told is not None or (found.id not in state.memories and after != Memory())


def passed_over(shed: Shed) -> int:
    """How many vessels and probes a tick may pass over now; none of them has anything to tell."""
    state, now, count = shed.engine.state, shed.now, 0
    known = at_rest.known_of(state)
    for name, vessel in state.vessels.items():
        if at_rest.vessel_rests(state, vessel, known.get(name, ()), now):
            count += 1
            missed = [one for one in rules.of_vessel(state, vessel, now, slow=False) if moves(shed, one)]
            assert not missed
    for name, probe in state.probes.items():
        if at_rest.probe_rests(probe, known.get(name, ()), now):
            count += 1
            missed = [one for one in rules_probes.on_tick(state, probe, now, slow=False) if moves(shed, one)]
            assert not missed
    return count


def reading_passed_over(shed: Shed, probe: str) -> bool:
    """Whether the newest reading of a probe may be passed over; then no rule that looks at each has anything to say."""
    state, now = shed.engine.state, shed.now
    if not at_rest.reading_rests(state, state.probes[probe], now):
        return False
    assert not [one for one in rules.on_reading(state, state.probes[probe], now) if one is not None]
    return True


class Day:
    """Hours in which probes fall silent, air fails, water gets hot and a keeper comes by, all by chance."""

    def __init__(self, seed: int) -> None:
        self.dice = Random(seed)  # noqa: S311  (chance, not secrecy)
        self.read = self.read_passed = 0
        self.shed = Shed(site(*VESSELS))
        self.silent_until: dict[str, Ms] = {}
        self.air = dict.fromkeys(VESSELS, Air.RUNNING)
        for vessel, age_h in zip(VESSELS, (16, 27), strict=True):
            self.shed.remember(f"{vessel}-water", 30).remember(f"{vessel}-air", 30, lambda _: 1)
            begun = self.shed.now - age_h * HOUR
            self.shed.do(Start(begun, self.shed.now, f"{vessel}-b", vessel, "tin-7", 1.0, 1.0, 25.0))

    def chance(self, one_in: int) -> bool:
        return self.dice.randrange(one_in) == 0

    def minute(self) -> int:
        shed, passed = self.shed, 0
        for vessel in VESSELS:
            if self.chance(40):
                self.air[vessel] = self.dice.choice(list(Air))
            for probe in (f"{vessel}-water", f"{vessel}-air"):
                if self.chance(60):
                    self.silent_until[probe] = shed.now + self.dice.randrange(30) * MINUTE
                if shed.now >= self.silent_until.get(probe, 0):
                    hot = 9.0 if self.chance(50) else 0.0
                    shed.say(probe, self.air[vessel] if probe.endswith("air") else 25.0 + hot + self.dice.random())
                    self.read += 1
                    self.read_passed += reading_passed_over(shed, probe)
        for alarm in shed.engine.alarms():
            if self.chance(20):
                shed.do(Acknowledge(shed.now, alarm.id))
        if self.chance(200) and "ash-b" in shed.engine.open_batches():
            shed.do(Harvest(shed.now, shed.now, "ash-b", 0.6))
        for _ in range(4):
            shed.now += 15 * SECOND
            passed += passed_over(shed)
            shed.do(Tick(shed.now))
        return passed


@pytest.mark.parametrize("seed", range(2))
def test_of_what_a_tick_passes_over_no_alarm_would_have_moved(seed: int) -> None:
    """Whatever happens, who is passed over between slots or at a reading has nothing to tell; and many are."""
    day = Day(seed)
    passed = sum(day.minute() for _ in range(LASTS // MINUTE))
    assert passed > LASTS // MINUTE * 4 * 2
    assert day.shed.moves  # something did ring
    assert day.read / 4 < day.read_passed < day.read
