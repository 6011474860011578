"""Cause before effect: what holds an alarm back because its cause is told already, or because somebody is at work.

Held back never covers life: what animals die of rings when the least that may be left is down to a couple of minutes.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from monitor.core import rules_air, rules_news
from monitor.core.alarms import HELD_BY_A_PERSON, STANDING, Condition, over
from monitor.core.light import light
from monitor.core.model import MINUTE, SECOND, AlarmState, Ms, Priority
from monitor.core.wording import clock

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.quality import ProbeState
    from monitor.core.state import State, VesselState

LOST: Final = "probes-lost"
PROBES_LOST: Final = f"{LOST}:site"
LOST_ON_DELAY: Final = 3 * MINUTE  # a router that starts again is back by then; common practice, no source
LOST_OFF_DELAY: Final = 2 * MINUTE
LATE: Final = 30 * SECOND
FEW: Final = 3
SHARE: Final = 3  # one in so many: a shed may hang on two or three plugs; common practice, no source
WAIT_MOST: Final = 15 * MINUTE  # so long at most is waited for probes that report rarely
LEAVES: Final = int(rules_air.LEAVES_MIN * MINUTE)
OF_THE_LINK: Final = ("probe-silent", "probe-suspect", "probe-stuck", "probe-out")
OF_THE_AIR: Final = (*rules_air.RULES, *rules_news.RULES)
NOT_OF_VESSELS: Final = ("tin-falling", "cysts-low", "calibration-due")
BLINDS: Final = "cold-snap"  # what a probe out of the water can't tell


@light
class Lost:
    """Probes that fell silent together: all of them spoke at ``since`` or shortly before, and none since."""

    since: Ms
    probes: frozenset[str]
    of: int  # so many were being heard


def last_word(probe: ProbeState) -> Ms:
    """When it was last heard at all: nonsense is a sign of power, too. 0 when it never was."""
    lately = probe.doubts.last_bad
    return max(rules_news.last_told(probe), 0 if lately is None else lately)


def _stale_after(probe: ProbeState) -> Ms:
    return 2 * probe.spec.every + LATE


def fell_silent_together(state: State, now: Ms, begin: Ms) -> Lost | None:
    """Many probes, of more than one vessel or all there are, whose last words fit one moment at which all were lost.

    ``begin``: silence is counted from here at the earliest. What may still speak counts against it.
    """
    if sum(now - max(last_word(probe), begin) >= _stale_after(probe) for probe in state.probes.values()) < 2:
        return None
    alone = {name for name in state.probes if state.alarm_state(f"probe-silent:{name}") in STANDING}  # told already
    last = {name: max(last_word(probe), begin) for name, probe in state.probes.items() if name not in alone}
    stale = [name for name, time in last.items() if now - time >= _stale_after(state.probes[name])]
    if len(stale) < 2:
        return None
    best: list[str] = []
    for moment in sorted({last[name] for name in stale}):
        fits = [n for n in stale if last[n] <= moment <= last[n] + _stale_after(state.probes[n])]
        if len(fits) >= len(best):
            best = fits
    since = max(last[name] for name in best)
    others = [n for n in last if n not in stale]
    of = len(best) + len(others)
    vessels = {state.probes[name].spec.vessel or name for name in best}
    if len(best) < 2 or (others and (len(best) < FEW or len(best) * SHARE < of or len(vessels) < 2)):
        return None
    if since == begin:  # the count began anew meanwhile: what they truly said last is older
        since = max((last_word(state.probes[name]) for name in best), default=0) or begin
    return Lost(since, frozenset(best), of)


def look(state: State, now: Ms) -> None:
    """Find what fell silent together; once per tick, before all rules."""
    if not state.broker_up:
        state.lost = None
        return
    known = state.alarm_state(PROBES_LOST) in (*STANDING, *HELD_BY_A_PERSON)
    state.lost = fell_silent_together(state, now, 0 if known else state.listening_since)


def probes_lost(state: State, now: Ms) -> Condition | None:
    """Many probes fell silent at about the same time while the broker is there: one cause, one alarm."""
    look(state, now)
    found = state.lost
    if not state.broker_up or (found is None and state.idle(PROBES_LOST)):
        return None
    if found is None:
        return over(PROBES_LOST, LOST, "site", Priority.MEDIUM, LOST_OFF_DELAY)
    probes = [state.probes[name] for name in sorted(found.probes)]
    vessels = {probe.spec.vessel for probe in probes}
    unknown = [v.spec.id for v in state.vessels.values() if v.batch is not None and v.spec.id in vessels]
    when = clock(found.since, state.site.timezone, now)
    whole = found.of == len(probes)
    all_of_them = "Both probes" if found.of == 2 else f"All {found.of} probes"
    how_many = all_of_them if whole else f"{len(probes)} of {found.of} probes"
    nothing = f" Nothing is known of {_named(unknown)}." if unknown else ""
    return Condition(
        id=PROBES_LOST,
        rule=LOST,
        subject="site",
        priority=Priority.MEDIUM if unknown else Priority.LOW,
        active=True,
        clear=False,
        since=min(found.since, now),
        on_delay=max(LOST_ON_DELAY, min(rules_news.silent_after(probe) for probe in probes)),
        off_delay=LOST_OFF_DELAY,
        title=f"{how_many} silent: power or Wi-Fi lost",
        text=f"{how_many} in {state.site.id} fell silent together at {when}: power or Wi-Fi is lost.{nothing}",
        todo="Look whether the pumps run: without power the air has stopped, too. Then the plugs, the fuse, the Wi-Fi router.",
    )


def _named(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


# -- holding back


def hold_back(state: State, found: Condition, now: Ms) -> Condition:
    """The condition as it may ring: with why it must not, where its cause is told or somebody is at work on it."""
    if not found.active or found.suppressed:
        return found
    held = _at_work(state, found, now)
    probe = state.probes.get(found.subject) if found.rule in OF_THE_LINK else None
    if not held and probe is not None:
        held = _caused(state, found, probe, now)
    if not held and found.rule == BLINDS:
        held = _blind(state, found.subject)
    return replace(found, suppressed=held) if held else found


def covers_life(found: Condition, now: Ms) -> bool:
    """Whether holding it back could cost animals their life: urgent, and little or nobody knows how much time is left."""
    if found.priority is not Priority.HIGH:
        return False
    if found.deadline is None:
        return found.rule not in OF_THE_AIR  # so few animals have air for a day
    return found.deadline - now < LEAVES


def _at_work(state: State, found: Condition, now: Ms) -> str:
    vessel = _vessel_of(state, found)
    if vessel is None or vessel.work_until is None or now >= vessel.work_until or covers_life(found, now):
        return ""
    return f"work on {vessel.spec.id} until {clock(vessel.work_until, state.site.timezone, now)}"


def _vessel_of(state: State, found: Condition) -> VesselState | None:
    if found.rule in OF_THE_LINK:
        probe = state.probes.get(found.subject)
        return None if probe is None else state.vessels.get(probe.spec.vessel or "")
    if found.rule in NOT_OF_VESSELS or found.subject in state.cold_stores:
        return None
    return state.vessels.get(found.subject)


def _caused(state: State, found: Condition, probe: ProbeState, now: Ms) -> str:
    told = rules_news.tells_of(state, probe) if found.rule in ("probe-silent", "probe-suspect") else ""
    if told:
        return f"told as {told}"
    if found.rule != "probe-silent" or state.alarm_state(found.id) in STANDING:
        return ""
    if not state.broker_up:
        return "the broker is not reached"
    if state.lost is not None and state.alarm_state(PROBES_LOST) is not AlarmState.OUT_OF_SERVICE:
        last = max(last_word(probe), 0)
        begun = max(last, state.listening_since)
        if any(time <= state.lost.since <= time + _stale_after(probe) for time in (last, begun)) or (
            probe.spec.id in state.lost.probes
        ):
            return f"many probes fell silent at once, told as {PROBES_LOST}"
    return _waits(state, found, probe, now)


def _waits(state: State, found: Condition, probe: ProbeState, now: Ms) -> str:
    """While most others have had no turn to speak since, nobody knows whether it is this one alone."""
    begun = max(last_word(probe), state.listening_since)
    lost_by = begun + probe.spec.every
    if now - begun >= found.on_delay + WAIT_MOST:
        return ""
    alive = undecided = 0
    for other in state.probes.values():
        if other is probe:
            continue
        word = max(last_word(other), state.listening_since)
        if last_word(other) > lost_by:
            alive += 1
        elif now - word < _stale_after(other):
            undecided += 1
    return "waits whether the others are heard" if undecided > alive else ""


def _blind(state: State, vessel: str) -> str:
    """Cold that only a probe beside the water tells is no news of the water."""
    probes = state.vessels[vessel].water_probes if vessel in state.vessels else []
    for probe in probes:
        alarm = f"probe-out:{probe.spec.id}"
        if len(probes) == 1 and state.alarm_state(alarm) in STANDING:
            return f"its probe may be out of the water, told as {alarm}"
    return ""


# -- time


def due(state: State) -> Iterator[Ms]:
    """When something here changes by itself."""
    for vessel in state.vessels.values():
        if vessel.work_until is not None:
            yield vessel.work_until
        silent = rules_news.due_at(state, vessel)
        if silent is not None and vessel.batch is not None:
            yield silent
    for probe in state.probes.values():
        yield max(last_word(probe), state.listening_since) + _stale_after(probe)
    if state.lost is not None:  # a word of one of them may end what holds back the others
        spoke = [word for name in state.lost.probes if (word := last_word(state.probes[name])) > state.lost.since]
        yield from (word + SECOND for word in spoke)
    for name in state.memories:
        found = state.conditions.get(name)
        if found is None or not found.active:
            continue
        if found.deadline is not None and found.suppressed:
            yield found.deadline - LEAVES + SECOND
        urgent = rules_air.half_gone(found)
        if urgent is not None:
            yield urgent
