"""Alarms about water that is too cold for a batch to be ready in time."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from monitor.core.alarms import STANDING, Condition, over
from monitor.core.model import MINUTE, SLOT, Ms, Priority, Stage
from monitor.core.promise import steady
from monitor.core.wording import clock, clock_range, duration, meals

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.state import Batch, State, VesselState

COLD: Final = "cold-snap"
RULES: Final = (COLD,)
"""Of vessels."""
SLIP: Final = 45 * MINUTE  # a hatch this much later than could be counted on is worth a word ...
SLIP_SHARE: Final = 1 / 12  # ... or this share of what is still to go, where that is more; common practice, no source
SLIP_CLEAR: Final = 30 * MINUTE
COLDER_C: Final = 0.5  # and the water must be, or be about to get, this much colder than was foreseen then
COLDER_CLEAR_C: Final = 0.25
MEAL_CLEAR: Final = 20 * MINUTE  # a meal is safe again when ready is as likely as not so long before it
TODO: Final = "Move it to a warmer place or heat it; or take the meal from the reserve."


class Slip(NamedTuple):
    """What cold, now or in the night to come, does to a batch, by every forecast of the last hour."""

    matters: bool
    past: bool
    passes: tuple[Ms, ...] = ()  # meals that it misses


def on_tick(state: State, vessel: VesselState, now: Ms, *, slow: bool) -> Iterator[Condition | None]:
    """What is looked at as time passes; ``slow`` once a slot."""
    if slow or f"{COLD}:{vessel.spec.id}" in state.memories:
        yield cold_snap(state, vessel, now)


def developing(vessel: VesselState) -> bool:
    """Whether temperature still decides when the batch will be ready."""
    batch = vessel.batch
    if batch is None:
        return False
    return batch.estimate is None or batch.estimate.stage in (Stage.SOAKING, Stage.DEVELOPING, Stage.HATCHING)


def cold_snap(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """Cold: by level, by a fast fall, or by what it does to the next meal. Looked at once a slot."""
    name = vessel.spec.id
    alarm = f"{COLD}:{name}"
    water = vessel.newest_water()
    batch = vessel.batch
    if batch is None or water is None or not developing(vessel):
        return None if state.idle(alarm) else over(alarm, COLD, name, Priority.MEDIUM, 0, tell=False)
    spec, deadband = vessel.spec, state.site.alarms.deadband_c
    level = water.value < spec.cold_below
    fallen = _fall(vessel, now)
    fall = fallen >= spec.fall_c
    slip = _slip(state, batch, now)
    ahead = slip.matters and not level and not fall and not _colder_already(batch, now)
    if ahead and state.alarm_state(alarm) not in STANDING and not _surely_later(batch):
        ahead, slip = False, slip._replace(matters=False)
    active = level or fall or slip.matters
    if not active and state.idle(alarm):
        return None
    causes = []
    if level:
        causes.append(f"is below its limit of {spec.cold_below:g} C")
    if fall:
        causes.append(f"fell {fallen:.1f} C within {duration(spec.fall_within)}")
    if slip.matters and not causes:
        causes.append(f"{'will get' if ahead else 'is'} colder than when ready was reckoned")
    why = " and ".join(causes) if causes else "is still cold"
    return Condition(
        id=alarm,
        rule=COLD,
        subject=name,
        priority=Priority.MEDIUM,
        active=active,
        clear=water.value >= spec.cold_below + deadband and fallen < spec.fall_c - deadband and slip.past,
        since=now,
        on_delay=state.site.alarms.on_delay,
        off_delay=state.site.alarms.off_delay,
        title=f"Cold ahead in {name}: {water.value:.1f} C now" if ahead else f"Cold in {name}: {water.value:.1f} C",
        text=f"The water {why}. {_consequence(state, batch, slip, now)}",
        todo=TODO,
    )


def _consequence(state: State, batch: Batch, slip: Slip, now: Ms) -> str:
    zone = state.site.timezone
    estimate = batch.estimate
    if estimate is None or estimate.ready.mid is None:
        missed = f"; the {clock(slip.passes[0], zone, now)} feed will be missed" if slip.passes else ""
        return f"At this rate the hatch is not in sight{missed}."
    told = clock_range(estimate.ready, zone, now)
    if batch.expected is None or estimate.ready.mid - batch.expected < SLIP_CLEAR:
        return f"Ready is still expected at about {told}."
    text = f"At this rate the hatch slips from {clock(int(batch.expected), zone, now)} to about {told}"
    passed = meals(zone, state.site.feeding_times, int(batch.expected), int(estimate.ready.mid))
    return text + (f", past the {clock(passed[0], zone, now)} feed." if passed else ".")


def _fall(vessel: VesselState, now: Ms) -> float:
    """How far the water fell from its highest slot of the last ``fall_within`` to its newest, C."""
    end = now // SLOT + 1
    _, means = vessel.water.told(end - vessel.spec.fall_within // SLOT - 1, end)
    return float(means.max() - means[-1]) if len(means) > 1 else 0.0


def _slip(state: State, batch: Batch, now: Ms) -> Slip:
    """A cold that was foreseen makes nothing later."""
    found = steady(batch)
    if found is None:
        return Slip(matters=False, past=False)  # not known: what stands goes on
    if batch.expected is None:
        return Slip(matters=False, past=True)
    least, most = found
    expected, zone, feeds = int(batch.expected), state.site.timezone, state.site.feeding_times
    passes = tuple(meals(zone, feeds, expected, int(least.ready)))
    nearly = bool(meals(zone, feeds, expected, int(most.ready) + MEAL_CLEAR))
    worth = max(SLIP, SLIP_SHARE * (expected - now))
    matters = least.ready - expected >= worth and least.colder >= COLDER_C and bool(passes)
    past = most.ready - expected < SLIP_CLEAR or most.colder < COLDER_CLEAR_C or not nearly
    return Slip(matters, past, passes)


def _surely_later(batch: Batch) -> bool:
    """Whether even the early end of the range is later than could be counted on.

    For cold that is only foreseen: one night without heating makes the next one likely, but not certain.
    """
    lo = None if batch.estimate is None else batch.estimate.ready.lo
    return lo is None or batch.expected is None or lo - batch.expected >= SLIP_CLEAR


def _colder_already(batch: Batch, now: Ms) -> bool:
    """Whether the water is colder now than was foreseen for now, not only going to be."""
    if batch.foreseen is None or batch.future is None:
        return True
    return batch.foreseen.colder(batch.future, now, now) >= COLDER_CLEAR_C
