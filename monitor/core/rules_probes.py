"""Alarms about what is heard: probes and the broker."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core import doubts, rules_thermal
from monitor.core.alarms import HELD_BY_A_PERSON, STANDING, Condition, over
from monitor.core.causes import probes_lost
from monitor.core.model import MINUTE, AlarmState, Ms, Priority
from monitor.core.rules_news import last_told, silent_after
from monitor.core.wording import clock

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.quality import ProbeState
    from monitor.core.state import State

SILENT: Final = "probe-silent"
SUSPECT: Final = "probe-suspect"
RULES: Final = (SILENT, SUSPECT, *rules_thermal.RULES)
"""Of probes; ``broker-lost`` and ``probes-lost`` are the site's."""
BROKER_LOST: Final = "broker-lost:site"
BROKER_ON_DELAY: Final = 2 * MINUTE
DOUBT_ON_DELAY: Final = 15 * MINUTE  # a plug that is just being moved tells nonsense, too; common practice, no source
DOUBT_OFF_DELAY: Final = 15 * MINUTE
KNOWN: Final = (*STANDING, *HELD_BY_A_PERSON)


def causes(state: State, now: Ms) -> Iterator[Condition | None]:
    """What holds back other alarms, before them."""
    yield broker_lost(state, now)
    yield probes_lost(state, now)


def on_tick(state: State, probe: ProbeState, now: Ms, *, slow: bool) -> Iterator[Condition | None]:
    """What is looked at as time passes; ``slow`` once a slot."""
    yield probe_silent(state, probe, now)
    yield probe_suspect(state, probe, now)
    if slow:
        yield from rules_thermal.on_probe(state, probe, now)


def on_reading(state: State, probe: ProbeState, now: Ms) -> Iterator[Condition | None]:
    """What must be looked at as soon as this probe has told its newest value."""
    if f"{SILENT}:{probe.spec.id}" in state.memories:
        yield probe_silent(state, probe, now)
    if f"{SUSPECT}:{probe.spec.id}" in state.memories:
        yield probe_suspect(state, probe, now)


def probe_silent(state: State, probe: ProbeState, now: Ms) -> Condition | None:
    """A probe has told nothing at all for three periods and a minute; one that talks nonsense is ``probe_suspect``'s."""
    alarm = f"{SILENT}:{probe.spec.id}"
    last, limit = last_told(probe), silent_after(probe)
    since = max(last, state.listening_since)
    known = state.alarm_state(alarm) in KNOWN
    waiting = state.alarm_state(alarm) is AlarmState.SUPPRESSED
    due = now - since >= limit and (known or not _talks(probe, now))
    if not due and state.idle(alarm):
        return None
    # A link that is back, a restart or a clock that was set begin the count anew; only the probe's own word is an end.
    if now - last < limit or not (due or known or waiting):
        return over(alarm, SILENT, probe.spec.id, _weight(state, probe), 0)
    zone = state.site.timezone
    from_when = f"since {clock(last, zone, now)}" if last else "since it was set up"
    text = f"Nothing usable from {probe.spec.id} {from_when}; the last values are old and are not used as present ones."
    return Condition(
        id=alarm,
        rule=SILENT,
        subject=probe.spec.id,
        priority=_weight(state, probe),
        active=True,
        clear=False,
        since=since,
        on_delay=limit,
        off_delay=0,
        title=f"Probe {probe.spec.id} is silent",
        text=text + _said_last(probe, now),
        todo="Check the probe's power, its cable and the Wi-Fi; swimup listen tells whether it still publishes.",
        suppressed=_silent_already(state, probe, SUSPECT) or ("" if due or known else "the broker is only just back"),
    )


def probe_suspect(state: State, probe: ProbeState, now: Ms) -> Condition | None:
    """A probe talks, but nothing of it can be used, or every second message of the last while can't."""
    alarm = f"{SUSPECT}:{probe.spec.id}"
    last, limit = last_told(probe), silent_after(probe)
    since = max(last, state.listening_since)
    known = state.alarm_state(alarm) in KNOWN
    unusable = now - since >= limit or (known and now - last >= limit)
    share = probe.doubts.share
    often = share is not None and share >= doubts.MOST
    active = (unusable and (known or _talks(probe, now))) or (often and not unusable)
    if not active and state.idle(alarm):
        return None
    clear = not unusable and share is not None and share < doubts.FINE
    if unusable and not active:
        return over(alarm, SUSPECT, probe.spec.id, _weight(state, probe), 0, tell=False)
    when = clock(last, state.site.timezone, now) if last else ""
    reason = f" It last said: {probe.last_reason}." if probe.last_reason else ""
    nothing = f"It talks, but nothing it says can be used{f' since {when}' if last else ''}.{reason}"
    part = f"Of its newest messages {round(100 * (share or 0.0))} % can't be used.{reason}"
    return Condition(
        id=alarm,
        rule=SUSPECT,
        subject=probe.spec.id,
        priority=_weight(state, probe) if unusable else Priority.LOW,
        active=active,
        clear=clear,
        since=since if unusable else now,
        # One period more: a true step in temperature is believed at the third message, and one of them may be lost.
        on_delay=limit + probe.spec.every if unusable else DOUBT_ON_DELAY,
        off_delay=DOUBT_OFF_DELAY,
        title=f"Probe {probe.spec.id} tells nonsense",
        text=nothing if unusable else part,
        todo="Check its plug and cable for water and a loose contact; then its unit and decoder in the configuration.",
        suppressed=_silent_already(state, probe, SILENT),
    )


def _talks(probe: ProbeState, now: Ms) -> bool:
    return probe.doubts.lately(now - silent_after(probe))


def _said_last(probe: ProbeState, now: Ms) -> str:
    if not probe.last_reason or probe.fresh(now):
        return ""
    return f" It last said something that can't be used: {probe.last_reason}."


def _silent_already(state: State, probe: ProbeState, other: str) -> str:
    """One probe that tells nothing usable is one alarm, whichever came first."""
    alarm = f"{other}:{probe.spec.id}"
    return f"told as {alarm}" if state.alarm_state(alarm) in STANDING else ""


def _weight(state: State, probe: ProbeState) -> Priority:
    vessel = state.vessels.get(probe.spec.vessel or "")
    return Priority.LOW if vessel is None or vessel.batch is None else Priority.MEDIUM


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
