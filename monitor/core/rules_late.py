"""Alarms about a batch that will be ready too late for a meal, for another reason than cold: a slow tin, above all."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.alarms import HELD_BY_A_PERSON, STANDING, Condition, over
from monitor.core.model import DAY, HOUR, MINUTE, AlarmState, Ms, Priority
from monitor.core.promise import steady
from monitor.core.rules_water import developing
from monitor.core.wording import clock, clock_range, duration, meals

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.state import Batch, State, VesselState

LATE: Final = "hatch-late"
RULES: Final = (LATE,)
"""Of vessels."""
SLIP: Final = 2 * HOUR  # less than this is within what any batch does; common practice, no source
SLIP_CLEAR: Final = HOUR
SLIP_ANYHOW: Final = 6 * HOUR  # where no feeding times are set; common practice, no source
SLIP_ANYHOW_CLEAR: Final = 4 * HOUR
MEAL_CLEAR: Final = 30 * MINUTE
AFTER_ITS_CAUSE: Final = 10 * MINUTE  # an alarm about cold or air that says the same comes first
CAUSES: Final = {"cold-snap": "the cold", "air-stopped": "the air that stopped", "air-weak": "the weak air"}
"""Alarms of the vessel that say themselves that the hatch comes later."""


def on_tick(state: State, vessel: VesselState, now: Ms, *, slow: bool) -> Iterator[Condition | None]:
    """What is looked at as time passes; ``slow`` once a slot."""
    if slow or f"{LATE}:{vessel.spec.id}" in state.memories:
        yield hatch_late(state, vessel, now)


def hatch_late(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """Ready slips past the first meal that the batch was to be ready for, or by many hours where no meals are set."""
    name = vessel.spec.id
    alarm = f"{LATE}:{name}"
    batch = vessel.batch
    if batch is None or not developing(vessel):
        return None if state.idle(alarm) else over(alarm, LATE, name, Priority.MEDIUM, 0, tell=False)
    outlook = steady(batch)
    if batch.promised is None or outlook is None:
        return None
    promised, least, most = int(batch.promised), int(outlook[0].ready), int(outlook[1].ready)
    meal = next(iter(meals(state.site.timezone, state.site.feeding_times, promised, promised + 2 * DAY)), None)
    if meal is None:
        active, clear = least - promised >= SLIP_ANYHOW, most - promised < SLIP_ANYHOW_CLEAR
    else:
        active = least - promised >= SLIP and least > meal
        clear = most - promised < SLIP_CLEAR or most < meal - MEAL_CLEAR
    if not active and state.idle(alarm):
        return None
    return Condition(
        id=alarm,
        rule=LATE,
        subject=name,
        priority=Priority.LOW if meal is None else Priority.MEDIUM,
        active=active,
        clear=clear,
        since=now,
        on_delay=state.site.alarms.on_delay + AFTER_ITS_CAUSE,
        off_delay=state.site.alarms.off_delay,
        title=f"{name} will be ready late"
        if meal is None
        else f"{name} will be too late for {_feed(state, meal, now)}",
        text=_words(state, batch, promised, meal, now),
        todo=_todo(meal),
        suppressed="" if not active else _cause(state, name),
    )


def _feed(state: State, meal: Ms, now: Ms) -> str:
    return f"the {clock(meal, state.site.timezone, now)} feed"


def _words(state: State, batch: Batch, promised: Ms, meal: Ms | None, now: Ms) -> str:
    zone = state.site.timezone
    estimate = batch.estimate
    if estimate is None or estimate.ready.mid is None:
        said = "Its hatch is not in sight"
    else:
        later = duration(int(estimate.ready.mid) - promised)
        said = f"Ready is expected at about {clock_range(estimate.ready, zone, now)}, {later} later"
    chance = ""
    if meal is not None and estimate is not None:
        surely = estimate.ready.lo is None or estimate.ready.lo > meal
        chance = f" The chance that it is ready for {_feed(state, meal, now)} is below {'1 in 10' if surely else 'one half'}."
    seen = batch.belief is not None and batch.belief.evidence
    why = "By what you saw it is slower than this tin was taken to be." if seen else "It is slower than reckoned."
    return f"{said} than the {clock(promised, zone, now)} it was reckoned with at first.{chance} {why}"


def _todo(meal: Ms | None) -> str:
    first = "Start a second batch" if meal is None else "Plan that meal from the reserve, or start a second batch now"
    return f"{first}; 25-28 C brings this one on fastest. Look into it, and log what you see."


def _cause(state: State, vessel: str) -> str:
    """Why it is held back: an alarm that says already that the hatch comes later, and why."""
    for rule, cause in CAUSES.items():
        alarm = f"{rule}:{vessel}"
        found = state.conditions.get(alarm)
        held = (*STANDING, *HELD_BY_A_PERSON, AlarmState.SUPPRESSED)
        if state.alarm_state(alarm) in held or (found is not None and found.active):
            return f"{cause} in {vessel} is what makes it late: see {alarm}"
    return ""
