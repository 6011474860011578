"""Alarms about air: stopped, or so weak that the oxygen will not do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.alarms import HELD_BY_A_PERSON, STANDING, Condition, over
from monitor.core.model import HOUR, MINUTE, SECOND, Air, AlarmState, Ms, Priority, Span, Stage
from monitor.core.wording import clock, duration, minutes_range

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.state import Batch, State, VesselState

STOPPED: Final = "air-stopped"
WEAK: Final = "air-weak"
RULES: Final = (STOPPED, WEAK)
"""Of vessels."""
LEAVES_MIN: Final = 2.0  # so little is never covered by settling or work; common practice, no source
ASKS_FROM: Final = 4 * MINUTE  # with less at the beginning it is urgent at once: half of it is no time to ask in
TOGETHER: Final = 2 * MINUTE  # vessels whose air stopped so near each other have one pump; common practice, no source
WEAK_URGENT: Final = 2 * HOUR  # with animals swimming, less than this is no matter for tomorrow
WEAK_AHEAD: Final = (
    12 * HOUR
)  # what comes later can be told later: a keeper looks in twice a day; common practice, no source
WEAK_CLEAR: Final = 1.5  # times the limit: what lasts so much longer needs nobody
WEAK_LOOK: Final = MINUTE  # a forecast of the oxygen costs more than a reading brings
STOPPED_TODO: Final = (
    "Look at the pump, its plug and the tubing; blow air by hand or stir gently until it runs. "
    "Dry hands: unplug before touching anything wet."
)
ASK_TODO: Final = "If you harvest, tap Settling and it keeps quiet. If not: look at the pump, its plug and the tubing."
WEAK_TODO: Final = (
    "Check the hose for a kink, the stone for clogging, the pump's membrane for a tear; else swap the pump. "
    "Stir gently meanwhile. Dry hands: unplug before touching anything wet."
)


def air(state: State, vessel: VesselState, now: Ms) -> Iterator[Condition | None]:
    """What is to be said of a vessel's air."""
    yield air_stopped(state, vessel, now)
    yield air_weak(state, vessel, now)


def minutes_left(vessel: VesselState, now: Ms, last_air: Ms, first_none: Ms | None) -> tuple[Span, bool]:
    """Minutes of oxygen left in a vessel with a batch; and whether anything has hatched. See ``Belief.minutes_left``."""
    batch = vessel.batch
    if batch is None or batch.belief is None:
        return Span(None, None, None), False
    probe = vessel.newest_air()
    was_weak = probe is not None and probe.seen_weak
    return batch.belief.minutes_left(now, vessel.water_c(), last_air, first_none, was_weak=was_weak)


def ends(left: Span, now: Ms) -> tuple[Ms | None, Ms | None]:
    """When harm may begin and when it is done, by the minutes that are left; ``None`` where that is not in sight."""
    soonest = None if left.lo is None else now + int(left.lo * MINUTE)
    return soonest, None if left.hi is None else now + int(left.hi * MINUTE)


def air_stopped(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """Air stopped while a batch needs it."""
    alarm = f"{STOPPED}:{vessel.spec.id}"
    probe = vessel.newest_air()
    stopped = probe is not None and probe.air_state == Air.STOPPED
    active = stopped and vessel.batch is not None
    if not active and state.idle(alarm):
        return None
    settings = state.site.alarms
    since = probe.air_since if stopped and probe is not None and probe.air_since is not None else now
    if not active or vessel.batch is None:
        if vessel.batch is None:  # the keeper who ended it need not be told
            return over(alarm, STOPPED, vessel.spec.id, Priority.HIGH, 0, tell=False)
        return over(alarm, STOPPED, vessel.spec.id, Priority.HIGH, 30 * SECOND)
    begun = vessel.batch.start.time
    since = max(since, min(begun, now))  # without air before there were cysts in it is nobody's trouble
    seen = max(probe.air_seen, begun) if probe is not None and probe.air_seen is not None else since
    left, hatched = minutes_left(vessel, now, min(seen, since), since)
    at_first = (left.lo or 0.0) * MINUTE + (now - since) if left.lo is not None else HOUR * 24
    name = vessel.spec.id
    deadline, too_late = ends(left, now) if hatched else (None, None)
    when = clock(since, state.site.timezone, now)
    asks = hatched and _asks(state, vessel, left, at_first)
    title, follows = _asking_words(name, when, left) if asks else _stopped_words(name, when, left, hatched=hatched)
    return Condition(
        id=alarm,
        rule=STOPPED,
        subject=name,
        priority=Priority.HIGH if hatched and not asks else Priority.MEDIUM,
        active=True,
        clear=False,
        since=since,
        on_delay=0 if _beside(state, vessel, since) else int(min(settings.air_on_delay, at_first / 10)),
        off_delay=30 * SECOND,
        title=title,
        text=follows,
        todo=ASK_TODO if asks else STOPPED_TODO,
        suppressed=settling(state, vessel, left, now, hatched=hatched),
        deadline=deadline,
        too_late=too_late,
    )


def _beside(state: State, vessel: VesselState, since: Ms) -> bool:
    """Whether it is told already that air stopped in another vessel at about the same time: that is no flicker of a probe."""
    for other in state.vessels.values():
        memory = state.memories.get(f"{STOPPED}:{other.spec.id}")
        told = None if memory is None or other is vessel else memory.alarm
        if told is not None and told.state in STANDING and abs(told.since - since) <= TOGETHER:
            return True
    return False


def companions(state: State, now: Ms) -> Iterator[Condition | None]:
    """Once one vessel of a pump rings the others need not wait: one push names them all."""
    if not any(name.startswith(STOPPED) for name in state.memories):
        return
    for vessel in state.vessels.values():
        memory = state.memories.get(f"{STOPPED}:{vessel.spec.id}")
        if memory is None or memory.begun is None or memory.state in (*STANDING, *HELD_BY_A_PERSON):
            continue
        if _beside(state, vessel, memory.begun):
            yield air_stopped(state, vessel, now)


def _asks(state: State, vessel: VesselState, left: Span, at_first: float) -> bool:
    """Whether the air of a ready batch is rather off for harvesting, while over half of the least there was is still left."""
    estimate = None if vessel.batch is None else vessel.batch.estimate
    if estimate is None or estimate.stage not in (Stage.READY, Stage.PAST):
        return False
    memory = state.memories.get(f"{STOPPED}:{vessel.spec.id}")
    told = None if memory is None else memory.alarm
    if told is not None and told.state in STANDING and told.priority is Priority.HIGH:
        return False  # it does not take back that it is urgent
    return left.lo is None or (at_first >= ASKS_FROM and left.lo * MINUTE > at_first / 2)


def half_gone(found: Condition) -> Ms | None:
    """When stopped air that was asked about turns urgent."""
    if found.rule != STOPPED or found.priority is Priority.HIGH or found.deadline is None:
        return None
    return found.since + (found.deadline - found.since) // 2 + SECOND


def _asking_words(name: str, when: str, left: Span) -> tuple[str, str]:
    most = f"within {int(left.lo)} min" if left.lo is not None else "within the day"
    return (
        f"Air off in {name}: harvesting?",
        f"Air off since {when}, and the batch is ready. If you are not harvesting: air back on {most}.",
    )


def _stopped_words(name: str, when: str, left: Span, *, hatched: bool) -> tuple[str, str]:
    """Title and text."""
    if hatched and left.lo is None:
        return (
            f"Air stopped in {name}",
            f"No air since {when}. So few animals have oxygen for {minutes_range(left)}; then they die without air.",
        )
    if not hatched:
        pause = f"(in about {minutes_range(left)}) and the hatch comes later by as long."
        return (
            f"Air stopped in {name}",
            f"No air since {when}. Nothing has hatched yet: the cysts pause when the oxygen is used up {pause}",
        )
    if (low := int(left.lo or 0)) > 0:
        return (
            f"Air stopped in {name}: act within {low} min",
            f"No air since {when}. Oxygen lasts about {minutes_range(left)} more; hatched nauplii die without it.",
        )
    most = f"; at most {int(left.hi)} min are left" if left.hi is not None and 1 <= left.hi < 600 else ""
    return (
        f"Air stopped in {name}: act now",
        f"No air since {when}. The oxygen may already be used up{most}; hatched nauplii die without it.",
    )


def settling(state: State, vessel: VesselState, left: Span, now: Ms, *, hatched: bool) -> str:
    """Why the alarm is held back while the keeper lets it settle; it must not outlast the oxygen of what has hatched."""
    if vessel.settle_until is None or now >= vessel.settle_until:
        return ""
    if hatched and left.lo is not None and left.lo < LEAVES_MIN:
        return ""
    return f"settling until {clock(vessel.settle_until, state.site.timezone, now)}"


def air_weak(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """Air so weak that the oxygen may fall below 2 mg/L before the batch is harvested. Looks at most once a minute."""
    name = vessel.spec.id
    alarm = f"{WEAK}:{name}"
    probe, batch = vessel.newest_air(), vessel.batch
    if batch is None or batch.belief is None or probe is None or probe.air_state != Air.WEAK:
        vessel.weak_looked = 0
        if state.idle(alarm):
            return None
        if batch is not None and probe is not None and probe.air_state == Air.STOPPED:
            return _superseded(state, alarm, name, now)
        off_delay = 0 if batch is None else state.site.alarms.off_delay
        return over(alarm, WEAK, name, Priority.HIGH, off_delay, tell=batch is not None)
    settled = state.idle(alarm) or state.alarm_state(alarm) in (*STANDING, *HELD_BY_A_PERSON)
    if settled and 0 <= now - vessel.weak_looked < WEAK_LOOK:
        return None
    vessel.weak_looked = now
    since = max(probe.air_since if probe.air_since is not None else now, min(batch.start.time, now))
    left, settles, hatched = batch.belief.weak_left(now, vessel.water_c(), since)
    limit = _until_harvest(batch, now) / MINUTE
    active = left.lo is not None and left.lo < limit
    if not active and state.idle(alarm):
        return None
    at_first = (left.lo or 0.0) * MINUTE + (now - since)
    urgent = hatched and left.lo is not None and left.lo * MINUTE < WEAK_URGENT
    deadline, too_late = ends(left, now) if hatched else (None, None)
    return Condition(
        id=alarm,
        rule=WEAK,
        subject=name,
        priority=Priority.HIGH if urgent else Priority.MEDIUM,
        active=active,
        clear=left.lo is None or left.lo > WEAK_CLEAR * limit,
        since=since,
        on_delay=int(min(state.site.alarms.on_delay, at_first / 10)),
        off_delay=state.site.alarms.off_delay,
        title=_weak_title(name, left, urgent=urgent),
        text=_weak_words(clock(since, state.site.timezone, now), left, settles, hatched=hatched),
        todo=WEAK_TODO,
        suppressed=settling(state, vessel, left, now, hatched=hatched),
        deadline=deadline,
        too_late=too_late,
    )


def _superseded(state: State, alarm: str, name: str, now: Ms) -> Condition:
    """The air has stopped altogether: one alarm of a vessel's air is enough, and this one knows the minutes no more."""
    if state.alarm_state(alarm) not in (*STANDING, AlarmState.SUPPRESSED):
        return over(alarm, WEAK, name, Priority.HIGH, 0, tell=False)
    held = "the air has stopped"
    return Condition(alarm, WEAK, name, Priority.MEDIUM, True, False, now, 0, 0, suppressed=held, tell_return=False)


def _until_harvest(batch: Batch, now: Ms) -> float:
    """How far ahead the oxygen matters, ms: to the harvest, which nobody does to the minute, but not beyond half a day."""
    ready = None if batch.estimate is None else batch.estimate.ready.mid
    if ready is None or ready <= now:  # waiting for a keeper, who may be asleep
        return WEAK_AHEAD
    return min(max(ready - now, WEAK_URGENT), WEAK_AHEAD)


def _weak_title(name: str, left: Span, *, urgent: bool) -> str:
    if not urgent:
        return f"Weak air in {name}"
    low = int(left.lo or 0)
    return f"Weak air in {name}: act {f'within {low} min' if low > 0 else 'now'}"


def _weak_words(when: str, left: Span, settles: Span, *, hatched: bool) -> str:
    """Since when, how long until 2 mg/L, where it goes, and what follows."""
    if left.lo is None:
        return f"Weak air since {when}. As things are the oxygen is enough."
    if left.hi is not None and left.lo >= 1:
        falls = f"Oxygen falls below 2 mg/L in about {minutes_range(left)}"
    else:
        soon = f"as early as in {duration(int(left.lo) * MINUTE)}" if left.lo >= 1 else "already now"
        even = (
            "" if left.mid is None or left.mid < 1 else f", as likely as not within {duration(int(left.mid) * MINUTE)}"
        )
        most = "perhaps not at all" if left.hi is None else f"at the latest in {duration(int(left.hi) * MINUTE)}"
        falls = f"Oxygen may fall below 2 mg/L {soon}{even}, {most}"
    balance = f"with what has hatched by now it settles at {settles.lo or 0.0:.1f}-{settles.hi or 0.0:.1f} mg/L"
    fate = "hatched nauplii die" if hatched else "cysts pause, and what hatches then dies"
    return f"Weak air since {when}. {falls}; {balance}. Without oxygen {fate}."
