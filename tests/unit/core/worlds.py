"""Small worlds for the core: a shed with one or more vessels, and recordings of constant or changing water."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.core.model import (
    HOUR,
    MINUTE,
    SECOND,
    AirRule,
    LogEntry,
    LotSpec,
    Measures,
    Ms,
    ProbeSpec,
    Sample,
    SiteSpec,
    Start,
    VesselSpec,
)
from monitor.core.replay import Measured, replay

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

T0: Ms = 1_772_434_800_000  # 2026-03-02T07:00:00Z
WORD = AirRule("word")


def probe(
    name: str,
    measures: Measures,
    vessel: str | None = "ash",
    every: Ms = 60 * SECOND,
    air: AirRule = WORD,
    low: float = -5,
    high: float = 50,
) -> ProbeSpec:
    return ProbeSpec(name, measures, vessel, every, low=low, high=high, max_rate=1.0, air=air)


def site(*vessels: str, **changes: Any) -> SiteSpec:
    names = vessels or ("ash",)
    probes = {}
    for vessel in names:
        probes[f"{vessel}-water"] = probe(f"{vessel}-water", Measures.WATER, vessel)
        probes[f"{vessel}-air"] = probe(f"{vessel}-air", Measures.AIR, vessel)
    values: dict[str, Any] = {
        "id": "shed",
        "timezone": "Europe/Berlin",
        "feeding_times": (420,),
        "probes": probes,
        "vessels": {vessel: VesselSpec(vessel, 1.0, cold_below=10.0, hot_above=32.0) for vessel in names},
        "lots": {"tin-7": LotSpec("tin-7", "sfb", 85.0)},
    }
    return SiteSpec(**(values | changes))


def start(time: Ms = T0, cysts_g: float = 1.0, batch: str = "b1", lot: str = "new", vessel: str = "ash") -> Start:
    return Start(time, time, batch, vessel, lot, cysts_g, 1.0, 25.0)


def recording(
    water: Callable[[float], float],
    hours: float,
    air: Callable[[float], bool] = lambda _: True,
    before: float = 0.0,
    every: Ms = 5 * MINUTE,
    vessel: str = "ash",
) -> list[Measured]:
    """Water (C) and air as functions of hours since the start, from ``before`` hours earlier on."""
    rows = []
    for k in range(round(-before * HOUR / every), round(hours * HOUR / every) + 1):
        time = T0 + k * every
        hour = k * every / HOUR
        rows.append(Measured(time, f"{vessel}-water", Sample(value=water(hour), time=time)))
        rows.append(Measured(time, f"{vessel}-air", Sample(running=air(hour), time=time)))
    return rows


def slow_site(*vessels: str, **changes: Any) -> SiteSpec:
    """As ``site``, with probes that report every five minutes."""
    made = site(*vessels, **changes)
    slow = {
        name: probe(name, spec.measures, spec.vessel, every=5 * MINUTE, air=spec.air)
        for name, spec in made.probes.items()
    }
    return SiteSpec(made.id, made.timezone, made.feeding_times, slow, made.vessels, made.lots, made.alarms)


def lines(
    rows: Iterable[Measured], entries: Iterable[LogEntry], every: Ms = 30 * MINUTE, where: SiteSpec | None = None
) -> list[dict[str, Any]]:
    return list(replay(where or slow_site(), rows, entries, every))
