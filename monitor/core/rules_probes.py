"""Alarms about what is heard: probes and the broker."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core import rules_air
from monitor.core.alarms import STANDING, Condition, over
from monitor.core.eta import BEGUN
from monitor.core.model import MINUTE, AlarmState, Estimate, Measures, Ms, Priority
from monitor.core.wording import clock, minutes_range

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.quality import ProbeState
    from monitor.core.state import Batch, State

RULES: Final = ("probe-silent",)
"""Of probes; ``broker-lost`` is the site's."""
BROKER_LOST: Final = "broker-lost:site"
BROKER_ON_DELAY: Final = 2 * MINUTE


def on_tick(state: State, now: Ms, *, slow: bool) -> Iterator[Condition | None]:  # noqa: ARG001
    """What is looked at as time passes; ``slow`` once a slot."""
    for probe in state.probes.values():
        yield probe_silent(state, probe, now)


def on_reading(state: State, probe: ProbeState, now: Ms) -> Iterator[Condition | None]:
    """What must be looked at as soon as this probe has told its newest value."""
    if f"probe-silent:{probe.spec.id}" in state.memories:
        yield probe_silent(state, probe, now)


def has_hatched(estimate: Estimate | None) -> bool:
    """Whether animals that need air may be swimming: the high end counts, a late alert is worse than an early one."""
    return estimate is not None and (estimate.hatched.hi or 0.0) > BEGUN


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
