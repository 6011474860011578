"""Alarms about a batch that waits for its harvest: ready, its best time ending, past its best.

A keeper who was told that it is ready knows until when. So one forgotten vessel is one push at ready, one reminder where that was
a while ago, and one line when it is too late; each once for a batch, unless the keeper's own entry moves its times.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.alarms import HELD_BY_A_PERSON, STANDING, Condition, over
from monitor.core.dispatch import heard
from monitor.core.model import HOUR, MINUTE, AlarmState, Ms, Priority, Stage
from monitor.core.rules_forgotten import due, last_look
from monitor.core.wording import clock, clock_range, duration

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.state import Batch, State, VesselState

READY: Final = "ready"
ENDING: Final = "best-ending"
PAST: Final = "past-best"
RULES: Final = (READY, ENDING, PAST)
"""Of vessels."""
ENDS_SOON: Final = 2 * HOUR  # enough to settle, harvest, rinse and feed; common practice, no source
APART: Final = 2 * HOUR  # nobody is told of one vessel's harvest twice within this; common practice, no source
TOO_LATE: Final = 15 * MINUTE  # a reminder with less than this left comes too late for a harvest
ON_ITS_WAY: Final = HOUR  # who harvests a little late need not be told so; common practice, no source
LOOKED: Final = HOUR  # who looked in so shortly before the end, or since, knows; common practice, no source
OFF_DELAY: Final = 10 * MINUTE
HARVEST: Final = (
    "Air off, let it settle, harvest with a light at the bottom, rinse, feed; chill the surplus under slight air."
)
PAST_TODO: Final = (
    "Harvest it now for fish with bigger mouths, or enrich it before it goes to fry; throw it away when it looks thin or smells. "
    "Log what you did."
)


def on_tick(state: State, vessel: VesselState, now: Ms, *, slow: bool) -> Iterator[Condition | None]:
    """What is looked at as time passes; ``slow`` once a slot."""
    if slow or f"{PAST}:{vessel.spec.id}" in state.memories:
        yield past_best(state, vessel, now)
    yield ready(state, vessel, now)
    if slow or f"{ENDING}:{vessel.spec.id}" in state.memories:
        yield best_ending(state, vessel, now)


def _waits(batch: Batch) -> bool:
    return batch.estimate is not None and batch.estimate.stage in (Stage.READY, Stage.PAST)


def _quiet(state: State, vessel: VesselState, rule: str) -> Condition | None:
    """Nothing waits for a harvest: what stands is over, and nobody needs to be told; after a restart nothing is known yet."""
    alarm = f"{rule}:{vessel.spec.id}"
    if state.idle(alarm) or (vessel.batch is not None and vessel.batch.estimate is None):
        return None
    off_delay = 0 if vessel.batch is None else OFF_DELAY
    return over(alarm, rule, vessel.spec.id, Priority.MEDIUM, off_delay, tell=False)


def _told(state: State, vessel: VesselState, *rules: str) -> Ms | None:
    """When a person last heard of one of these, or is going to in the morning, and it still stands."""
    memories = [state.memories.get(f"{rule}:{vessel.spec.id}") for rule in rules]
    alarms = [memory.alarm for memory in memories if memory is not None and memory.alarm is not None]
    known = [heard(one.priority, one.told, state.site.manners) for one in alarms if one.told is not None]
    return max(known, default=None)


def _just_told(state: State, vessel: VesselState, now: Ms, *rules: str) -> str:
    """Why one more word about this vessel would be too many just now; empty when it would not."""
    told = _told(state, vessel, *rules)
    if told is None or now - told >= APART:
        return ""
    verb = "was" if told <= now else "is"
    return f"{vessel.spec.id} {verb} told of at {clock(told, state.site.timezone, now)}, with when its best time ends"


def ready(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """Time to harvest."""
    name = vessel.spec.id
    alarm = f"{READY}:{name}"
    batch = vessel.batch
    estimate = None if batch is None else batch.estimate
    if batch is None or estimate is None or not _waits(batch):
        return _quiet(state, vessel, READY)
    mid = estimate.ready.mid
    if mid is None:
        return _quiet(state, vessel, READY)
    zone = state.site.timezone
    best = int(estimate.best_until or mid)
    share = round(100 * (estimate.hatched.mid or 0.0))
    past = (
        f"ended at {clock(best, zone, now)}"
        if estimate.stage is Stage.PAST
        else f"lasts until {clock(best, zone, now)}"
    )
    return Condition(
        id=alarm,
        rule=READY,
        subject=name,
        priority=Priority.MEDIUM,
        active=True,
        clear=False,
        since=int(mid),
        on_delay=0,
        off_delay=OFF_DELAY,
        title=f"{name} is ready to harvest",
        text=(
            f"Ready since about {clock_range(estimate.ready, zone, now)}; about {share} % of the cysts have hatched. "
            f"At this temperature their best time {past}: {estimate.best_reason}."
        ),
        todo=HARVEST,
        suppressed=_too_late_for_ready(state, vessel, batch),
        tell_return=False,
    )


def _too_late_for_ready(state: State, vessel: VesselState, batch: Batch) -> str:
    if state.alarm_state(f"{PAST}:{vessel.spec.id}") in (*STANDING, *HELD_BY_A_PERSON):
        return "that it is past its best was told since"
    past = batch.estimate is not None and batch.estimate.stage is Stage.PAST
    return "it is past its best already" if past and _told(state, vessel, READY) is None else ""


def best_ending(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """The best time of a batch that is ready ends soon. A best time that moves on makes the text newer, and no new push."""
    name = vessel.spec.id
    alarm = f"{ENDING}:{name}"
    batch = vessel.batch
    estimate = None if batch is None else batch.estimate
    if batch is None or estimate is None or estimate.best_until is None or not _waits(batch):
        return _quiet(state, vessel, ENDING)
    if state.alarm_state(f"{PAST}:{name}") in (*STANDING, *HELD_BY_A_PERSON):
        return _quiet(state, vessel, ENDING)
    best = int(estimate.best_until)
    active = estimate.stage is Stage.READY and best - now <= ENDS_SOON
    if not active and state.idle(alarm):
        return None
    zone = state.site.timezone
    held = _just_told(state, vessel, now, READY)
    if not held and best - now < TOO_LATE:
        held = f"only {duration(best - now)} are left, too few for a harvest"
    if state.alarm_state(alarm) in STANDING:
        held = ""
    return Condition(
        id=alarm,
        rule=ENDING,
        subject=name,
        priority=Priority.MEDIUM,
        active=active,
        clear=False,
        since=now,
        on_delay=0,
        off_delay=OFF_DELAY,
        title=f"{name}: harvest before {clock(best, zone, now)}",
        text=(
            f"{name} has been ready since about {clock(int(estimate.ready.mid or now), zone, now)}. "
            f"Its best time ends at about {clock(best, zone, now)}: {estimate.best_reason}."
        ),
        todo=HARVEST,
        suppressed=held,
        tell_return=False,
    )


def past_best(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """A batch nobody harvested is past its best. It stands until something is logged: cool water gives no yolk back."""
    name = vessel.spec.id
    alarm = f"{PAST}:{name}"
    batch = vessel.batch
    estimate = None if batch is None else batch.estimate
    if batch is None or estimate is None or estimate.best_until is None or not _waits(batch):
        return _quiet(state, vessel, PAST)
    best = int(estimate.best_until)
    looked = last_look(batch) or 0
    active = now >= best and looked < best - LOOKED
    if not active and state.idle(alarm):
        return None
    rung = state.alarm_state(alarm) not in (AlarmState.NORMAL, AlarmState.SUPPRESSED)
    held = "" if rung else _just_told(state, vessel, now, READY, ENDING)
    if due(batch, now) and not rung:
        held = "what became of it is asked instead"
    zone = state.site.timezone
    energy = (
        "" if estimate.energy is None else f"; they have about {round(100 * estimate.energy)} % of their energy left"
    )
    return Condition(
        id=alarm,
        rule=PAST,
        subject=name,
        priority=Priority.LOW,
        active=active,
        clear=not active and looked >= best - LOOKED,
        since=best if active else now,
        on_delay=ON_ITS_WAY,
        off_delay=0,
        title=f"{name} is past its best",
        text=(
            f"The best time of {batch.start.batch} ended at about {clock(best, zone, now)}: "
            f"{estimate.best_reason.replace('will have', 'have')}{energy}."
        ),
        todo=PAST_TODO,
        suppressed=held,
        tell_return=False,
    )
