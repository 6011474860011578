"""The room of a soak over many days: thirty probes, batches begun and harvested, and some trouble each week."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.settings.loader import from_document
from tests.month import scenario as month
from tests.month.scenario import VESSELS, Trouble, broker_stops, cold_night, drop_out, pump_fails

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.settings.settings import Settings
    from simulator.scenario.models import Batch, Scenario

HARVESTED_AFTER_S: Final = 32 * 3600
IN_USE: Final = VESSELS[:6]  # three batches begin each day
STORE: Final = "fridge"
BROOD: Final = "gourami"


def troubles(days: int) -> tuple[Trouble, ...]:
    """One every third day, or every day of a few, the four kinds in turn; every drop-out takes another probe."""
    found: list[Trouble] = []
    for nth, day in enumerate(range(0, days, 3 if days > 12 else 1)):
        round_, kind = divmod(nth, 4)
        if kind == 0:
            found.append(broker_stops(day, 15.25))
        elif kind == 1:
            found.append(pump_fails(day, 11.0))
        elif kind == 2:
            found.append(drop_out(f"{VESSELS[round_ % 12]}-{'water' if round_ < 12 else 'air'}", day, 13.0, 4.0))
        else:
            found.append(cold_night(day))
    return tuple(found)


def season(days: int, every_s: int = 60) -> Scenario:
    """``every_s``: how often each probe tells."""
    plan = month.scenario(days, troubles(days))
    batches = [harvested(batch) for batch in plan.batch if batch.vessel in IN_USE]
    probes = [probe.model_copy(update={"every": every_s}) for probe in plan.probe]
    return plan.model_copy(update={"batch": batches, "probe": probes})


def harvested(batch: Batch) -> Batch:
    return batch.model_copy(update={"harvest": batch.at + HARVESTED_AFTER_S})


def settings(plan: Scenario, broker: str, store: Path, **sections: Any) -> Settings:
    """What the keeper of that room has configured; a third of the probes tell their time, a third count, a third do neither."""
    document: dict[str, Any] = {
        "site": {"id": plan.site, "timezone": plan.timezone, "feeding_times": ["07:00", "12:30", "19:00"]},
        "broker": {"url": broker},
        "vessel": [{"id": vessel.id, "litres": vessel.litres} for vessel in plan.vessel],
        "cold_store": [{"id": STORE}],
        "probe": [
            {"id": probe.id, "topic": probe.topic, "measures": probe.measures, "every": f"{probe.every} s"}
            | style(nth)
            | ({} if probe.vessel is None else {"vessel": probe.vessel})
            for nth, probe in enumerate(plan.probe)
        ],
        "lot": [{"id": tin.id, "strain": "great-salt-lake", "label_hatch_percent": 75} for tin in plan.tin],
        "channel": [{"id": "phone", "url": "json://127.0.0.1:9/nowhere"}],
        **sections,
    }
    document["store"] = {"path": str(store), **document.get("store", {})}
    return from_document(document, file="the soak's configuration", base=store.parent).settings


def style(nth: int) -> dict[str, str]:
    own = {"decoder": "json", "pointer": "/value", "time_pointer": "/time"}
    counts = {"decoder": "json", "pointer": "/value", "sequence_pointer": "/n"}
    return (own, counts, {"decoder": "number"})[nth % 3]


def payload(nth: int, value: str, time: int, number: int) -> bytes:
    """The ``number``-th message of the ``nth`` probe; ``value`` as JSON has it, ``time`` in ms."""
    if nth % 3 == 0:
        return b'{"value": %b, "time": %d}' % (value.encode(), time)
    if nth % 3 == 1:
        return b'{"value": %b, "n": %d}' % (value.encode(), number)
    return value.strip('"').encode()
