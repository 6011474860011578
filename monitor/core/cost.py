"""What food has cost: by batch, tin, brood and month. Pure.

Money is in the site's currency. A batch costs its cysts, its salt, what air and heat drew while it stood, and oxygen that went
into bags with what it gave. Prices that nobody told are no cost, and it is said that they are missing.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from monitor.core.cost_batch import MILLION, BatchCost, Parts, batch_cost
from monitor.core.cost_purse import BroodCost, Purse
from monitor.core.light import light
from monitor.core.lives import lives
from monitor.core.log import Chill
from monitor.core.model import SECOND, Ms

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from monitor.core.cost_batch import TinFacts
    from monitor.core.food import Costs
    from monitor.core.log import Standing


@light
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
        return self.parts.per_million(self.nauplii)


@light
class Step:
    """What one thing adds to the price of a million young brine shrimp."""

    name: str
    adds: float


@light
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
    purse = Purse({one.batch: one for one in of_all}, since)
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
