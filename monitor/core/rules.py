"""From what is known to what needs a person: each rule looks at one subject and finds a condition, or nothing.

A rule returns ``None`` when it has nothing to say and nothing of its own is standing; texts are made only when needed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core import rules_air, tins
from monitor.core.alarms import STANDING, Condition, over
from monitor.core.eta import BEGUN
from monitor.core.model import HOUR, MINUTE, SLOT, AlarmState, Estimate, Measures, Ms, Priority, Stage
from monitor.core.wording import clock, clock_range, duration, meals, minutes_range

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.quality import ProbeState
    from monitor.core.state import Batch, State, VesselState

SLIP: Final = 45 * MINUTE  # a hatch this much later than could be counted on is worth a word
SLIP_CLEAR: Final = 30 * MINUTE
COLDER_C: Final = 0.5  # and the water must be at least this much colder than it was then
BROKER_ON_DELAY: Final = 2 * MINUTE
STOPS_C: Final = 33.0  # above about 33 C development stops (FAO freshwater prawn manual T428 annex 4, restated)


def has_hatched(estimate: Estimate | None) -> bool:
    """Whether animals that need air may be swimming: the high end counts, a late alert is worse than an early one."""
    return estimate is not None and (estimate.hatched.hi or 0.0) > BEGUN


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


def ready(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """Time to harvest."""
    name = vessel.spec.id
    alarm = f"ready:{name}"
    batch = vessel.batch
    estimate = None if batch is None else batch.estimate
    active = estimate is not None and estimate.stage in (Stage.READY, Stage.PAST)
    if not active and (state.idle(alarm) or (batch is not None and estimate is None)):
        return None  # nothing stands, or nothing is known yet after a restart
    if batch is None or estimate is None or estimate.ready.mid is None:
        return over(alarm, "ready", name, Priority.MEDIUM, 0, tell=False)
    zone = state.site.timezone
    best = int(estimate.best_until or estimate.ready.mid)
    share = round(100 * (estimate.hatched.mid or 0.0))
    past = " That is over: feed what is there, or give it to bigger mouths." if estimate.stage is Stage.PAST else ""
    return Condition(
        id=alarm,
        rule="ready",
        subject=name,
        priority=Priority.MEDIUM,
        active=active,
        clear=not active,
        since=int(estimate.ready.mid),
        on_delay=0,
        off_delay=10 * MINUTE,
        title=f"{name} is ready to harvest",
        text=(
            f"Ready since about {clock_range(estimate.ready, zone, now)}; about {share} % of the cysts have hatched. "
            f"At this temperature they are at their best until about {clock(best, zone, now)}: {estimate.best_reason}.{past}"
        ),
        todo="Air off, let it settle, harvest with a light at the bottom, rinse, feed; chill the surplus under slight air.",
        tell_return=False,
    )


def probe_silent(state: State, probe: ProbeState, now: Ms) -> Condition | None:
    """A probe has told nothing usable for three periods and a minute."""
    alarm = f"probe-silent:{probe.spec.id}"
    last = probe.newest.time if probe.newest is not None else 0
    limit = 3 * probe.spec.every + MINUTE
    since = max(last, state.listening_since)
    due = now - since >= limit
    if not due and state.idle(alarm):
        return None
    vessel = state.vessels.get(probe.spec.vessel or "")
    batch = vessel.batch if vessel is not None else None
    standing = state.alarm_state(alarm) in STANDING
    waiting = state.alarm_state(alarm) is AlarmState.SUPPRESSED
    # A link that is back, a restart or a clock that was set begin the count anew; only the probe's own word is an end.
    if now - last < limit or not (due or standing or waiting):
        return over(alarm, "probe-silent", probe.spec.id, _weight(batch), 0)
    zone = state.site.timezone
    from_when = f"since {clock(last, zone, now)}" if last else "since it was set up"
    estimate = None if batch is None else batch.estimate
    life = probe.spec.measures is Measures.AIR and has_hatched(estimate)
    text = f"Nothing usable from {probe.spec.id} {from_when}; the last values are old and are not used as present ones."
    if probe.last_reason and not probe.fresh(now):
        text += f" It last said something that can't be used: {probe.last_reason}."
    title = f"Probe {probe.spec.id} is silent"
    deadline, too_late = None, None
    if life and vessel is not None:
        left, _ = rules_air.minutes_left(vessel, now, last or since, None)
        deadline, too_late = rules_air.ends(left, now)
        title = f"No news of the air in {vessel.spec.id}"
        text = f"No news from {vessel.spec.id} {from_when}. If its air has stopped it has {minutes_range(left)} left."
    held = ""
    if not (standing or life or (due and state.broker_up)):
        held = "the broker is only just back" if state.broker_up else "the broker is not reached"
    return Condition(
        id=alarm,
        rule="probe-silent",
        subject=probe.spec.id,
        priority=Priority.HIGH if life else _weight(batch),
        active=True,
        clear=False,
        since=since,
        on_delay=limit,
        off_delay=0,
        title=title,
        text=text,
        todo=("Go and look at the air first. " if life else "")
        + "Check the probe's power, its cable and the Wi-Fi; then the topic with the broker's own client.",
        suppressed=held,
        deadline=deadline,
        too_late=too_late,
    )


def _weight(batch: Batch | None) -> Priority:
    return Priority.LOW if batch is None else Priority.MEDIUM


def broker_lost(state: State, now: Ms) -> Condition | None:
    """The broker is not reached: nothing is heard from any probe."""
    alarm = "broker-lost:site"
    if state.broker_up and state.idle(alarm):
        return None
    zone = state.site.timezone
    if state.broker_up:
        return over(alarm, "broker-lost", "site", Priority.MEDIUM, 0)
    return Condition(
        id=alarm,
        rule="broker-lost",
        subject="site",
        priority=Priority.MEDIUM,
        active=True,
        clear=False,
        since=state.broker_since,
        on_delay=BROKER_ON_DELAY,
        off_delay=0,
        title="The broker is not reached",
        text=f"No probe is heard since {clock(state.broker_since, zone, now)}; values on the page grow old.",
        todo="Look at the vessels yourself; check that the broker runs, its power and the network.",
    )


def no_longer_configured(state: State) -> Iterator[Condition]:
    """Alarms of a vessel or probe that the configuration has no more are over: no other rule looks at them.

    A tin need not be configured: one is known while it is known what it has taught.
    """
    known = {"site", *state.vessels, *state.probes, *state.lots}
    for name, memory in list(state.memories.items()):
        alarm = memory.alarm
        if alarm is not None and alarm.subject not in known:
            yield over(name, alarm.rule, alarm.subject, alarm.priority, 0, tell=False)


def can_ring(state: State) -> dict[str, tuple[str, str]]:
    """Rule and subject of every alarm there can be here, by its id."""
    found = {
        f"{rule}:{vessel}": (rule, vessel)
        for vessel in state.vessels
        for rule in (rules_air.STOPPED, rules_air.WEAK, "cold-snap", "too-hot", "ready")
    }
    found |= {f"probe-silent:{probe}": ("probe-silent", probe) for probe in state.probes}
    found |= {tins.alarm_id(lot): (tins.RULE, lot) for lot in state.lots}
    found["broker-lost:site"] = ("broker-lost", "site")
    return found


def on_reading(state: State, vessel: VesselState, now: Ms) -> Iterator[Condition | None]:
    """What must be looked at as soon as a vessel's probe has spoken."""
    yield from rules_air.air(state, vessel, now)
    yield too_hot(state, vessel, now)
