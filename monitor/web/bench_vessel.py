"""What the bench says of a vessel. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.core.light import light
from monitor.web import words
from monitor.web.bench_alarms import mark_of
from monitor.web.bench_batch import BatchView, batch_view
from monitor.web.bench_measured import Measured, instant_of, measured

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from zoneinfo import ZoneInfo

    from monitor.core.model import Ms


@light
class Again:
    """What the last batch was begun with, as the start form takes it."""

    cysts: str
    lot: str
    litres: str
    salinity: str

    @property
    def text(self) -> str:
        """``2 g tin-7, 1.5 L, 25 g/L``."""
        return f"{self.cysts} {self.lot}, {self.litres}, {self.salinity}"


@light
class VesselView:
    id: str
    key: str
    litres: str
    water: Measured
    air: Measured
    batch: BatchView | None
    settling: str
    settles_for: str  # minutes, as the site has set them
    working: str  # until when somebody works on it; "" when nobody does
    mark: str  # priority of its gravest open alarm, "" for none
    again: Again | None  # None before its first batch


def vessel_view(
    index: int,
    vessel: Mapping[str, Any],
    alarms: Sequence[Mapping[str, Any]],
    meals: Sequence[Ms],
    now: Ms,
    zone: ZoneInfo,
) -> VesselView:
    water = measured(vessel.get("water"), now)
    batch = vessel.get("batch")
    names = {vessel["id"], batch["id"] if batch else vessel["id"]}
    return VesselView(
        id=vessel["id"],
        key=f"vessel-{index}",
        litres=f"{words.number(float(vessel['litres']), 2)} L",
        water=water,
        air=measured(vessel.get("air"), now, air=True),
        batch=batch_view(batch, water, meals, now, zone) if batch else None,
        settling=_ahead(vessel.get("settling_until"), now, zone),
        settles_for=f"{vessel['settling_minutes']:g}",
        working=_ahead(vessel.get("work_until"), now, zone),
        mark=mark_of(alarms, names),
        again=start_again(vessel),
    )


def start_again(vessel: Mapping[str, Any]) -> Again | None:
    last = vessel.get("last_start")
    if not last:
        return None
    cysts, litres, salinity = (f"{last[key]:.10g}" for key in ("cysts_g", "litres", "salinity_g_l"))
    return Again(f"{cysts} g", last["lot"], f"{litres} L", f"{salinity} g/L")


def _ahead(text: str | None, now: Ms, zone: ZoneInfo) -> str:
    until = instant_of(text)
    return words.clock(until, zone) if until is not None and until > now else ""
