"""What a batch has cost, by what for, and how many nauplii it gave. Pure; money is in the site's currency."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.food import RINSED_SHARE
from monitor.core.light import light
from monitor.core.log import Harvest, kind_of
from monitor.core.model import HOUR, Ms

if TYPE_CHECKING:
    from monitor.core.food import Costs
    from monitor.core.lives import Life

MILLION: Final = 1e6


@light
class TinFacts:
    """What reckoning needs of a tin. ``share`` of all its cysts that hatch: low, likely, high (central 80 %)."""

    id: str
    price_per_g: float | None
    cysts_per_g: float
    share: tuple[float, float, float]
    strain: str = ""
    batches: int = 0  # that have taught it


@light
class Parts:
    """What something cost, by what for."""

    cysts: float = 0.0
    salt: float = 0.0
    power: float = 0.0
    oxygen: float = 0.0

    @property
    def total(self) -> float:
        return self.cysts + self.salt + self.power + self.oxygen

    def per_million(self, nauplii: float) -> float | None:
        """None where there are none."""
        return self.total / nauplii * MILLION if nauplii >= 1 else None

    def __add__(self, other: Parts) -> Parts:
        return Parts(
            self.cysts + other.cysts,
            self.salt + other.salt,
            self.power + other.power,
            self.oxygen + other.oxygen,
        )


@light
class BatchCost:
    """``nauplii``: harvested, ``counted`` or reckoned from its tin; 0 of one that failed or stands yet."""

    batch: str
    lot: str
    start: Ms
    end: Ms | None
    how: str  # harvest, discard, lapse; empty while it stands
    grams: float
    parts: Parts
    nauplii: float
    counted: bool
    priced: bool  # whether the price of its cysts is known

    @property
    def failed(self) -> bool:
        """Thrown away. One of which nobody wrote what became of it is none: it may have been fed."""
        return self.how == "discard"

    @property
    def per_million(self) -> float | None:
        return self.parts.per_million(self.nauplii)


def batch_cost(life: Life, tin: TinFacts | None, costs: Costs, oxygen: float, now: Ms) -> BatchCost:
    start, end = life.start, life.end
    price = None if tin is None else tin.price_per_g
    if price is None and costs.cysts_per_g > 0:
        price = costs.cysts_per_g
    hours = (life.until(now) - start.time) / HOUR
    parts = Parts(
        cysts=start.cysts_g * (price or 0.0),
        salt=start.litres * start.salinity_g_l / 1000 * costs.salt_per_kg,
        power=costs.vessel_w / 1000 * hours * costs.kwh,
        oxygen=oxygen,
    )
    nauplii, counted = _nauplii(life, tin)
    how = "" if end is None else kind_of(end)
    ended = None if end is None else end.time
    return BatchCost(
        batch=start.batch,
        lot=start.lot,
        start=start.time,
        end=ended,
        how=how,
        grams=start.cysts_g,
        parts=parts,
        nauplii=nauplii,
        counted=counted,
        priced=price is not None,
    )


def _nauplii(life: Life, tin: TinFacts | None) -> tuple[float, bool]:
    """How many were harvested, and whether somebody counted them."""
    if not isinstance(life.end, Harvest):
        return 0.0, False
    if life.end.nauplii is not None:
        return life.end.nauplii, True
    if tin is None:
        return 0.0, False
    share = tin.share[1] if life.end.hatched_fraction is None else life.end.hatched_fraction
    return life.start.cysts_g * tin.cysts_per_g * share * RINSED_SHARE, False
