"""Alarms about temperatures that cannot be those of the water: a probe that is stuck, and one that is out of the water."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from monitor.core import thermal
from monitor.core.alarms import HELD_BY_A_PERSON, STANDING, Condition, over
from monitor.core.model import HOUR, SLOT, AlarmState, Measures, Ms, Priority
from monitor.core.wording import clock

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.hatch import Array
    from monitor.core.quality import ProbeState
    from monitor.core.state import Batch, State, VesselState

STUCK: Final = "probe-stuck"
OUT: Final = "probe-out"
RULES: Final = (STUCK, OUT)
"""Of probes."""
KNOWN: Final = (*STANDING, *HELD_BY_A_PERSON, AlarmState.SUPPRESSED)
SAME_FOR: Final = 6 * HOUR
ROOM_SAME_FOR: Final = 12 * HOUR
MUST_MOVE_C: Final = 1.5  # three steps of the coarsest sensor, which tells half degrees
NEAR_C: Final = 1.0  # of the room
NEAR_CLEAR_C: Final = 2.0
FAR_C: Final = 4.0  # from the room: a second probe that is still in the water
TOO_FAST_C: Final = 1.5  # nearer to the room than the fastest water could be
STAYS: Final = thermal.SHORT
TRACKED: Final = 8 * HOUR // SLOT
SWING_C: Final = 3.0  # of the room: with less, water and air look alike
LAG_C: Final = 0.6
BETTER: Final = 3.0  # times: so much nearer it is to the room than to any water
BOTH_ON_DELAY: Final = HOUR
STUCK_TODO: Final = (
    "Warm the probe in your hand: if its value stays, restart it and check its cable. "
    "Until then it tells nothing of the water."
)
OUT_TODO: Final = (
    "Put the probe back below the surface and tie it there. "
    "Until then the hatch time is reckoned from the wrong temperature."
)


def on_probe(state: State, probe: ProbeState, now: Ms) -> Iterator[Condition | None]:
    """Both rules of one temperature probe; once a slot."""
    if probe.spec.measures in (Measures.WATER, Measures.ROOM):
        yield probe_stuck(state, probe, now)
    if probe.spec.measures is Measures.WATER:
        yield probe_out(state, probe, now)


# -- stuck


def probe_stuck(state: State, probe: ProbeState, now: Ms) -> Condition | None:
    """The very same value for hours, in which the water must have moved."""
    alarm = f"{STUCK}:{probe.spec.id}"
    vessel = state.vessels.get(probe.spec.vessel or "")
    known = state.alarm_state(alarm) in KNOWN
    same = _same_since(probe, vessel, now)
    wanted = probe.spec.measures is Measures.ROOM or (vessel is not None and vessel.batch is not None)
    if not wanted or same is None:
        return None if state.idle(alarm) else over(alarm, STUCK, probe.spec.id, Priority.LOW, 0, tell=wanted)
    moved = _moved_meanwhile(state, probe, vessel, same, now)
    if not moved and not known:
        return None if state.idle(alarm) else over(alarm, STUCK, probe.spec.id, Priority.LOW, 0)
    zone = state.site.timezone
    value = probe.newest.value if probe.newest is not None else 0.0
    return Condition(
        id=alarm,
        rule=STUCK,
        subject=probe.spec.id,
        priority=Priority.LOW if vessel is None else Priority.MEDIUM,
        active=True,
        clear=False,
        since=same,
        on_delay=0,  # it has lasted for hours already
        off_delay=0,
        title=f"Probe {probe.spec.id} is stuck",
        text=f"{probe.spec.id} says {value:.2f} C, the very same, since {clock(same, zone, now)}. {moved}".strip(),
        todo=STUCK_TODO,
    )


def _same_since(probe: ProbeState, vessel: VesselState | None, now: Ms) -> Ms | None:
    """Since when it says the very same, if it talks and that is long enough to be looked at."""
    if not probe.fresh(now):
        return None
    same = probe.trail.same_since()
    if same is None:
        return None
    if vessel is not None and vessel.batch is not None:
        same = max(same, vessel.batch.start.time + HOUR)  # another water before
    long_enough = SAME_FOR if vessel is not None else ROOM_SAME_FOR
    if now - same < long_enough or 2 * probe.trail.hours_told(same) < (now - same) // HOUR:
        return None
    return same


def _moved_meanwhile(state: State, probe: ProbeState, vessel: VesselState | None, same: Ms, now: Ms) -> str:
    """What shows that the same value can't be true; empty when nothing does."""
    if probe.newest is None:
        return ""
    begin, end = -(-same // SLOT), now // SLOT
    if vessel is None:
        return _vessels_moved(state, begin, end)
    for other in vessel.water_probes:
        apart = other.trail.spread(same)
        if other is not probe and other.fresh(now) and apart >= MUST_MOVE_C:
            return f"In the same water {other.spec.id} moved by {apart:.1f} C meanwhile: one of the two is wrong."
    room = thermal.surroundings(state, vessel, begin, end)
    if room is None or not len(room):
        return ""
    value, litres = probe.newest.value, vessel.spec.litres
    if (rise := thermal.must_rise(room, value, litres)) >= MUST_MOVE_C:
        return f"The room got warmer: the water must have risen by {rise:.1f} C or more meanwhile."
    unheated = value < thermal.FREE_BELOW_C and vessel.habit.set_c is None
    if unheated and (fall := thermal.must_fall(room, value, litres)) >= MUST_MOVE_C:
        return f"The room got colder: the water must have fallen by {fall:.1f} C or more meanwhile."
    return ""


def _vessels_moved(state: State, begin: int, end: int) -> str:
    """Of the room: the water of vessels that nothing heats follows it, weaker and later."""
    free = [v for v in state.unheated if thermal.is_free(v, begin, end)]
    least = thermal.spread([v.water.filled(begin, end) for v in free])
    if len(free) < 2 or least < MUST_MOVE_C:
        return ""
    return (
        f"The water of {free[0].spec.id} and {free[1].spec.id}, which nothing heats, moved by {least:.1f} C meanwhile."
    )


# -- out of the water


class _Seen(NamedTuple):
    """Why a probe must be out of the water, and since when."""

    since: Ms
    text: str
    on_delay: Ms = 0
    priority: Priority = Priority.MEDIUM


def probe_out(state: State, probe: ProbeState, now: Ms) -> Condition | None:
    """A water probe that follows the room faster than water can. Needs a room that is known, and a batch in the vessel."""
    name = probe.spec.id
    alarm = f"{OUT}:{name}"
    vessel = state.vessels.get(probe.spec.vessel or "")
    batch = None if vessel is None else vessel.batch
    if vessel is None or batch is None:
        return None if state.idle(alarm) else over(alarm, OUT, name, Priority.MEDIUM, 0, tell=False)
    newest = probe.newest
    if newest is None or not probe.fresh(now):
        return None
    known = state.alarm_state(alarm) in KNOWN
    end = now // SLOT
    around = thermal.surroundings(state, vessel, end - STAYS, end)
    if around is None or not len(around):
        return None
    gap = abs(newest.value - float(around[-1]))
    if known and gap > NEAR_CLEAR_C:
        return over(alarm, OUT, name, Priority.MEDIUM, state.site.alarms.off_delay)
    seen = _beside_another(probe, vessel, float(around[-1]), now) or _from_history(state, vessel, batch, end)
    if seen is None and not known:
        return None if state.idle(alarm) else over(alarm, OUT, name, Priority.MEDIUM, 0)
    why = seen or _Seen(now, f"{name} still keeps to the room.")
    return Condition(
        id=alarm,
        rule=OUT,
        subject=name,
        priority=why.priority,
        active=True,
        clear=False,
        since=min(why.since, now),
        on_delay=why.on_delay,
        off_delay=state.site.alarms.off_delay,
        title=f"Probe {name} may be out of the water",
        text=f"{name} {why.text}" if seen else why.text,
        todo=OUT_TODO,
    )


def _beside_another(probe: ProbeState, vessel: VesselState, room_c: float, now: Ms) -> _Seen | None:
    """With a second probe in the same water one of the two tells the room, the other does not."""
    for other in vessel.water_probes:
        if other is probe or probe.newest is None or other.newest is None or not other.fresh(now):
            continue
        if abs(probe.newest.value - room_c) <= NEAR_C and abs(other.newest.value - room_c) >= FAR_C:
            told = (
                f"tells the {room_c:.1f} C of the room, {other.spec.id} in the same water {other.newest.value:.1f} C."
            )
            return _Seen(now, told, BOTH_ON_DELAY)
    return None


def _from_history(state: State, vessel: VesselState, batch: Batch, end: int) -> _Seen | None:
    """Of a vessel with one water probe: a jump to the room, or ups and downs without the lag of water."""
    if len(vessel.water_probes) != 1:
        return None
    begin = max((batch.start.time + HOUR) // SLOT + 1, end - 3 * TRACKED)
    slots, _ = vessel.water.told(begin, end)
    if len(slots) < STAYS or int(slots[-1]) < end - STAYS // 2:
        return None
    room = thermal.surroundings(state, vessel, begin, end)
    if room is None:
        return None
    water = vessel.water.filled(begin, end)
    told = np.zeros(end - begin, dtype=bool)
    told[slots - begin] = True
    return _jumped(state, vessel, water, room, told, end) or _tracks(vessel, water[-TRACKED:], room[-TRACKED:], end)


def _jumped(state: State, vessel: VesselState, water: Array, room: Array, told: Array, end: int) -> _Seen | None:
    away = np.nonzero(np.abs(water - room) > NEAR_C)[0]
    if not len(away) or len(water) - 1 - int(away[-1]) < STAYS:
        return None
    there = int(away[-1]) + 1  # since then it has kept to the room
    tau = thermal.fastest_h(vessel.spec.litres)
    for back in range(2, STAYS + 1):
        first = there - back
        if first < 0 or not told[first : there + 1].all() or water[first] > vessel.spec.hot_above:
            return None
        gap = float(water[first] - room[first])
        could = abs(gap) * float(np.exp(-back * thermal.SLOT_H / tau))
        if could - abs(float(water[there] - room[there])) >= TOO_FAST_C:
            since = (end - len(water) + first) * SLOT
            zone = state.site.timezone
            text = (
                f"went from {water[first]:.1f} to {water[there]:.1f} C within {back * SLOT // 60_000} min after "
                f"{clock(since, zone, end * SLOT)}, faster than water can, and has kept to the room since."
            )
            return _Seen(since, text)
    return None


def _tracks(vessel: VesselState, water: Array, room: Array, end: int) -> _Seen | None:
    if len(water) < TRACKED or float(room.max() - room.min()) < SWING_C:
        return None
    offset = float(np.median(water - room))
    if abs(offset) > NEAR_CLEAR_C:
        return None
    as_air = thermal.rms(water - room - offset)
    wet = thermal.lagged(room + offset, float(water[0]), thermal.fastest_h(vessel.spec.litres))
    as_water = thermal.rms(water - wet)
    if as_water < max(LAG_C, BETTER * as_air):
        return None
    text = f"has followed the room up and down for 8 h without the lag that {vessel.spec.litres:g} L of water have."
    return _Seen((end - len(water)) * SLOT, text, priority=Priority.LOW)
