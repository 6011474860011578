"""The bench as a document: what the page, the API and the command line show. Every number has its unit, time, age and quality."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.broods_document import broods_document
from monitor.core.log import Seen, Sight
from monitor.core.model import HOUR, MINUTE, SECOND, Air, Measures, Ms, Refused
from monitor.core.replay import instants, ranges
from monitor.core.rules import can_ring
from monitor.core.stores import ENDS
from monitor.core.tins_document import in_hand_document, tins_document
from monitor.core.tins_held import lot_spec
from monitor.core.undo import WITHIN
from monitor.core.wording import meals, rfc3339, rfc3339_ms

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.core.engine import Engine
    from monitor.core.log import Start
    from monitor.core.model import Alarm, Estimate
    from monitor.core.phones import Phone
    from monitor.core.quality import ProbeState
    from monitor.core.state import Batch, VesselState
    from monitor.core.stores import ColdStore
    from monitor.core.undo import Memo
    from monitor.core.why import Decision

MEALS_BACK: Final = 12 * HOUR
MEALS_AHEAD: Final = 72 * HOUR
UNITS: Final = {
    "cysts_g": "g",
    "litres": "L",
    "salinity_g_l": "g/L",
    "hatched": "1",
    "first_stage": "1",
    "energy": "1",
    "water_c": "Cel",
}
"""UCUM codes of a batch's numbers; 1 is a share."""


def unit_of(probe: ProbeState) -> str | None:
    """UCUM code; air is told as a word and has none."""
    return None if probe.spec.measures is Measures.AIR else "Cel"


def measurement(probe: ProbeState, now: Ms) -> dict[str, Any] | None:
    """The newest usable value of a probe; ``None`` while it has told none."""
    newest = probe.newest
    if newest is None:
        return None
    air = probe.spec.measures is Measures.AIR
    value: str | float = Air(probe.air_state or 0).word if air else round(newest.value, 2)
    return {
        "value": value,
        "unit": unit_of(probe),
        "time": rfc3339(newest.time),
        "age_s": max(now - newest.time, 0) // SECOND,
        "quality": newest.quality.word,
        "fresh": probe.fresh(now),
        "probe": probe.spec.id,
    }


def alarm_document(alarm: Alarm) -> dict[str, Any]:
    return {
        "id": alarm.id,
        "rule": alarm.rule,
        "subject": alarm.subject,
        "priority": alarm.priority.value,
        "state": alarm.state.value,
        "since": rfc3339(alarm.since),
        "changed": rfc3339(alarm.changed),
        "title": alarm.title,
        "text": alarm.text,
        "todo": alarm.todo,
        "reason": alarm.reason,
        "deadline": None if alarm.deadline is None else rfc3339(alarm.deadline),
        "until": None if alarm.until is None else rfc3339(alarm.until),
    }


def decision_document(one: Decision) -> dict[str, Any]:
    return {"time": rfc3339(one.time), "notify": one.notify, "reason": one.reason}


def story(engine: Engine, alarm: str) -> dict[str, Any]:
    """One alarm as it stands, and all decisions about it that are kept. Raises Refused for one that cannot be."""
    standing = next((one for one in engine.alarms() if one.id == alarm), None)
    decided = engine.why(alarm)
    known = (standing.rule, standing.subject) if standing is not None else can_ring(engine.state).get(alarm)
    if known is None and not decided:
        raise Refused(f"there is no alarm {alarm}, and there can be none of that name here")
    rule, subject = known or (alarm.partition(":")[0], alarm.partition(":")[2])
    return {
        "id": alarm,
        "rule": rule,
        "subject": subject,
        "alarm": None if standing is None else alarm_document(standing),
        "decisions": [decision_document(one) for one in decided],
    }


def bench(
    engine: Engine, estimates: Mapping[str, Estimate], now: Ms, *, sim_speed: float | None = None
) -> dict[str, Any]:
    """The whole bench at ``now``. ``estimates`` by batch id: the newest that were made, which may be seconds old."""
    state = engine.state
    site = state.site
    return {
        "site": site.id,
        "timezone": site.timezone,
        "now": rfc3339(now),
        "now_ms": now,
        "simulated": None if sim_speed is None else {"speed": sim_speed},
        "clock_set": not state.clock_unset,
        "broker": {"connected": state.broker_up, "since": rfc3339(state.broker_since)},
        "vessels": _vessels(engine, estimates, now),
        "room": [
            value
            for probe in state.probes.values()
            if probe.spec.measures is Measures.ROOM and (value := measurement(probe, now)) is not None
        ],
        "probes": [_probe(probe, now) for probe in state.probes.values()],
        "stores": [_store(store, now) for store in state.cold_stores.values()],
        "tins": tins_document(engine, now),
        "harvests": in_hand_document(state, now),
        **broods_document(state, now),
        "undoable": [_undoable(memo) for memo in state.journal.undoable(now)],
        "alarms": [alarm_document(alarm) for alarm in engine.alarms()],
        "phones": [_phone(phone) for phone in state.phones.values()],
        "decisions": {
            alarm: [decision_document(one) for one in newest] for alarm, newest in engine.decisions().items()
        },
        "meals": [
            rfc3339(meal) for meal in meals(site.timezone, site.feeding_times, now - MEALS_BACK, now + MEALS_AHEAD)
        ],
    }


def _probe(probe: ProbeState, now: Ms) -> dict[str, Any]:
    spec = probe.spec
    return {
        "id": spec.id,
        "measures": spec.measures.value,
        "vessel": spec.vessel,
        "store": spec.store,
        "tank": spec.tank,
        "unit": unit_of(probe),
        "every_s": spec.every // SECOND,
        "newest": measurement(probe, now),
    }


def _undoable(memo: Memo) -> dict[str, Any]:
    """``at`` names the entry, ``until`` is when it can be undone no more."""
    kind, subject, at = memo.key
    return {
        "kind": kind,
        "subject": subject,
        "vessel": None if memo.vessel is None else memo.vessel.spec.id,
        "at": rfc3339_ms(at),
        "until": rfc3339_ms(at + WITHIN),
        "text": memo.text,
    }


def _phone(phone: Phone) -> dict[str, Any]:
    """Never its address or keys: whoever has those can push to it."""
    gone = None if phone.gone is None else rfc3339(phone.gone)
    return {"id": phone.id, "name": phone.name, "since": rfc3339(phone.since), "gone": gone}


def _vessels(engine: Engine, estimates: Mapping[str, Estimate], now: Ms) -> list[dict[str, Any]]:
    state = engine.state
    newest = {batch.start.vessel: batch.start for batch in state.batches.values()}
    lots = {vessel.batch.start.lot for vessel in state.vessels.values() if vessel.batch is not None}
    stories = {lot: engine.lot(lot).story() for lot in lots}
    return [
        {
            **_vessel(vessel, engine, now),
            "batch": _batch(vessel, engine, estimates, stories, now),
            "last_start": _start(newest.get(name)),
        }
        for name, vessel in state.vessels.items()
    ]


def _vessel(vessel: VesselState, engine: Engine, now: Ms) -> dict[str, Any]:
    newest_water, newest_air = vessel.newest_water_probe(), vessel.newest_air()
    return {
        "id": vessel.spec.id,
        "litres": vessel.spec.litres,
        "water": None if newest_water is None else measurement(newest_water, now),
        "air": None if newest_air is None else measurement(newest_air, now),
        "settling_until": None if vessel.settle_until is None else rfc3339(vessel.settle_until),
        "work_until": None if vessel.work_until is None else rfc3339(vessel.work_until),
        "settling_minutes": engine.state.site.alarms.settling / MINUTE,
    }


def _store(store: ColdStore, now: Ms) -> dict[str, Any]:
    temperature, air = store.newest_probe(), store.newest_air()
    return {
        "id": store.spec.id,
        "warm_above": store.spec.warm_above,
        "cold_below": store.spec.cold_below,
        "temperature": None if temperature is None else measurement(temperature, now),
        "air": None if air is None else measurement(air, now),
        "air_probe": bool(store.air_probes),
        "content": _content(store, now),
    }


def _content(store: ColdStore, now: Ms) -> dict[str, Any] | None:
    content, life = store.content, store.life(now)
    if content is None or life is None:
        return None
    return {
        "nauplii": content.nauplii,
        "litres": content.litres,
        "gas": content.gas,
        "gas_l": content.gas_l,
        "aerated": content.aerated,
        "since": rfc3339(content.since),
        "age_s": max(now - content.since, 0) // SECOND,
        "batches": list(content.batches),
        "good_until": instants(life.until),
        "ends_by": life.cause,
        "why": ENDS[life.cause],
        "oxygen_until": instants(life.oxygen),
    }


def _start(start: Start | None) -> dict[str, Any] | None:
    """What a vessel's newest batch was begun with, for the next one; ``None`` before there was one."""
    if start is None:
        return None
    return {
        "batch": start.batch,
        "lot": start.lot,
        "cysts_g": start.cysts_g,
        "litres": start.litres,
        "salinity_g_l": start.salinity_g_l,
    }


def _batch(
    vessel: VesselState, engine: Engine, estimates: Mapping[str, Estimate], stories: Mapping[str, str], now: Ms
) -> dict[str, Any] | None:
    if vessel.batch is None:
        return None
    start = vessel.batch.start
    estimate = estimates.get(start.batch)
    if estimate is None:
        return None
    return {
        "id": start.batch,
        "lot": start.lot,
        "strain": lot_spec(engine.state, start.lot).strain,
        "lot_story": stories[start.lot],
        "start": rfc3339(start.time),
        "cysts_g": start.cysts_g,
        "litres": start.litres,
        "salinity_g_l": start.salinity_g_l,
        "stage": estimate.stage.value,
        **ranges(estimate),
        "best_until": None if estimate.best_until is None else rfc3339(round(estimate.best_until)),
        "best_reason": estimate.best_reason,
        "first_stage": None if estimate.first_stage is None else round(estimate.first_stage, 3),
        "energy": None if estimate.energy is None else round(estimate.energy, 3),
        "note": estimate.note,
        **_looks(vessel.batch),
        **_standing_on(vessel, estimate, now),
    }


def _looks(batch: Batch) -> dict[str, Any]:
    """The newest look, and when the first swimmers were seen, as a keeper wrote them; ``None`` before."""
    evidence = [] if batch.belief is None else batch.belief.evidence
    looks = sorted((one for one in evidence if isinstance(one, Seen)), key=lambda one: (one.time, one.logged))
    first = next((one.time for one in looks if one.what is not Sight.NONE), None)
    newest = None if not looks else {"what": looks[-1].what.value, "time": rfc3339(looks[-1].time)}
    return {"looked": newest, "first_seen": None if first is None else rfc3339(first)}


def _standing_on(vessel: VesselState, estimate: Estimate, now: Ms) -> dict[str, Any]:
    """When a batch's numbers were reckoned, and how good the water is they rest on; one fresh probe is enough."""
    newest = vessel.newest_water()
    return {
        "time": rfc3339(estimate.time),
        "age_s": max(now - estimate.time, 0) // SECOND,
        "quality": None if newest is None else newest.quality.word,
        "fresh": any(probe.fresh(now) for probe in vessel.water_probes),
        "water_c": None if estimate.water_c is None else round(estimate.water_c, 2),
        "water_time": None if estimate.water_time is None else rfc3339(estimate.water_time),
        "air": estimate.air,
        "units": UNITS,
    }
