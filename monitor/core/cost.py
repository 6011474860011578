"""What food has cost: by batch, tin, brood and month, and which tin is the cheapest for what swims of it. Pure.

Money is in the site's currency. A batch costs its cysts, its salt, what air and heat drew while it stood, and oxygen that went
into bags with what it gave. Prices that nobody told are no cost, and it is said that they are missing.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from monitor.core.food import RINSED_SHARE
from monitor.core.lives import lives
from monitor.core.log import Chill, Emptied, Harvest, kind_of
from monitor.core.log_food import Drawn, Fed
from monitor.core.model import HOUR, SECOND, Ms

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from monitor.core.food import Costs
    from monitor.core.lives import Life
    from monitor.core.log import Standing

MILLION: Final = 1e6


@dataclass(frozen=True, slots=True)
class TinFacts:
    """What reckoning needs of a tin. ``share`` of all its cysts that hatch: low, likely, high (central 80 %)."""

    id: str
    price_per_g: float | None
    cysts_per_g: float
    share: tuple[float, float, float]
    strain: str = ""
    batches: int = 0  # that have taught it


@dataclass(frozen=True, slots=True)
class Parts:
    """What something cost, by what for."""

    cysts: float = 0.0
    salt: float = 0.0
    power: float = 0.0
    oxygen: float = 0.0

    @property
    def total(self) -> float:
        return self.cysts + self.salt + self.power + self.oxygen

    def __add__(self, other: Parts) -> Parts:
        return Parts(
            self.cysts + other.cysts,
            self.salt + other.salt,
            self.power + other.power,
            self.oxygen + other.oxygen,
        )


@dataclass(frozen=True, slots=True)
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
        return self.parts.total / self.nauplii * MILLION if self.nauplii >= 1 else None


@dataclass(frozen=True, slots=True)
class Group:
    """Several batches together: a tin's or a month's. Those that still stand are in the cost, and not in the nauplii."""

    name: str
    batches: int
    failed: int
    grams: float
    parts: Parts
    nauplii: float

    @property
    def per_million(self) -> float | None:
        return self.parts.total / self.nauplii * MILLION if self.nauplii >= 1 else None


@dataclass(frozen=True, slots=True)
class BroodCost:
    """What was fed to a brood; ``""``: to nobody in particular. Of ``unknown`` nauplii nobody knows the batch."""

    brood: str
    meals: int
    nauplii: float
    cost: float
    unknown: float = 0.0


@dataclass(frozen=True, slots=True)
class Step:
    """What one thing adds to the price of a million young brine shrimp."""

    name: str
    adds: float


@dataclass(frozen=True, slots=True)
class Offer:
    """A million live nauplii of a tin in cysts alone: likely, and the range that its learned hatch leaves open."""

    lot: str
    strain: str
    lo: float
    mid: float
    hi: float
    batches: int


@dataclass(frozen=True, slots=True)
class Account:
    batches: tuple[BatchCost, ...] = ()  # the newest first
    lots: tuple[Group, ...] = ()  # the dearest in all first
    months: tuple[Group, ...] = ()  # the newest first; by local month of the start
    broods: tuple[BroodCost, ...] = ()  # the dearest first
    steps: tuple[Step, ...] = ()  # from the cysts that hatched to what was fed
    per_million: float | None = None  # harvested, with all that failed
    per_million_fed: float | None = None
    wasted: float = 0.0  # cost of what was kept cold and not fed
    unpriced: tuple[str, ...] = ()  # tins of which nobody told a price


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


def account(
    entries: Iterable[Standing],
    tins: Mapping[str, TinFacts],
    costs: Costs,
    now: Ms,
    timezone: str,
    since: Ms = 0,
) -> Account:
    """From a log without what was undone. Only batches that began at ``since`` or later count, and what was fed of them since."""
    log = sorted(entries, key=lambda entry: (entry.time, entry.logged))
    gas = _oxygen(log, costs)
    of_all = [
        batch_cost(life, tins.get(life.start.lot), costs, gas.get(life.id, 0.0), now)
        for life in lives(log)
        if life.start.time <= now
    ]
    some = [one for one in of_all if one.start >= since]
    purse = _Purse({one.batch: one for one in of_all}, since)
    for entry in log:
        purse.take(entry)
    zone = ZoneInfo(timezone)
    harvested = sum(one.nauplii for one in some)
    spent = sum((one.parts for one in some), Parts())
    done = sum((one.parts for one in some if one.how), Parts()).total
    fed = sum(one.nauplii for one in purse.fed.values())
    paid = sum(one.cost for one in purse.fed.values())
    return Account(
        batches=tuple(sorted(some, key=lambda one: (-one.start, one.batch))),
        lots=tuple(sorted(_groups(some, lambda one: one.lot), key=lambda one: (-one.parts.total, one.name))),
        months=tuple(
            sorted(_groups(some, lambda one: _month(one.start, zone)), key=lambda one: one.name, reverse=True)
        ),
        broods=tuple(sorted((one.told() for one in purse.fed.values()), key=lambda one: (-one.cost, one.brood))),
        steps=_steps(some, purse.wasted, fed, paid),
        per_million=done / harvested * MILLION if harvested >= 1 and spent.total > 0 else None,
        per_million_fed=(paid + purse.wasted) / fed * MILLION if fed >= 1 and paid > 0 else None,
        wasted=purse.wasted,
        unpriced=tuple(sorted({one.lot for one in some if not one.priced})),
    )


def _oxygen(log: list[Standing], costs: Costs) -> dict[str, float]:
    """Of each batch: what went into bags with what it gave."""
    spent: dict[str, float] = defaultdict(float)
    for entry in log:
        if isinstance(entry, Chill) and entry.gas == "oxygen":
            spent[entry.batch] += entry.gas_l * costs.oxygen_per_l
    return spent


def _month(time: Ms, zone: ZoneInfo) -> str:
    """``2026-03``, local."""
    return f"{datetime.fromtimestamp(time / SECOND, UTC).astimezone(zone):%Y-%m}"


def _groups(some: list[BatchCost], key: Callable[[BatchCost], str]) -> list[Group]:
    found: dict[str, list[BatchCost]] = defaultdict(list)
    for one in some:
        found[key(one)].append(one)
    return [
        Group(
            name,
            len(of),
            sum(one.failed for one in of),
            sum(one.grams for one in of),
            sum((one.parts for one in of), Parts()),
            sum(one.nauplii for one in of),
        )
        for name, of in found.items()
    ]


def _steps(some: list[BatchCost], wasted: float, fed: float, paid: float) -> tuple[Step, ...]:
    """How a million becomes dearer, from the cysts of what hatched on; per million harvested, the last per million fed."""
    harvested = sum(one.nauplii for one in some)
    if harvested < 1:
        return ()
    good = sum((one.parts for one in some if one.nauplii >= 1), Parts())
    bad = sum((one.parts for one in some if one.how and one.nauplii < 1), Parts())
    rows = [
        ("cysts of what hatched", good.cysts),
        ("their salt", good.salt),
        ("their air and heat", good.power),
        ("oxygen", good.oxygen),
        ("batches that gave nothing", bad.total),
    ]
    steps = [Step(name, cost / harvested * MILLION) for name, cost in rows if cost > 0]
    if fed >= 1 and paid > 0 and wasted > 0:
        steps.append(Step("kept cold and not fed", wasted / fed * MILLION))
    return tuple(steps)


@dataclass(slots=True)
class _Given:
    brood: str
    meals: int = 0
    nauplii: float = 0.0
    cost: float = 0.0
    unknown: float = 0.0

    def told(self) -> BroodCost:
        return BroodCost(self.brood, self.meals, self.nauplii, self.cost, self.unknown)


@dataclass(slots=True)
class _Kept:
    """What is in a cold store: its nauplii, what they cost, and how many of them nobody knows the price of."""

    nauplii: float = 0.0
    cost: float = 0.0
    unknown: float = 0.0

    def part(self, nauplii: float) -> tuple[float, float]:
        """Cost of so many, and of how many it is not known; they leave it."""
        share = min(nauplii / self.nauplii, 1.0) if self.nauplii > 0 else 0.0
        cost, unknown = self.cost * share, self.unknown * share
        beyond = max(nauplii - self.nauplii, 0.0)
        self.nauplii, self.cost, self.unknown = (
            max(self.nauplii - nauplii, 0.0),
            self.cost - cost,
            self.unknown - unknown,
        )
        return cost, unknown + beyond


@dataclass(slots=True)
class _Purse:
    """Follows what nauplii cost, from their batch through cold stores to who ate them."""

    batches: dict[str, BatchCost]
    since: Ms
    stores: dict[str, _Kept] = field(default_factory=dict)
    fed: dict[str, _Given] = field(default_factory=dict)
    wasted: float = 0.0

    def take(self, entry: Standing) -> None:
        match entry:
            case Chill():
                self._chill(entry)
            case Emptied():
                self._waste(self.stores.pop(entry.store, _Kept()).cost, entry.time)
            case Drawn():
                kept = self.stores.setdefault(entry.store, _Kept())
                self._waste(kept.part(entry.nauplii)[0], entry.time)
            case Fed():
                self._feed(entry)
            case _:
                pass

    def _waste(self, cost: float, time: Ms) -> None:
        if time >= self.since:
            self.wasted += cost

    def _unit(self, batch: str) -> float | None:
        """What one of a batch costs, where that is known."""
        one = self.batches.get(batch)
        return None if one is None or one.per_million is None else one.per_million / MILLION

    def _chill(self, entry: Chill) -> None:
        if entry.gas != "open":
            self._waste(self.stores.pop(entry.store, _Kept()).cost, entry.time)
        kept, unit = self.stores.setdefault(entry.store, _Kept()), self._unit(entry.batch)
        kept.nauplii += entry.nauplii
        if unit is None:
            kept.unknown += entry.nauplii
        else:
            kept.cost += entry.nauplii * unit

    def _feed(self, entry: Fed) -> None:
        unit = self._unit(entry.batch)
        if entry.store:
            cost, unknown = self.stores.setdefault(entry.store, _Kept()).part(entry.nauplii)
        elif unit is None:
            cost, unknown = 0.0, entry.nauplii
        else:
            cost, unknown = entry.nauplii * unit, 0.0
        if entry.time < self.since:
            return
        given = self.fed.setdefault(entry.brood, _Given(entry.brood))
        given.meals += 1
        given.nauplii += entry.nauplii
        given.cost += cost
        given.unknown += unknown


# -- which tin


def offers(tins: Iterable[TinFacts]) -> tuple[Offer, ...]:
    """What a million live nauplii of each tin with a price costs in cysts, the cheapest first."""
    found = []
    for tin in tins:
        if tin.price_per_g is None:
            continue
        low, mid, high = (_million(tin, share) for share in tin.share)
        found.append(Offer(tin.id, tin.strain, high, mid, low, tin.batches))
    return tuple(sorted(found, key=lambda offer: (offer.mid, offer.lot)))


def _million(tin: TinFacts, share: float) -> float:
    return (tin.price_per_g or 0.0) / (tin.cysts_per_g * max(share, 1e-3) * RINSED_SHARE) * MILLION


def apart(first: Offer, second: Offer) -> bool:
    """Whether what is known of two tins is enough to tell that the first is cheaper."""
    return first.hi < second.lo
