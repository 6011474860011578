"""The minutes that a push tells after air has stopped, against the oxygen of the simulator, which shares no code with them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
import pytest

from monitor.core.engine import Engine
from monitor.core.log import Start
from monitor.core.model import (
    MINUTE,
    SECOND,
    Alarm,
    AlarmState,
    LotSpec,
    Measures,
    Ms,
    Priority,
    Sample,
    SiteSpec,
    Tick,
    Transition,
    VesselSpec,
)
from simulator.feed import Feed
from simulator.scenario.models import Scenario
from simulator.world import World
from tests.month.run import decoded
from tests.unit.core.worlds import probe

if TYPE_CHECKING:
    from simulator.world import Trace

CELSIUS: Final = 28.0
GRAMS_PER_L: Final = 2.0
FAILS_S: Final = 16 * 3600 + 17
END_S: Final = 24 * 3600
# When the monitor's clock begins to run, and how long it hears: what is judged is told within two minutes.
RUNS_S: Final = FAILS_S - 1800
HEARS_S: Final = FAILS_S + 300
NAMES: Final = tuple(f"jar-{number}" for number in range(40))
SHORT_MG_L: Final = 2.0  # from there on nauplii suffer
RANGE: Final = re.compile(r"Oxygen lasts about (\d+)-(\d+) min more")
USED_UP: Final = re.compile(r"may already be used up(?:; at most (\d+) min)?")


class Told(NamedTuple):
    """What the first urgent push about a vessel says: minutes left, and when it said so."""

    alarm: Alarm
    time: Ms
    lo: float
    hi: float


def scenario() -> Scenario:
    """Forty jars at 28 C with 2 g/L, each of a tin of its own, drawn from what tins are like; all pumps stop for good."""
    return Scenario.model_validate(
        {
            "seed": 28,
            "site": "shed",
            "start": "2026-03-02T08:00:00Z",
            "timezone": "UTC",
            "lead": "1 d",
            "sampled_cysts": 400,
            "room": {"mean_c": CELSIUS, "share": 0.0},
            "vessel": [{"id": name, "litres": 1.0} for name in NAMES],
            "pump": [{"vessel": name, "failure": [{"at": f"{FAILS_S} s", "for_good": True}]} for name in NAMES],
            "tin": [{"id": f"tin-{name}"} for name in NAMES],
            "batch": [
                {"id": name, "vessel": name, "at": "0 s", "tin": f"tin-{name}", "cysts_g": GRAMS_PER_L, "fill_c": CELSIUS}
                for name in NAMES
            ],
            "probe": [
                {
                    "id": f"{name}-{measures}",
                    "topic": f"shed/{name}/{measures}",
                    "measures": measures,
                    "vessel": name,
                    "every": "1 min",
                    "noise_sd": 0.0 if measures == "air" else 0.05,
                    "step": 0.0 if measures == "air" else 0.0625,
                    "payload": {"style": "json", "time": "/time", "value": "/value"},
                }
                for name in NAMES
                for measures in ("water", "air")
            ],
        }
    )  # fmt: skip


def site() -> SiteSpec:
    """The same room as its keeper has configured it: nobody knows these tins."""
    probes = {}
    for name in NAMES:
        probes[f"{name}-water"] = probe(f"{name}-water", Measures.WATER, name)
        probes[f"{name}-air"] = probe(f"{name}-air", Measures.AIR, name)
    vessels = {name: VesselSpec(name, 1.0, cold_below=10.0, hot_above=33.0) for name in NAMES}
    lots = {f"tin-{name}": LotSpec(f"tin-{name}", "great-salt-lake", 75.0) for name in NAMES}
    return SiteSpec("shed", "UTC", (), probes, vessels, lots)


class Jars:
    """The world and the monitor moved together until the oxygen is gone."""

    def __init__(self) -> None:
        plan = scenario()
        self.start: Ms = plan.start_ms
        self._feed = Feed(World(plan), -600)
        self._feed.on_trace = self._see
        self._engine = Engine(site(), self.start - 600 * SECOND)
        self._due: Ms = self.start + RUNS_S * SECOND
        self.short_s: dict[str, float] = {}
        self.told: dict[str, Told] = {}
        self.stopped: dict[str, list[Ms]] = {name: [] for name in NAMES}

    def run(self) -> None:
        """From the start to when all is over."""
        begun = False
        for offset in range(-600, END_S + 1, 600):
            for told in self._feed.until(offset):
                if not begun and told.offset_s >= 0:
                    self._begin()
                    begun = True
                time = self.start + told.offset_s * SECOND
                if told.value == "off":
                    self.stopped[told.probe.id.removesuffix("-air")].append(time)
                if told.offset_s <= HEARS_S:
                    self._hear(told.probe.id, decoded(told, self.start), time)
            if all(name in self.short_s for name in NAMES):
                return

    def _begin(self) -> None:
        for name in NAMES:
            self._take(
                self._engine.step(Start(self.start, self.start, name, name, f"tin-{name}", GRAMS_PER_L, 1.0, 25.0))
            )

    def _hear(self, name: str, sample: Sample, time: Ms) -> None:
        while self._due < time:
            self._take(self._engine.step(Tick(self._due)))
            self._due = self._engine.next_due(self._due)
        effects = self._engine.step(self._engine.judge(name, sample, time))
        self._take(effects)
        if effects and time >= self.start + RUNS_S * SECOND:  # what decided nothing makes nothing due sooner
            self._due = self._engine.next_due(time)

    def _take(self, effects: list[Any]) -> None:
        for move in effects:
            if not isinstance(move, Transition) or move.alarm.rule != "air-stopped" or not move.notify:
                continue
            alarm = move.alarm
            if alarm.state is not AlarmState.UNACKNOWLEDGED or alarm.priority is not Priority.HIGH:
                continue
            if alarm.subject not in self.told:
                self.told[alarm.subject] = Told(alarm, move.time, *_minutes(alarm.text))

    def _see(self, trace: Trace) -> None:
        late = np.asarray(trace.offset_s) >= FAILS_S
        for column, vessel in enumerate(self._feed.world.vessels):
            short = np.nonzero(late & (trace.oxygen_mg_l[:, column] < SHORT_MG_L))[0]
            if len(short):
                self.short_s.setdefault(vessel.id, float(trace.offset_s[short[0]]))


def _minutes(text: str) -> tuple[float, float]:
    if found := RANGE.search(text):
        return float(found[1]), float(found[2])
    found = USED_UP.search(text)
    assert found, text
    return 0.0, float(found[1] or 0)


@pytest.mark.system
def test_the_minutes_of_the_push_cover_what_becomes_of_the_oxygen() -> None:
    """Air stopped over hatching jars at 28 C, 2 g/L: urgent by the second message, with minutes that hold."""
    jars = Jars()
    jars.run()
    urgent = {name: told for name, told in jars.told.items() if told.time - jars.stopped[name][0] <= 2 * MINUTE}
    assert len(urgent) >= 20  # the others have not hatched
    late = [told.time - jars.stopped[name][1] for name, told in urgent.items()]
    assert max(late) <= 0, "none waits for more than the second message"
    truths = {name: (jars.start + jars.short_s[name] * SECOND - told.time) / MINUTE for name, told in urgent.items()}
    covered = [told.lo <= truths[name] < told.hi + 1 for name, told in urgent.items()]
    too_late = [told.lo > 1.3 * truths[name] for name, told in urgent.items()]
    assert sum(covered) >= 0.7 * len(covered), [(told.lo, told.hi, truths[name]) for name, told in urgent.items()]
    assert sum(too_late) <= 0.05 * len(too_late)
