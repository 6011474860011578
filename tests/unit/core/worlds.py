"""Small worlds for the core: a shed with one or more vessels, and recordings of constant or changing water."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from monitor.core.engine import Engine
from monitor.core.log import LogEntry, Start
from monitor.core.model import (
    HOUR,
    MINUTE,
    SECOND,
    SLOT,
    Air,
    AirRule,
    Alarm,
    AlarmState,
    ClockSet,
    Effect,
    Estimate,
    Event,
    Learned,
    Logged,
    LotSpec,
    Measures,
    Ms,
    ProbeSpec,
    Reading,
    Sample,
    SiteSpec,
    SlotClosed,
    Span,
    Tick,
    Transition,
    VesselSpec,
)
from monitor.core.replay import Measured, replay

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

T0: Ms = 1_772_434_800_000  # 2026-03-02T07:00:00Z
WORD = AirRule("word")


def probe(
    name: str,
    measures: Measures,
    vessel: str | None = "ash",
    every: Ms = 60 * SECOND,
    air: AirRule = WORD,
    low: float = -5,
    high: float = 50,
) -> ProbeSpec:
    return ProbeSpec(name, measures, vessel, every, low=low, high=high, max_rate=1.0, air=air)


def site(*vessels: str, cold: float = 10.0, fall: float = 2.0, **changes: Any) -> SiteSpec:
    names = vessels or ("ash",)
    probes = {}
    for vessel in names:
        probes[f"{vessel}-water"] = probe(f"{vessel}-water", Measures.WATER, vessel)
        probes[f"{vessel}-air"] = probe(f"{vessel}-air", Measures.AIR, vessel)
    values: dict[str, Any] = {
        "id": "shed",
        "timezone": "Europe/Berlin",
        "feeding_times": (420,),
        "probes": probes,
        "vessels": {vessel: VesselSpec(vessel, 1.0, cold_below=cold, hot_above=32.0, fall_c=fall) for vessel in names},
        "lots": {"tin-7": LotSpec("tin-7", "sfb", 85.0)},
    }
    return SiteSpec(**(values | changes))


def start(time: Ms = T0, cysts_g: float = 1.0, batch: str = "b1", lot: str = "new", vessel: str = "ash") -> Start:
    return Start(time, time, batch, vessel, lot, cysts_g, 1.0, 25.0)


def recording(
    water: Callable[[float], float],
    hours: float,
    air: Callable[[float], bool | Air] = lambda _: True,
    before: float = 0.0,
    every: Ms = 5 * MINUTE,
    vessel: str = "ash",
) -> list[Measured]:
    """Water (C) and air as functions of hours since the start, from ``before`` hours earlier on."""
    rows = []
    for k in range(round(-before * HOUR / every), round(hours * HOUR / every) + 1):
        time = T0 + k * every
        hour = k * every / HOUR
        rows.append(Measured(time, f"{vessel}-water", Sample(value=water(hour), time=time)))
        rows.append(Measured(time, f"{vessel}-air", _told(air(hour), time)))
    return rows


def _told(value: float | bool | Air, time: Ms | None) -> Sample:
    """A sample as a decoder makes it: of an air word, or of a number."""
    if isinstance(value, bool | Air):
        return Sample.of_air(Air(value), time)
    return Sample(value=value, time=time)


def slow_site(*vessels: str, **changes: Any) -> SiteSpec:
    """As ``site``, with probes that report every five minutes."""
    made = site(*vessels, **changes)
    slow = {
        name: probe(name, spec.measures, spec.vessel, every=5 * MINUTE, air=spec.air)
        for name, spec in made.probes.items()
    }
    return replace(made, probes=slow)


def lines(
    rows: Iterable[Measured], entries: Iterable[LogEntry], every: Ms = 30 * MINUTE, where: SiteSpec | None = None
) -> list[dict[str, Any]]:
    return list(replay(where or slow_site(), rows, entries, every))


def _repeats(move: Transition) -> bool:
    return move.reason.startswith(("not acknowledged for", "acknowledged "))


class Shed:
    """An engine with a store in memory: what the service keeps, it keeps, and can come back from."""

    def __init__(self, where: SiteSpec | None = None, now: Ms = T0) -> None:
        self.site = where or site()
        self.now = now
        self.engine = Engine(self.site, now)
        self.readings: dict[tuple[Ms, str], Reading] = {}
        self.slots: dict[tuple[Ms, str], tuple[int, int]] = {}
        self.entries: list[LogEntry] = []
        self.standing: dict[str, Alarm] = {}
        self.learned: dict[str, dict[str, Any]] = {}
        self.moves: list[Transition] = []

    # -- coming in

    def remember(self, probe: str, hours: float, celsius: Callable[[float], float] = lambda _: 25.0) -> Shed:
        """Slots from before now, as they lie in the store; ``celsius`` (or 0..1 of air) of hours before now."""
        for k in range(round(hours * 12), 0, -1):
            slot = (self.now // SLOT - k) * SLOT
            self.slots[slot, probe] = (5, 5 * round(1000 * celsius(-k / 12)))
            self.engine.recall_slot(SlotClosed(probe, slot, *self.slots[slot, probe]))
        return self

    def say(self, probe: str, value: float | bool | Air, *, own: Ms | None = None, **how: bool) -> Reading:
        reading = self.engine.judge(probe, _told(value, own), self.now, **how)
        key = reading.time, reading.probe
        if not (reading.own_time and key in self.readings):
            self.readings[key] = reading
            self.do(reading)
        return reading

    def do(self, event: Event) -> list[Effect]:
        effects = self.engine.step(event)
        if isinstance(event, LogEntry):
            self.entries.append(event)
        for effect in effects:
            if isinstance(effect, SlotClosed):
                count, total = self.slots.get((effect.slot, effect.probe), (0, 0))
                self.slots[effect.slot, effect.probe] = (count + effect.count, total + effect.total)
            elif isinstance(effect, Transition):
                self.moves.append(effect)
                self.standing[effect.alarm.id] = effect.alarm
            elif isinstance(effect, Learned):
                self.learned[effect.key] = effect.document
            elif isinstance(effect, Logged):
                self.entries.append(effect.entry)
        return effects

    def wait(self, length: Ms) -> None:
        """Time passes and nothing comes in; the timers run."""
        end = self.now + length
        while self.now < end:
            self.now = min(self.engine.next_due(self.now), end)
            self.do(Tick(self.now))

    def run(
        self,
        length: Ms,
        water: float | Callable[[float], float] | None = 25.0,
        air: bool | Air | None = True,
        vessel: str = "ash",
        every: Ms = MINUTE,
    ) -> None:
        """Both probes of a vessel tell once a period, from now on; ``None`` is silence, water may be of hours since T0."""
        end = self.now + length
        while self.now < end:
            if water is not None:
                self.say(f"{vessel}-water", water((self.now - T0) / HOUR) if callable(water) else water)
            if air is not None:
                self.say(f"{vessel}-air", air)
            self.wait(min(every, end - self.now))

    def begin(self, hours_ago: float = 0.0, cysts_g: float = 1.0, batch: str = "b1", vessel: str = "ash") -> None:
        begun = self.now - round(hours_ago * HOUR)
        self.do(Start(begun, self.now, batch, vessel, "new", cysts_g, 1.0, 25.0))

    def jump(self, by: Ms) -> None:
        """The system clock is set, forth or back."""
        was, self.now = self.now, self.now + by
        self.do(ClockSet(self.now, was))

    # -- looking

    def told(self, alarm: str = "") -> list[Transition]:
        """What told a person something new: not what is told again because it still stands."""
        return [move for move in self.moves if move.notify and move.alarm.id.startswith(alarm) and not _repeats(move)]

    def state(self, alarm: str) -> AlarmState:
        return next((a.state for a in self.engine.alarms() if a.id == alarm), AlarmState.NORMAL)

    # -- coming back

    def restarted(self, where: SiteSpec | None = None) -> Shed:
        """A new engine that knows only what the store has kept; this one goes on untouched."""
        fresh = Shed(where or self.site, self.now)
        for (slot, probe), (count, total) in sorted(self.slots.items()):
            fresh.engine.recall_slot(SlotClosed(probe, slot, count, total))
        since = fresh.engine.reading_recall_from()
        for key in sorted(self.readings):
            if key[0] >= since:
                fresh.engine.recall_reading(self.readings[key])
        for name, document in self.learned.items():
            if name.startswith(("lot/", "vessel/", "undo/")):
                fresh.engine.recall_learned(name, document)
        fresh.engine.recall_log(self.entries)
        for name, document in self.learned.items():
            if not name.startswith(("lot/", "vessel/", "undo/")):
                fresh.engine.recall_learned(name, document)
        for alarm in self.standing.values():
            if alarm.state is not AlarmState.NORMAL:
                fresh.engine.recall_alarm(alarm, told=alarm.state is not AlarmState.SUPPRESSED)
        fresh.readings, fresh.slots = dict(self.readings), dict(self.slots)
        fresh.entries, fresh.standing, fresh.learned = list(self.entries), dict(self.standing), dict(self.learned)
        return fresh


def alike(one: Estimate, other: Estimate) -> bool:
    """Equal but for the last bits of floating point: the same sums may be taken in other portions."""

    def close(a: Span, b: Span, within: float) -> bool:
        pairs = ((a.lo, b.lo), (a.mid, b.mid), (a.hi, b.hi))
        return all((x is None) == (y is None) and abs((x or 0) - (y or 0)) <= within for x, y in pairs)

    instants = all(close(getattr(one, name), getattr(other, name), SECOND) for name in ("t10", "t50", "t90", "ready"))
    rest = [(e.time, e.batch, e.stage, e.water_c, e.water_time, e.air, e.note) for e in (one, other)]
    return instants and close(one.hatched, other.hatched, 1e-6) and rest[0] == rest[1]
