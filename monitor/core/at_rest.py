"""Of which vessels and probes time alone changes nothing, so that a tick may pass them over.

Each answer is the negation of what the rules ask, put so that it costs a fraction of asking them; readings, log entries and new
estimates are looked at when they come, and once a slot everything is.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from monitor.core import doubts, rules_air, rules_batch, rules_forgotten, rules_heat, rules_news, rules_probes
from monitor.core.alarms import STANDING
from monitor.core.model import Air, Stage
from monitor.core.rules_news import due_at, has_hatched, last_told, silent_after

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.alarms import Memory
    from monitor.core.model import Ms
    from monitor.core.quality import ProbeState
    from monitor.core.state import State, VesselState

Known = tuple[str, "Memory"]
"""A rule, and what is remembered of its alarm."""
STAYS = (*rules_batch.RULES, *rules_forgotten.RULES)
"""Rules whose standing alarm changes with an estimate or the log only."""

_RUNNING = Air.RUNNING


def known_of(state: State) -> dict[str, list[Known]]:
    """By subject, what is remembered of its alarms."""
    found: dict[str, list[Known]] = {}
    for name, memory in state.memories.items():
        rule, _, subject = name.partition(":")
        found.setdefault(subject, []).append((rule, memory))
    return found


def vessel_rests(state: State, vessel: VesselState, known: Sequence[Known], now: Ms) -> bool:
    """Whether no rule about this vessel can find anything new before a reading, an entry or an estimate comes."""
    for rule, memory in known:
        if rule not in STAYS or memory.state not in STANDING or memory.clearing is not None:
            return False
    for probe in vessel.air_probes:
        if probe.air_state is not None and probe.air_state != Air.RUNNING:
            return False
    batch = vessel.batch
    if batch is None:
        return True
    if batch.estimate is None:
        return False
    if not known and batch.estimate.stage in (Stage.READY, Stage.PAST):
        return False
    for probe in vessel.water_probes:
        if probe.newest is not None and probe.newest.value > vessel.spec.hot_above:
            return False
    due = due_at(state, vessel)
    return due is None or now < due


def probe_rests(probe: ProbeState, known: Sequence[Known], now: Ms) -> bool:
    """Whether it has spoken lately, nothing is remembered against it and it does not talk nonsense often."""
    if known or now - last_told(probe) >= silent_after(probe):
        return False
    share = probe.doubts.share
    return share is None or share < doubts.MOST


def reading_rests(state: State, probe: ProbeState, now: Ms) -> bool:
    """Whether no rule that looks at each reading can find anything in the newest one of this probe, as in nearly every one."""
    spec = probe.spec
    if spec.store is not None or (state.memories and _remembered(state, spec.id, spec.vessel)):
        return False
    vessel = state.vessels.get(spec.vessel or "")
    if vessel is None:
        return True
    for air in vessel.air_probes:
        if air.air_state is not None and air.air_state != _RUNNING:
            return False
    batch = vessel.batch
    if vessel.weak_looked:
        return False
    if batch is None:
        return True
    hot = vessel.spec.hot_above
    for water in vessel.water_probes:
        if water.newest is not None and water.newest.value > hot:
            return False
    if not has_hatched(batch.estimate):
        return True
    due = due_at(state, vessel)
    return due is None or now < due


def _remembered(state: State, probe: str, vessel: str | None) -> bool:
    """Whether anything is remembered of an alarm that a reading of this probe can move."""
    return not state.memories.keys().isdisjoint(_moved_by(probe, vessel))


@cache
def _moved_by(probe: str, vessel: str | None) -> tuple[str, ...]:
    of_vessel = (*rules_air.RULES, *rules_news.RULES, *rules_heat.RULES)
    of_probe = (rules_probes.SILENT, rules_probes.SUSPECT)
    return (*(f"{rule}:{probe}" for rule in of_probe), *(f"{rule}:{vessel}" for rule in of_vessel))
