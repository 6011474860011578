"""What the engine holds in memory: all of it can be rebuilt from the store."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING

from monitor.core.brood_book import BroodBook
from monitor.core.food_book import FoodBook
from monitor.core.history import SlotSeries
from monitor.core.house import House
from monitor.core.light import light
from monitor.core.model import Air, AlarmState
from monitor.core.quality import ProbeState, newest_of
from monitor.core.stores import ColdStore
from monitor.core.undo import Journal
from monitor.core.water import NO_HABIT, Habit

if TYPE_CHECKING:
    from monitor.core.alarms import Condition, Memory
    from monitor.core.causes import Lost
    from monitor.core.eta import Belief
    from monitor.core.food import FoodAhead
    from monitor.core.log import Discard, Harvest, Lapse, Start, Work
    from monitor.core.lots import Lot
    from monitor.core.model import AirWord, Estimate, Ms, Reading, SiteSpec, VesselSpec
    from monitor.core.phones import Phone
    from monitor.core.promise import Foreseen, Outlook
    from monitor.core.water import Forecast


@light(frozen=False)
class Batch:
    """A batch in a vessel; ``ended`` once it was harvested, discarded, or closed because nobody wrote what became of it."""

    start: Start
    belief: Belief | None
    ended: Harvest | Discard | Lapse | None = None
    untaught: str = ""  # why it taught its tin nothing
    estimate: Estimate | None = None  # what the rules last looked at
    rule_due: Ms = 0  # when the rules look at a new one
    expected: float | None = None  # ready, ms, as the keeper could count on it
    expected_water: float | None = None  # C, when that was
    foreseen: Foreseen | None = None  # the water, as it was foreseen then
    future: Forecast | None = None  # the water, as it is foreseen in ``estimate``
    outlooks: list[Outlook] = field(default_factory=list)  # what the forecasts of the last hour said
    promised: float | None = None  # ready, ms, as it was told first, or with an alarm about cold or air since


@light(frozen=False)
class VesselState:
    spec: VesselSpec
    water: SlotSeries = field(default_factory=SlotSeries)
    air: SlotSeries = field(default_factory=SlotSeries)
    water_probes: list[ProbeState] = field(default_factory=list)
    air_probes: list[ProbeState] = field(default_factory=list)
    batch: Batch | None = None
    settle_until: Ms | None = None
    work_until: Ms | None = None  # somebody works on it: its alarms are held back
    weak_looked: Ms = 0  # when the rule about weak air last made a forecast
    habit: Habit = NO_HABIT  # heated or not, in its last batches

    def take(self, work: Work) -> None:
        """Somebody begins to work on it, or says that it is done."""
        self.work_until = work.until if work.until > max(work.time, work.logged) else None

    def time_passes(self, now: Ms) -> None:
        """What a keeper said for a time ends by itself."""
        if self.settle_until is not None and now >= self.settle_until:
            self.settle_until = None
        if self.work_until is not None and now >= self.work_until:
            self.work_until = None

    def newest_water_probe(self) -> ProbeState | None:
        return newest_of(self.water_probes)

    def newest_water(self) -> Reading | None:
        """The newest usable water temperature of all its probes."""
        probe = self.newest_water_probe()
        return None if probe is None else probe.newest

    def newest_air(self) -> ProbeState | None:
        """The probe that tells of its air: of those that were heard about as lately as the newest, the one that says least."""
        if len(self.air_probes) == 1:
            return self.air_probes[0] if self.air_probes[0].newest is not None else None
        told = [(p.newest.time, p) for p in self.air_probes if p.newest is not None]
        newest = max((time for time, _ in told), default=0)
        lately = [(time, p) for time, p in told if newest - time <= 2 * p.spec.every]
        return min(lately, key=lambda one: (one[1].air_state or 0, -one[0]))[1] if lately else None

    def water_c(self) -> float | None:
        newest = self.newest_water()
        return None if newest is None else newest.value

    def air_word(self, now: Ms) -> AirWord:
        """Unknown while no air probe is fresh: a stale value is never shown as the present one."""
        probe = self.newest_air()
        if probe is None or not probe.fresh(now):
            return "unknown"
        return Air(probe.air_state or 0).word


@light(frozen=False)
class State:
    site: SiteSpec
    probes: dict[str, ProbeState]
    vessels: dict[str, VesselState]
    batches: dict[str, Batch] = field(default_factory=dict)
    room: SlotSeries = field(default_factory=SlotSeries)  # all room probes together
    has_room_probe: bool = False
    lots: dict[str, Lot] = field(default_factory=dict)  # what the tins have taught
    sown: dict[str, list[tuple[Ms, float]]] = field(default_factory=dict)  # by tin: when cysts were started, and grams
    cold_stores: dict[str, ColdStore] = field(default_factory=dict)
    tanks: dict[str, SlotSeries] = field(default_factory=dict)  # temperatures of the tanks with eggs and larvae
    food: FoodBook = field(default_factory=FoodBook)
    broods: BroodBook = field(default_factory=BroodBook)
    food_ahead: FoodAhead | None = None  # what the last look ahead has found
    not_before: dict[str, Ms] = field(
        default_factory=dict
    )  # by vessel: until then the keeper wants nothing started in it
    memories: dict[str, Memory] = field(default_factory=dict)
    conditions: dict[str, Condition] = field(default_factory=dict)  # newest finding of each alarm with a memory
    journal: Journal = field(default_factory=Journal)  # what can still be undone
    phones: dict[str, Phone] = field(default_factory=dict)  # that take pushes, or did, by id
    broker_up: bool = True
    broker_since: Ms = 0
    clock_unset: bool = False  # see ``ClockUnset``
    house: House = field(default_factory=House)
    listening_since: Ms = 0  # silence is counted from here at the earliest
    counting_since: Ms = 0  # the same, but a broker that was away counts as silence too
    lost: Lost | None = None  # probes that fell silent together, as it was found last
    unheated: list[VesselState] = field(default_factory=list)  # vessels that nothing heats, as it was found last

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
        stores = {name: ColdStore(spec) for name, spec in site.cold_stores.items()}
        tanks = {probe.spec.tank: SlotSeries() for probe in probes.values() if probe.spec.tank}
        for probe in probes.values():
            store = stores.get(probe.spec.store or "")
            if store is not None:
                (store.air_probes if probe.spec.measures == "air" else store.probes).append(probe)
            if probe.spec.vessel is None or probe.spec.vessel not in vessels:
                continue
            vessel = vessels[probe.spec.vessel]
            if probe.spec.measures == "water":
                vessel.water_probes.append(probe)
            elif probe.spec.measures == "air":
                vessel.air_probes.append(probe)
        has_room = any(probe.spec.measures == "room" for probe in probes.values())
        return State(site, probes, vessels, has_room_probe=has_room, cold_stores=stores, tanks=tanks)
