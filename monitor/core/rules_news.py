"""The alarm that nothing is known of the air over swimming animals: it covers life where causes hold back effects."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core import rules_air
from monitor.core.alarms import HELD_BY_A_PERSON, STANDING, Condition, over
from monitor.core.eta import BEGUN
from monitor.core.model import MINUTE, Air, AlarmState, Estimate, Measures, Ms, Priority
from monitor.core.wording import clock, minutes_range

if TYPE_CHECKING:
    from monitor.core.model import Span
    from monitor.core.quality import ProbeState
    from monitor.core.state import State, VesselState

NO_NEWS: Final = "no-news"
RULES: Final = (NO_NEWS,)
"""Of vessels."""
TODO: Final = (
    "Go and look at the air first: pump, plug, bubbles. Blow air by hand or stir gently if there is none. "
    "Then the probe: its power, its cable, the Wi-Fi. Dry hands: unplug before touching anything wet."
)


def has_hatched(estimate: Estimate | None) -> bool:
    """Whether animals that need air may be swimming: the high end counts, a late alert is worse than an early one."""
    return estimate is not None and (estimate.hatched.hi or 0.0) > BEGUN


def silent_after(probe: ProbeState) -> Ms:
    """So long after its last usable word a probe counts as silent."""
    return 3 * probe.spec.every + MINUTE


def last_told(probe: ProbeState) -> Ms:
    """When it last told something usable; 0 when it never did."""
    return probe.newest.time if probe.newest is not None else 0


def due_at(state: State, vessel: VesselState) -> Ms | None:
    """When the air of a vessel has not been heard of for too long; ``None`` without an air probe.

    A link to the broker that comes and goes does not begin the count anew, only a start and a clock that was set do.
    """
    if not vessel.air_probes:
        return None
    return max(max(last_told(p), state.counting_since) + silent_after(p) for p in vessel.air_probes)


def no_news(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """A hatched batch of which no air probe has told anything usable for three periods and a minute."""
    name = vessel.spec.id
    alarm = f"{NO_NEWS}:{name}"
    batch = vessel.batch
    life = batch is not None and has_hatched(batch.estimate)
    due = due_at(state, vessel)
    idle = state.idle(alarm)
    if idle and not (life and due is not None and now >= due):
        return None
    unheard = all(now - last_told(p) >= silent_after(p) for p in vessel.air_probes)
    if batch is not None and batch.estimate is None and unheard:
        return None  # just after a restart: nothing is known yet
    known = state.alarm_state(alarm) in (*STANDING, *HELD_BY_A_PERSON, AlarmState.SUPPRESSED)
    # A restart or a clock that was set begins the count anew; only a probe's own word is an end.
    if batch is None or due is None or not life or not unheard or not (known or now >= due):
        return over(alarm, NO_NEWS, name, Priority.HIGH, 0, tell=batch is not None)
    last = max(last_told(p) for p in vessel.air_probes)
    seen = max([p.air_seen for p in vessel.air_probes if p.air_seen is not None], default=0)
    since = max(last, batch.start.time)
    left, _ = rules_air.minutes_left(vessel, now, min(max(seen, batch.start.time), now), None)
    deadline, too_late = rules_air.ends(left, now)
    from_when = (
        f"since {clock(last, state.site.timezone, now)}" if last >= batch.start.time else "since its batch began"
    )
    title, text = _words(name, from_when, left)
    return Condition(
        id=alarm,
        rule=NO_NEWS,
        subject=name,
        priority=Priority.MEDIUM if left.lo is None else Priority.HIGH,
        active=True,
        clear=False,
        since=min(since, now),
        on_delay=0,  # the silence has lasted long enough already
        off_delay=0,
        title=title,
        text=text + _why(state, vessel, now),
        todo=TODO,
        suppressed=_told_already(state, vessel) or rules_air.settling(state, vessel, left, now, hatched=True),
        deadline=deadline,
        too_late=too_late,
    )


def _words(name: str, from_when: str, left: Span) -> tuple[str, str]:
    head = f"No news from {name} {from_when}."
    if left.lo is None:
        return f"No news from {name}", f"{head} If its air has stopped, so few animals have oxygen for a day or more."
    if (low := int(left.lo)) > 0:
        return (
            f"No news from {name}: look within {low} min",
            f"{head} If its air has stopped it has {minutes_range(left)} left.",
        )
    most = f"; at most {int(left.hi)} min are left" if left.hi is not None and 1 <= left.hi < 600 else ""
    return (
        f"No news from {name}: look now",
        f"{head} If its air has stopped the oxygen may already be used up{most}.",
    )


def _why(state: State, vessel: VesselState, now: Ms) -> str:
    if not state.broker_up:
        return " The broker is not reached."
    if state.lost is not None:
        return " Many probes fell silent at once: perhaps the power is off."
    doubt = next((p.last_reason for p in vessel.air_probes if p.doubts.lately(now - silent_after(p))), "")
    return f" Its probe tells only what can't be used: {doubt}." if doubt else ""


def _told_already(state: State, vessel: VesselState) -> str:
    """Air that was last seen stopped has its own alarm, which counts the same minutes better."""
    alarm = f"{rules_air.STOPPED}:{vessel.spec.id}"
    newest = vessel.newest_air()
    if newest is None or newest.air_state != Air.STOPPED or state.alarm_state(alarm) not in STANDING:
        return ""
    return f"told as {alarm}"


def tells_of(state: State, probe: ProbeState) -> str:
    """The alarm that already says that nothing is known of the air this probe watches; empty when none does."""
    vessel = state.vessels.get(probe.spec.vessel or "")
    if vessel is None or probe.spec.measures is not Measures.AIR:
        return ""
    alarm = f"{NO_NEWS}:{vessel.spec.id}"
    memory = state.memories.get(alarm)
    found = state.conditions.get(alarm)
    if memory is None or memory.alarm is None or found is None or not found.active:
        return ""
    if memory.alarm.state is not AlarmState.OUT_OF_SERVICE:
        return alarm
    # Whoever took it out because of this silence knows of it; of one that began since, the probe speaks for itself.
    return alarm if memory.alarm.since + silent_after(probe) <= memory.alarm.changed else ""
