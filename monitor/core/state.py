"""What the engine holds in memory: all of it can be rebuilt from the store."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from monitor.core.history import SlotSeries
from monitor.core.model import Air, AlarmState
from monitor.core.quality import ProbeState
from monitor.core.water import NO_HABIT, Habit

if TYPE_CHECKING:
    from monitor.core.alarms import Condition, Memory
    from monitor.core.eta import Belief
    from monitor.core.log import Discard, Harvest, Start
    from monitor.core.lots import Lot
    from monitor.core.model import AirWord, Estimate, Ms, Reading, SiteSpec, VesselSpec


@dataclass(slots=True)
class Batch:
    """A batch in a vessel; ``ended`` once it was harvested or discarded."""

    start: Start
    belief: Belief | None
    ended: Harvest | Discard | None = None
    untaught: str = ""  # why it taught its tin nothing
    estimate: Estimate | None = None  # what the rules last looked at
    rule_due: Ms = 0  # when the rules look at a new one
    expected: float | None = None  # ready, ms, as the keeper could count on it
    expected_water: float | None = None  # C, when that was


@dataclass(slots=True)
class VesselState:
    spec: VesselSpec
    water: SlotSeries = field(default_factory=SlotSeries)
    air: SlotSeries = field(default_factory=SlotSeries)
    water_probes: list[ProbeState] = field(default_factory=list)
    air_probes: list[ProbeState] = field(default_factory=list)
    batch: Batch | None = None
    settle_until: Ms | None = None
    weak_looked: Ms = 0  # when the rule about weak air last made a forecast
    habit: Habit = NO_HABIT  # heated or not, in its last batches

    def newest_water(self) -> Reading | None:
        """The newest usable water temperature of all its probes."""
        return _newest(self.water_probes)

    def newest_air(self) -> ProbeState | None:
        told = [p for p in self.air_probes if p.newest is not None]
        return max(told, key=lambda p: p.newest.time if p.newest else 0) if told else None

    def water_c(self) -> float | None:
        newest = self.newest_water()
        return None if newest is None else newest.value

    def air_word(self, now: Ms) -> AirWord:
        """Unknown while no air probe is fresh: a stale value is never shown as the present one."""
        probe = self.newest_air()
        if probe is None or not probe.fresh(now):
            return "unknown"
        return Air(probe.air_state or 0).word


def _newest(probes: list[ProbeState]) -> Reading | None:
    told = [p.newest for p in probes if p.newest is not None]
    return max(told, key=lambda r: r.time) if told else None


@dataclass(slots=True)
class State:
    site: SiteSpec
    probes: dict[str, ProbeState]
    vessels: dict[str, VesselState]
    batches: dict[str, Batch] = field(default_factory=dict)
    room: SlotSeries = field(default_factory=SlotSeries)  # all room probes together
    has_room_probe: bool = False
    lots: dict[str, Lot] = field(default_factory=dict)  # what the tins have taught
    memories: dict[str, Memory] = field(default_factory=dict)
    conditions: dict[str, Condition] = field(default_factory=dict)  # newest finding of each alarm with a memory
    broker_up: bool = True
    broker_since: Ms = 0
    listening_since: Ms = 0  # silence is counted from here at the earliest

    def open_batches(self) -> list[Batch]:
        """Batches that have not ended, in the order of the vessels."""
        return [v.batch for v in self.vessels.values() if v.batch is not None]

    def idle(self, alarm: str) -> bool:
        """Whether nothing of this alarm is standing, pending or remembered."""
        return alarm not in self.memories

    def alarm_state(self, alarm: str) -> AlarmState:
        memory = self.memories.get(alarm)
        return AlarmState.NORMAL if memory is None or memory.alarm is None else memory.alarm.state

    @staticmethod
    def of(site: SiteSpec) -> State:
        probes = {name: ProbeState(spec) for name, spec in site.probes.items()}
        vessels = {name: VesselState(spec) for name, spec in site.vessels.items()}
        for probe in probes.values():
            if probe.spec.vessel is None or probe.spec.vessel not in vessels:
                continue
            vessel = vessels[probe.spec.vessel]
            if probe.spec.measures == "water":
                vessel.water_probes.append(probe)
            elif probe.spec.measures == "air":
                vessel.air_probes.append(probe)
        has_room = any(probe.spec.measures == "room" for probe in probes.values())
        return State(site, probes, vessels, has_room_probe=has_room)
