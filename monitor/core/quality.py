"""Judging a sample: what can be used, what is kept aside and why."""

from __future__ import annotations

from dataclasses import field, replace
from typing import TYPE_CHECKING, Final

from monitor.core.doubts import Doubts
from monitor.core.light import light
from monitor.core.model import DAY, HOUR, MINUTE, Air, Measures, Ms, ProbeSpec, Quality, Reading, Sample
from monitor.core.trail import KEEP_HOURS, Trail

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy as np
    from numpy.typing import NDArray

    Slots = NDArray[np.int64]

POWER_ON_C: Final = 85.0  # what a common one-wire sensor tells when it was read before it had measured (its data sheet)
MISSING_C: Final = -127.0  # what common driver code tells when the sensor does not answer
FUTURE: Final = 2 * MINUTE  # clocks of probes may be this far ahead
CLOCK_UNSET: Final = 1_577_836_800_000  # 2020-01-01: an older own time is a clock that was never set
TRAIL: Final = (KEEP_HOURS + 1) * HOUR
JUMP_C: Final = 3.0  # a step up to this is never called impossible
JUMP_PERSISTS: Final = 3  # as many alike in a row are believed

# To ask an enumeration for a member by name takes ten times as long as this; a reading asks a dozen times.
_OK, _SUSPECT, _AIR = Quality.OK, Quality.SUSPECT, Measures.AIR
_STOPPED, _RUNNING, _WEAK = Air.STOPPED, Air.RUNNING, Air.WEAK


@light(frozen=False)
class ProbeState:
    """What is remembered of one probe."""

    spec: ProbeSpec
    newest: Reading | None = None  # the newest usable reading, by its time
    heard: Ms | None = None  # arrival of the newest message of any kind
    air_since: Ms | None = None  # since when the air state is what it is
    air_state: int | None = None
    air_seen: Ms | None = None  # when it was last seen to run, weakly or not
    seen_weak: bool = False  # whether it was weak then
    odd: list[tuple[Ms, int]] = field(default_factory=list)  # time and thousandths of the jumps in a row
    last_count: tuple[Ms, float] | None = None  # pulses: time and count before
    accepted: int = 0
    suspect: int = 0
    last_reason: str = ""
    trail: Trail = field(default_factory=Trail)  # of a temperature
    doubts: Doubts = field(default_factory=Doubts)

    def age(self, now: Ms) -> Ms | None:
        return None if self.newest is None else max(now - self.newest.time, 0)

    def fresh(self, now: Ms) -> bool:
        """Fresh means: usable, and not older than two of its periods; of what lies ahead of the clock nobody knows the age."""
        return self.newest is not None and -FUTURE <= now - self.newest.time <= 2 * self.spec.every

    def fresh_for(self, now: Ms) -> Ms | None:
        """How long it stays fresh if it says nothing more; ``None`` when it is not."""
        if self.newest is None or not self.fresh(now):
            return None
        return self.newest.time + 2 * self.spec.every - now

    def recall(self, begin: Ms, count: int, total: int) -> None:
        """Learn from a slot of the history, dated from its beginning: never younger than what was told in it."""
        if self.spec.measures is not Measures.AIR:
            self.trail.add(begin, total // count, -(-total // count))
        if self.newest is not None and begin < self.newest.time:
            return
        state = None
        if self.spec.measures is Measures.AIR:
            state = self._recall_air(begin, count, total)
        self.newest = Reading(self.spec.id, begin, round(total / count), state=state, arrived=begin)

    def _recall_air(self, begin: Ms, count: int, total: int) -> int:
        state = int(_air_of_slot(count, total))
        if total > 0:
            self.air_seen, self.seen_weak = begin, state == Air.WEAK
        if state != self.air_state:
            self.air_state, self.air_since = state, begin
        return state

    def recall_all(self, begins: Slots, counts: Slots, totals: Slots) -> None:
        """``recall`` of many slots in order of time, shape (k,) each: only those that still tell anything are looked at."""
        told = range(len(begins))
        if self.newest is None and told:
            self._recall_behind(begins, counts, totals)
            told = told[-1:]
        for i in told:
            self.recall(int(begins[i]), int(counts[i]), int(totals[i]))

    def _recall_behind(self, begins: Slots, counts: Slots, totals: Slots) -> None:
        """What lies behind the newest slot."""
        if self.spec.measures is not Measures.AIR:
            recent = begins >= begins[-1] - TRAIL
            begins, counts, totals = begins[recent], counts[recent], totals[recent]
            self.trail.add_all(begins, totals // counts, -(-totals // counts))
            return
        lacking = 1000 * counts - totals  # while that is the same, so is the air
        (turns,), (runs,) = (lacking[1:] != lacking[:-1]).nonzero(), (totals > 0).nonzero()
        for i in sorted({0, *(turns + 1).tolist(), *runs[-1:].tolist()}):
            self._recall_air(int(begins[i]), int(counts[i]), int(totals[i]))

    def not_ahead(self, now: Ms) -> None:
        """What the store knows from beyond ``now`` is of no known age: it is kept as stale, and what comes next is newer."""
        if self.newest is None or self.newest.time <= now + FUTURE:
            return
        self.newest = replace(self.newest, time=now - 2 * self.spec.every - 1)
        if self.air_since is not None:
            self.air_since = min(self.air_since, self.newest.time)
        if self.air_seen is not None:
            self.air_seen = min(self.air_seen, self.newest.time)

    def clock_set(self, by: Ms) -> None:
        """The clock was set by this much: what has lasted goes on, and no age shrinks."""
        if self.newest is not None and by < 0:
            self.newest = replace(self.newest, time=self.newest.time + by)
        if self.air_since is not None:
            self.air_since += by
        if self.air_seen is not None:
            self.air_seen += by
        self.trail.forget()
        self.doubts = Doubts()
        self.last_count = None  # a rate over the jump would be none
        self.odd.clear()


def newest_of(probes: Iterable[ProbeState]) -> ProbeState | None:
    """The probe that told a usable value last; ``None`` while none has told any."""
    told = [(probe.newest.time, probe) for probe in probes if probe.newest is not None]
    return max(told, key=lambda one: one[0])[1] if told else None


def judge(state: ProbeState, sample: Sample, arrived: Ms, *, retained: bool = False, queued: bool = False) -> Reading:
    """Make a reading of a sample that arrived at ``arrived``. Changes only what ``state`` needs for pulses and jumps."""
    time, quality, reason, own = _time_of(sample, arrived, retained, queued)
    spec = state.spec
    if sample.running is not None:
        air = _STOPPED if not sample.running else _WEAK if sample.weak else _RUNNING
        return Reading(spec.id, time, air.milli, quality, reason, int(air), sample.seq, own, arrived)
    value = 0.0 if sample.value is None else sample.value
    if spec.measures is _AIR:
        air_state = _air_state(state, value, time) if quality.usable else None
        return Reading(spec.id, time, round(value * 1000), quality, reason, air_state, sample.seq, own, arrived)
    milli = round(value * 1000)
    if quality.usable:
        doubt = _doubt(state, value, time)
        if doubt:
            quality, reason = Quality.SUSPECT, doubt
    return Reading(spec.id, time, milli, quality, reason, None, sample.seq, own, arrived)


def _time_of(sample: Sample, arrived: Ms, retained: bool, queued: bool) -> tuple[Ms, Quality, str, bool]:
    own = sample.time
    if own is not None and CLOCK_UNSET <= own <= arrived + FUTURE:
        return own, _OK, "", True
    # From here on it has told no time that can be true; what the broker kept is then of no known age.
    if retained:
        return arrived, Quality.LAST_KNOWN, "retained by the broker, no time of its own", False
    if queued:
        return arrived, Quality.QUEUED, "waited at the broker, time uncertain", False
    if own is not None and own > arrived:
        ahead = (own - arrived) // 1000
        return arrived, Quality.CLAMPED, f"its own time is {ahead} s in the future", False
    return arrived, _OK, "", False


def _doubt(state: ProbeState, value: float, time: Ms) -> str:
    """Why a temperature cannot be believed; empty when it can."""
    spec = state.spec
    if abs(value - POWER_ON_C) < 0.005:
        return "85.0 C is the sensor's power-on value, not a measurement"
    if abs(value - MISSING_C) < 0.005:
        return "-127 C means that the sensor did not answer"
    if not spec.low <= value <= spec.high:
        return f"{value:.1f} C is outside the probe's range {spec.low:g}..{spec.high:g} C"
    newest = state.newest
    if newest is None or time < newest.time or time - newest.time > DAY:
        return ""
    step = abs(value - newest.value)
    allowed = max(JUMP_C, spec.max_rate * (time - newest.time) / MINUTE)
    if step <= allowed:
        state.odd.clear()
        return ""
    milli = round(value * 1000)
    if state.odd and abs(milli - state.odd[-1][1]) > JUMP_C * 1000:
        state.odd.clear()
    if not state.odd or time > state.odd[-1][0]:  # one that is delivered again does not confirm itself
        state.odd.append((time, milli))
    if len(state.odd) >= JUMP_PERSISTS:
        state.odd.clear()
        return ""
    return f"a jump of {step:.1f} C since the reading before"


def _air_state(state: ProbeState, value: float, time: Ms) -> int | None:
    """An ``Air`` by thresholds and deadband; ``None`` when a first count cannot tell yet."""
    rule = state.spec.air
    level = value
    if rule.kind == "pulses":
        before = state.last_count
        if before is not None and time <= before[0]:
            return None  # late, or told again
        state.last_count = (time, value)
        if before is None or value < before[1]:
            return None
        level = (value - before[1]) / ((time - before[0]) / MINUTE)
    was = state.air_state
    if level < rule.threshold - rule.deadband or (level < rule.threshold and was == Air.STOPPED):
        return int(Air.STOPPED)
    if rule.weak_below is None:
        return int(Air.RUNNING)
    weak = level < rule.weak_below or (level < rule.weak_below + rule.deadband and was == Air.WEAK)
    return int(Air.WEAK if weak else Air.RUNNING)


def _air_of_slot(count: int, total: int) -> Air:
    """The worst of a slot's air, until something newer says otherwise: off for a part of it is off. See ``Air.milli``."""
    lacking = 1000 * count - total
    if lacking <= 0:
        return Air.RUNNING
    return Air.WEAK if lacking % (1000 - Air.WEAK.milli) == 0 else Air.STOPPED


def accept(state: ProbeState, reading: Reading) -> bool:
    """Take a reading that is new to the store; returns whether it became the probe's newest usable one."""
    state.heard = reading.arrived if state.heard is None else max(state.heard, reading.arrived)
    if not reading.quality.usable:
        state.suspect += 1
        state.last_reason = reading.reason
        if reading.quality is _SUSPECT:
            state.doubts.add(reading.arrived or reading.time, state.spec.every, bad=True)
        return False
    state.accepted += 1
    state.last_reason = ""
    state.doubts.add(reading.arrived or reading.time, state.spec.every, bad=False)
    if state.spec.measures is not _AIR:
        state.trail.add(reading.time, reading.milli, reading.milli)
    elif reading.state is None:
        return False
    if state.newest is not None and reading.time < state.newest.time:
        return False
    if reading.state is not None and reading.state != state.air_state:
        state.air_state, state.air_since = reading.state, reading.time
    if reading.state:
        state.air_seen, state.seen_weak = reading.time, reading.state == _WEAK
    state.newest = reading
    return True
