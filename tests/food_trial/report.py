"""How each way of feeding fared: short meals, longest gap, cysts and what they cost; and whether the promises are kept."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from statistics import mean
from typing import TYPE_CHECKING, Final

from monitor.core.model import DAY, HOUR
from tests.food_trial.scenario import RUN_IN, START, TINS, told

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from tests.food_trial.keeper import MealFed
    from tests.food_trial.run import Played

SHORT_AT_MOST: Final = 0.01
CHEAPER_BY: Final = 0.30
HEAD: Final = (
    "| way of feeding | meals | short | in the worst world | longest without a full meal | cysts | they cost "
    "| batches (failed) | at bad hours | thrown away |"
)
WAYS: Final = ("one batch every morning", "two vessels always running")


@dataclass(frozen=True, slots=True)
class Fared:
    """One way of feeding over all worlds. Means a world, but for ``short`` and ``meals``, which are sums."""

    name: str
    meals: int
    short: int
    worst: float  # share of short meals in the worst world
    gap_h: float  # longest time without a full meal, of anybody in any world
    grams: float
    cost: float
    batches: float
    failed: float
    bad_hours: float
    wasted: float  # of what was harvested, 0..1

    @property
    def share(self) -> float:
        return self.short / self.meals

    def line(self) -> str:
        """As a row of the table."""
        return (
            f"| {self.name} | {self.meals} | {self.short} ({100 * self.share:.2f} %) | {100 * self.worst:.1f} % "
            f"| {self.gap_h:.0f} h | {self.grams:.0f} g | {self.cost:.2f} | {self.batches:.0f} ({self.failed:.0f}) "
            f"| {self.bad_hours:.0f} | {100 * self.wasted:.0f} % |"
        )


@dataclass(slots=True)
class Report:
    """The plan, and the best variants of the two usual ways."""

    plan: Fared
    usual: list[Fared]
    broken: list[str] = field(default_factory=list)

    def markdown(self) -> str:
        """As a table."""
        lines = [
            HEAD,
            "|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|",
            *(one.line() for one in (self.plan, *self.usual)),
            "",
        ]
        return "\n".join([*lines, *(f"- broken: {one}" for one in self.broken)])


def counted(played: Played) -> list[MealFed]:
    """Meals after the days in which the jars were filled."""
    return [meal for meal in played.keeper.ledger.meals if meal.time >= START + RUN_IN * DAY]


def short_meals(played: Played) -> list[str]:
    """Each short meal in words."""
    return [
        f"- world {played.seed}, {told(meal.time)}, {meal.eater}: {meal.got:.0f} of {meal.need:.0f}"
        for meal in counted(played)
        if meal.short
    ]


def in_brief(played: Played) -> str:
    """How the plan did in one world, for whoever waits for the others."""
    one = fared(played.name, [played])
    return f"world {played.seed}: {one.short} of {one.meals} meals short, cysts for {one.cost:.2f}"


def fared(name: str, worlds: Sequence[Played]) -> Fared:
    """How one way did in all its worlds."""
    price = {tin.id: tin.price_per_g for tin in TINS}
    meals = [counted(one) for one in worlds]
    ledgers = [one.keeper.ledger for one in worlds]
    return Fared(
        name=name,
        meals=sum(map(len, meals)),
        short=sum(meal.short for some in meals for meal in some),
        worst=max(sum(meal.short for meal in some) / len(some) for some in meals),
        gap_h=max(map(_longest_gap_h, meals)),
        grams=mean(sum(ledger.grams.values()) for ledger in ledgers),
        cost=mean(sum(price[tin] * grams for tin, grams in ledger.grams.items()) for ledger in ledgers),
        batches=mean(ledger.batches for ledger in ledgers),
        failed=mean(ledger.failed for ledger in ledgers),
        bad_hours=mean(ledger.bad_hours for ledger in ledgers),
        wasted=mean(one.keeper.fridge.wasted / max(one.keeper.ledger.harvested, 1.0) for one in worlds),
    )


def _longest_gap_h(meals: Iterable[MealFed]) -> float:
    """Between two full meals of one eater, h; the night without one counts like any other time."""
    longest, last = 0.0, dict[str, int]()
    for meal in meals:
        if not meal.short:
            longest = max(longest, (meal.time - last.get(meal.eater, meal.time)) / HOUR)
            last[meal.eater] = meal.time
        last.setdefault(meal.eater, meal.time)
    return longest


def of(usual: Sequence[Played], planned: Sequence[Played]) -> Report:
    """The findings. Of each usual way, with the same grams always and with reckoned ones, the best variant is told.

    The best has the fewest short meals, and is the cheapest among those. The plan is held against the better usual way with the
    same grams always, which is what these ways are; who reckons each batch anew half makes a plan, and is told beside it.
    """
    grouped: dict[str, list[Played]] = defaultdict(list)
    for one in usual:
        grouped[one.name].append(one)
    all_usual = [fared(name, worlds) for name, worlds in grouped.items()]
    best = [
        min(tried, key=lambda one: (one.short, one.cost))
        for way in WAYS
        for reckoned in (False, True)
        if (tried := [one for one in all_usual if one.name.startswith(way) and ("x need" in one.name) is reckoned])
    ]
    found = Report(fared(planned[0].name, planned), best)
    better = min((one for one in best if "x need" not in one.name), key=lambda one: (one.short, one.cost))
    plan = found.plan
    if plan.share >= SHORT_AT_MOST:
        found.broken.append(f"{100 * plan.share:.2f} % of meals were short; less than 1 % was promised")
    if plan.short > better.short:
        found.broken.append(f"{plan.short} meals were short, {better.short} with {better.name}")
    if plan.cost > (1 - CHEAPER_BY) * better.cost:
        found.broken.append(f"cysts cost {plan.cost:.2f}, {better.cost:.2f} with {better.name}: not 30 % less")
    return found
