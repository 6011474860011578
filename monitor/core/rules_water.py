"""Alarms about the water of a batch: cold, too hot."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.alarms import Condition, over
from monitor.core.model import HOUR, MINUTE, SLOT, Ms, Priority, Stage
from monitor.core.wording import clock, clock_range, duration, meals

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.state import Batch, State, VesselState

RULES: Final = ("cold-snap", "too-hot")
"""Of vessels."""
SLIP: Final = 45 * MINUTE  # a hatch this much later than could be counted on is worth a word
SLIP_CLEAR: Final = 30 * MINUTE
COLDER_C: Final = 0.5  # and the water must be at least this much colder than it was then
STOPS_C: Final = 33.0  # above about 33 C development stops (FAO freshwater prawn manual T428 annex 4, restated)


def on_tick(state: State, vessel: VesselState, now: Ms, *, slow: bool) -> Iterator[Condition | None]:
    """What is looked at as time passes; ``slow`` once a slot."""
    if slow or f"cold-snap:{vessel.spec.id}" in state.memories:
        yield cold_snap(state, vessel, now)


def _developing(vessel: VesselState) -> bool:
    """Whether temperature still decides when the batch will be ready."""
    batch = vessel.batch
    if batch is None:
        return False
    return batch.estimate is None or batch.estimate.stage in (Stage.SOAKING, Stage.DEVELOPING, Stage.HATCHING)


def _consequence(state: State, batch: Batch, now: Ms) -> str:
    zone = state.site.timezone
    estimate = batch.estimate
    if estimate is None or estimate.ready.mid is None:
        return "At this rate the hatch is not in sight."
    told = clock_range(estimate.ready, zone, now)
    if batch.expected is None or estimate.ready.mid - batch.expected < SLIP_CLEAR:
        return f"Ready is still expected at about {told}."
    text = f"At this rate ready slips from {clock(int(batch.expected), zone, now)} to about {told}"
    passed = meals(zone, state.site.feeding_times, int(batch.expected), int(estimate.ready.mid))
    return text + (f", past the {clock(passed[0], zone, now)} feed." if passed else ".")


def cold_snap(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """Cold: by level, by a fast fall, or by what it does to the next meal. Looked at once a slot."""
    name = vessel.spec.id
    alarm = f"cold-snap:{name}"
    water = vessel.newest_water()
    batch = vessel.batch
    if batch is None or water is None or not _developing(vessel):
        return None if state.idle(alarm) else over(alarm, "cold-snap", name, Priority.MEDIUM, 0, tell=False)
    spec, deadband = vessel.spec, state.site.alarms.deadband_c
    level = water.value < spec.cold_below
    fallen = _fall(vessel, now)
    fall = fallen >= spec.fall_c
    slip, passes = _slip(state, batch, water.value, now)
    late = slip >= SLIP and passes
    active = level or fall or late
    if not active and state.idle(alarm):
        return None
    clear = (
        water.value >= spec.cold_below + deadband
        and fallen < spec.fall_c - deadband
        and (slip < SLIP_CLEAR or not passes)
    )
    causes = []
    if level:
        causes.append(f"is below its limit of {spec.cold_below:g} C")
    if fall:
        causes.append(f"fell {fallen:.1f} C within {duration(spec.fall_within)}")
    if late and not causes:
        causes.append("is colder than when ready was reckoned")
    why = " and ".join(causes) if causes else "is still cold"
    return Condition(
        id=alarm,
        rule="cold-snap",
        subject=name,
        priority=Priority.MEDIUM,
        active=active,
        clear=clear,
        since=now,
        on_delay=state.site.alarms.on_delay,
        off_delay=state.site.alarms.off_delay,
        title=f"Cold in {name}: {water.value:.1f} C",
        text=f"The water {why}. {_consequence(state, batch, now)}",
        todo="Move it to a warmer place or heat it, or take the meal from the reserve.",
    )


def _fall(vessel: VesselState, now: Ms) -> float:
    """How far the water fell from its highest slot of the last ``fall_within`` to its newest, C."""
    end = now // SLOT + 1
    _, means = vessel.water.told(end - vessel.spec.fall_within // SLOT - 1, end)
    return float(means.max() - means[-1]) if len(means) > 1 else 0.0


def _slip(state: State, batch: Batch, water_c: float, now: Ms) -> tuple[float, bool]:
    """How much later than could be counted on the batch will be ready through cold, ms; and whether a meal lies between."""
    estimate = batch.estimate
    if estimate is None or batch.expected is None or batch.expected_water is None:
        return 0.0, False
    if water_c > batch.expected_water - COLDER_C:
        return 0.0, False
    ready = estimate.ready.mid
    if ready is None:
        ready = float(now + 30 * 24 * HOUR)
    passes = bool(meals(state.site.timezone, state.site.feeding_times, int(batch.expected), int(ready)))
    return ready - batch.expected, passes


def too_hot(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """Too hot for cysts or nauplii."""
    name = vessel.spec.id
    alarm = f"too-hot:{name}"
    water = vessel.newest_water()
    active = vessel.batch is not None and water is not None and water.value > vessel.spec.hot_above
    if not active and state.idle(alarm):
        return None
    if vessel.batch is None or water is None:
        return over(alarm, "too-hot", name, Priority.HIGH, 0, tell=False)
    stops = "Development has about stopped. " if water.value >= STOPS_C else ""
    return Condition(
        id=alarm,
        rule="too-hot",
        subject=name,
        priority=Priority.HIGH if water.value >= STOPS_C else Priority.MEDIUM,
        active=active,
        clear=water.value <= vessel.spec.hot_above - state.site.alarms.deadband_c,
        since=water.time if active else now,
        on_delay=state.site.alarms.on_delay,
        off_delay=state.site.alarms.off_delay,
        title=f"Too hot in {name}: {water.value:.1f} C",
        text=(
            f"The water is above its limit of {vessel.spec.hot_above:g} C. {stops}"
            "Above about 33 C development stops; above 40 C cysts die, nauplii earlier."
        ),
        todo="Switch the heater off at the wall, move it out of the sun, float a sealed bag of cool water in it.",
    )
