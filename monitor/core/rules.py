"""All rules together. Each looks at one subject and finds a condition, or nothing.

A rule returns ``None`` when it has nothing to say and nothing of its own is standing; texts are made only when needed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core import (
    at_rest,
    causes,
    rules_air,
    rules_batch,
    rules_calibration,
    rules_cysts,
    rules_food,
    rules_forgotten,
    rules_heat,
    rules_late,
    rules_news,
    rules_plan,
    rules_probes,
    rules_push,
    rules_record,
    rules_site,
    rules_store,
    rules_water,
    thermal,
    tins,
)
from monitor.core.alarms import Condition, over

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from monitor.core.model import Ms
    from monitor.core.quality import ProbeState
    from monitor.core.state import State, VesselState


def on_tick(
    state: State, now: Ms, *, slow: bool, turn: Collection[str], fresh: Collection[str] = ()
) -> Iterator[Condition | None]:
    """What is looked at as time passes; ``slow`` once a slot and after a log entry. Causes come before their effects.

    In between, vessels and probes are passed over of which time alone changes nothing; ``fresh``: vessels with a new estimate.
    ``turn``: vessels that are looked at as slowly now, with their probes.
    """
    if slow:
        thermal.look(state, now)
    yield from rules_site.on_tick(state, now)
    yield from rules_record.on_tick(state, now)
    yield from rules_probes.causes(state, now)
    known = at_rest.known_of(state)
    for name, vessel in state.vessels.items():
        its_turn = name in turn
        if its_turn or name in fresh or not at_rest.vessel_rests(state, vessel, known.get(name, ()), now):
            yield from of_vessel(state, vessel, now, slow=its_turn)
    yield from rules_air.companions(state, now)
    yield from rules_store.on_tick(state, now, slow=slow)
    for probe in state.probes.values():
        its_turn = slow if probe.spec.vessel is None else probe.spec.vessel in turn
        if its_turn or not at_rest.probe_rests(probe, known.get(probe.spec.id, ()), now):
            yield from rules_probes.on_tick(state, probe, now, slow=its_turn)
    yield rules_push.push_gone(state, now)
    if slow:
        yield from tins.standing(state, now)
        yield from rules_cysts.on_tick(state, now)
        yield from rules_food.on_tick(state, now)
        yield from rules_calibration.on_tick(state, now)


def of_vessel(state: State, vessel: VesselState, now: Ms, *, slow: bool) -> Iterator[Condition | None]:
    """What is looked at of one vessel as time passes."""
    yield from on_vessel(state, vessel, now)
    yield from rules_water.on_tick(state, vessel, now, slow=slow)
    yield from rules_late.on_tick(state, vessel, now, slow=slow)
    yield from rules_batch.on_tick(state, vessel, now, slow=slow)
    yield from rules_forgotten.on_tick(state, vessel, now, slow=slow)
    yield from rules_plan.on_tick(state, vessel, now, slow=slow)


def on_reading(state: State, probe: ProbeState, now: Ms) -> Iterator[Condition | None]:
    """What must be looked at as soon as a probe has told its newest value."""
    yield from rules_probes.on_reading(state, probe, now)
    yield from rules_store.on_reading(state, probe, now)
    vessel = state.vessels.get(probe.spec.vessel or "")
    if vessel is not None and probe.fresh(now):
        yield from on_vessel(state, vessel, now)
        if f"{rules_air.STOPPED}:{vessel.spec.id}" in state.memories:
            yield from rules_air.companions(state, now)


def on_vessel(state: State, vessel: VesselState, now: Ms) -> Iterator[Condition | None]:
    """What changes with every reading of a vessel."""
    yield from rules_air.air(state, vessel, now)
    yield rules_news.no_news(state, vessel, now)
    yield rules_heat.too_hot(state, vessel, now)


def no_longer_configured(state: State) -> Iterator[Condition]:
    """Alarms of a vessel or probe that the configuration has no more are over: no other rule looks at them.

    A tin need not be configured: one is known while it is known what it has taught.
    """
    known = {
        *rules_site.subjects(state),
        *state.vessels,
        *state.probes,
        *state.lots,
        *state.site.lots,
        *rules_cysts.with_grams(state),
        *state.cold_stores,
    }
    for name, memory in list(state.memories.items()):
        alarm = memory.alarm
        if alarm is not None and alarm.subject not in known:
            yield over(name, alarm.rule, alarm.subject, alarm.priority, 0, tell=False)


def can_ring(state: State) -> dict[str, tuple[str, str]]:
    """Rule and subject of every alarm there can be here, by its id."""
    of_vessels = (
        *rules_air.RULES,
        *rules_news.RULES,
        *rules_water.RULES,
        *rules_heat.RULES,
        *rules_late.RULES,
        *rules_batch.RULES,
        *rules_forgotten.RULES,
        *rules_plan.RULES,
    )
    found = {f"{rule}:{vessel}": (rule, vessel) for vessel in state.vessels for rule in of_vessels}
    found |= {f"{rule}:{probe}": (rule, probe) for probe in state.probes for rule in rules_probes.RULES}
    found |= {tins.alarm_id(lot): (tins.RULE, lot) for lot in state.lots}
    found |= {f"{rule}:{store}": (rule, store) for store in state.cold_stores for rule in rules_store.RULES}
    found |= {rules_cysts.alarm_id(lot): (rules_cysts.RULE, lot) for lot in rules_cysts.with_grams(state)}
    calibrated = [probe for probe, one in state.probes.items() if one.spec.calibrate_by is not None]
    found |= {rules_calibration.alarm_id(probe): (rules_calibration.RULE, probe) for probe in calibrated}
    found |= rules_site.can_ring(state) | rules_record.can_ring()
    found[rules_food.ALARM] = (rules_food.RULE, "site")
    found[rules_probes.BROKER_LOST] = ("broker-lost", "site")
    found[causes.PROBES_LOST] = (causes.LOST, "site")
    if state.phones:
        found[rules_push.PUSH_GONE] = (rules_push.RULE, "site")
    return found
