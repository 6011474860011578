"""The words of food: who eats what when, what there will be, what could be started, and what is planned.

A ``Pantry`` is all that forecast and plan need of the room at one instant. It is plain data, so that it can be handed to a
process of its own. Arrays over scenarios are (scenarios, ...): the same row is the same course of the world everywhere.
"""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Any, Final, Literal

from monitor.core.light import light

if TYPE_CHECKING:
    from monitor.core.hatch import Array
    from monitor.core.model import Ms, Span

DAYS: Final = 14
"""How far ahead food is foreseen and planned."""
FULL: Final = 0.9
"""A meal of less than this share of its need is short; common practice, no source."""
RINSED_SHARE: Final = 0.9
"""Of what hatched is kept when shells are separated and nauplii rinsed; common practice, no source."""
CYSTS_PER_G: Final = 250_000.0
"""Of a tin of which nobody counted them, nor of its strain; common practice, no source."""

# ---------------------------------------------------------------------------------------------------------------
# What is known of kinds


@light
class StrainSpec:
    """Newly hatched nauplii of one strain; ``None`` where no figure was found."""

    id: str
    length_um: float | None = None
    cysts_per_g: float | None = None


@light
class FishSpec:
    """One kind of fish, as its larvae eat. All figures can be overridden for each brood."""

    id: str
    name: str
    ration: float  # nauplii per larva and day when they begin to eat them
    growth_per_day: float  # of the ration
    meals: int | None  # a day; None: at each feeding time
    largest_um: float | None  # longest nauplius they take at first; None: any
    largest_growth_um: float  # by how much that grows a day
    swim_up_days: float  # from spawning, at ``swim_up_c``
    swim_up_c: float
    swim_up_base_c: float  # below it nothing develops
    swim_up_log_sd: float  # of the time it takes
    finer_days: float  # after swim-up they need something finer than nauplii for so long
    wean_days: float  # after swim-up they need no nauplii any more


@light
class Costs:
    """What things cost, in the site's currency, and when the keeper is there."""

    currency: str = ""
    cysts_per_g: float = 0.0  # where no price of a tin was told
    salt_per_kg: float = 0.0
    kwh: float = 0.0
    vessel_w: float = 0.0  # what air and heat of a vessel draw while it is used
    oxygen_per_l: float = 0.0
    visit: float = 0.0  # what starting or harvesting at an hour at which the keeper is not there costs
    there_from: int = 7 * 60  # minutes after local midnight
    there_until: int = 22 * 60


# ---------------------------------------------------------------------------------------------------------------
# What is there


@light
class VesselHeld:
    id: str
    litres: float
    most_g_l: float  # g of cysts per litre that it can take
    batch: str  # the one in it, or empty
    begin: Ms  # of ``water_c``
    water_c: tuple[float, ...]  # as foreseen, each hour from ``begin`` on; longer than that it stays as at its end
    water_sd_c: tuple[float, ...]
    not_before: Ms = 0  # nothing is to be started in it sooner: the keeper said so


@light
class BatchHeld:
    """A batch under way. ``ready`` and ``share`` are samples of equal weight, drawn together; ``inf`` where it never comes."""

    id: str
    vessel: str
    lot: str
    start: Ms
    cysts_g: float
    ready: tuple[float, ...]  # ms, when harvesting is advised
    share: tuple[float, ...]  # of all cysts that will hatch
    best_h: float  # hours after ready for which they are at their best in the vessel


@light
class StoreHeld:
    """A cold store. ``nauplii`` 0 when it is empty. ``keeps_h``: how long what is put in now keeps: soonest, likely, latest."""

    id: str
    nauplii: float
    lots: tuple[str, ...]
    until: tuple[float | None, float | None, float | None]  # ms, lo, mid, hi of the end of what it holds
    keeps_h: tuple[float, float, float]


@light
class HarvestHeld:
    """Harvested nauplii that are in no store."""

    batch: str
    lot: str
    time: Ms
    nauplii: float
    best_h: float


@light
class LotHeld:
    """A tin. ``known`` is ``Lot.document()``: what its batches have taught."""

    id: str
    strain: str
    length_um: float | None
    cysts_per_g: float
    left_g: float | None  # None when nobody told what was in it
    price_per_g: float | None
    known: dict[str, Any]
    falling: bool = False


@light
class BroodHeld:
    """A brood that will need nauplii, with its own figures where it has any."""

    id: str
    fish: FishSpec
    spawned: Ms
    larvae: float
    counted: Ms  # when that was told
    swam_up: Ms | None
    tank_c: float | None  # mean temperature of its tank that is to be expected; None when nobody tells
    done_dh: float = 0.0  # degree-hours above the base until ``now``, where a probe told them
    tank_known: bool = False
    doubt_dh: float = 0.0  # how far ``done_dh`` may be off, one standard deviation
    loss_per_day: float = 0.0  # log rate at which the larvae have become fewer; ``larvae`` is as of ``counted``
    recounted: bool = False  # ``larvae`` were counted, not foreseen at spawning


@light
class EaterHeld:
    id: str
    nauplii_per_day: float
    meals: int | None
    largest_um: float | None


@light
class Pantry:
    """All of the room that food depends on, at ``now``."""

    now: Ms
    timezone: str
    feeding_times: tuple[int, ...]  # minutes after local midnight, sorted
    vessels: tuple[VesselHeld, ...] = ()
    batches: tuple[BatchHeld, ...] = ()
    stores: tuple[StoreHeld, ...] = ()
    harvests: tuple[HarvestHeld, ...] = ()
    lots: tuple[LotHeld, ...] = ()
    broods: tuple[BroodHeld, ...] = ()
    eaters: tuple[EaterHeld, ...] = ()
    costs: Costs = field(default_factory=Costs)
    failed: tuple[int, int] = (0, 0)  # of the last batches: how many failed, and of how many
    chance: float = 0.98  # with which every meal is to be full
    salinity_g_l: float = 25.0
    cooled: bool = True  # whether surplus can be kept in a cold store
    last: Plan | None = None  # the plan before
    days: int = DAYS


# ---------------------------------------------------------------------------------------------------------------
# Demand and supply


@light
class Meal:
    """One brood's (or eater's) meal at one feeding time."""

    time: Ms
    eater: str  # id of the brood or eater
    largest_um: float | None  # the longest nauplius they take then; None: any


@light(eq=False)
class Demand:
    """``need`` (scenarios, meals): nauplii; 0 in scenarios in which the brood does not eat yet, or no more."""

    meals: tuple[Meal, ...]  # by time
    need: Array


@light(eq=False)
class Source:
    """Something to feed from. In scenario s it has ``nauplii[s]`` that can be fed in ``since[s] <= time < until[s]`` (ms).

    ``since`` is ``inf`` in scenarios in which it fails.
    """

    kind: Literal["store", "harvest", "batch", "planned"]
    name: str  # of the store, batch or planned start
    lot: str
    length_um: float | None
    since: Array  # (scenarios,)
    until: Array  # (scenarios,)
    nauplii: Array  # (scenarios,)


@light(eq=False)
class Feeding:
    """Who gets what, when what ends first is fed first. ``got`` (scenarios, meals)."""

    got: Array
    used: Array  # (scenarios, sources): nauplii fed from each


@light
class MealOutlook:
    time: Ms
    eater: str
    need: Span
    got: Span
    short: float  # chance that it is short, 0..1
    why: str  # what a shortfall is due to, a sentence; empty when the chance is negligible
    largest_um: float | None = None


@light
class InHand:
    """Nauplii that can be fed at a feeding time, before it: just harvested and in the vessel, and out of cold stores."""

    time: Ms
    fresh: Span
    chilled: Span


@light
class Outlook:
    """Supply against demand as foreseen at ``time``, from what is under way alone, or with a plan followed."""

    time: Ms
    until: Ms
    meals: tuple[MealOutlook, ...] = ()
    in_hand: tuple[InHand, ...] = ()


# ---------------------------------------------------------------------------------------------------------------
# Plan


@light(eq=False)
class Option:
    """A batch that could be started. The vessel is taken from ``start`` until ``free``."""

    vessel: str
    lot: str
    grams: float
    start: Ms
    harvest: Ms  # when it is planned to be harvested
    free: Ms
    cost: float  # of all: cysts, salt, electricity, oxygen, visits
    source: Source  # what it gives, fed fresh and kept cold
    store: str = ""  # where the surplus goes


@light(eq=False)
class Problem:
    """Choose options so that every meal is full with the chance asked for, at the least cost."""

    demand: Demand
    held: tuple[Source, ...]
    options: tuple[Option, ...]
    left_g: dict[str, float]  # of tins of which it is known
    chance: float
    kept: tuple[int, ...] = ()  # options that the plan before had: changing them costs ``change``
    change: float = 0.0
    seconds: float = 4.0  # of processor time, at most


@light
class Choice:
    """The chosen options, by place. ``unmet``: places of meals that nothing can make full often enough."""

    chosen: tuple[int, ...]
    cost: float
    unmet: tuple[int, ...] = ()
    gap: float = 0.0  # share by which one that leaves no other meals short may be cheaper; 0 is the best there is
    seconds: float = 0.0
    sure: bool = True  # whether it is proven that nothing leaves fewer meals short


@light
class PlannedStart:
    """One batch to start. ``id`` is the same from plan to plan while it is the same start."""

    id: str
    vessel: str
    lot: str
    grams: float
    litres: float
    salinity_g_l: float
    start: Ms
    start_by: Ms  # later than that a meal is short
    harvest: Span  # ms, when it is to be harvested
    nauplii: Span
    store: str  # where the surplus is chilled; empty when none is
    cost: float
    feeds_from: Ms  # of the first and the last meal that it is for
    feeds_until: Ms
    backup: bool  # it is only there in case another fails
    reason: str


@light
class Unmet:
    """A meal for which nothing that can be started is enough."""

    time: Ms
    eater: str
    chance: float  # that it is short all the same
    why: str
    help: str  # what would: another vessel, a heater, a store, another tin


@light
class Plan:
    made: Ms
    until: Ms
    starts: tuple[PlannedStart, ...] = ()
    cost: float = 0.0
    changed: tuple[str, ...] = ()  # sentences: what is other than in the plan before, and why
    unmet: tuple[Unmet, ...] = ()
    gap: float = 0.0
    seconds: float = 0.0
    facts: dict[str, float] = field(
        default_factory=dict, hash=False
    )  # what it rests on: the next plan tells what is other
    priced: bool = True  # whether its costs are money: not where no price of any cysts is known


@light
class FoodAhead:
    """What a look ahead has found; an event of the core. ``bare`` is without what is only planned, ``outlook`` with it."""

    time: Ms
    bare: Outlook
    outlook: Outlook
    plan: Plan
    trouble: str = ""  # why there is no plan; empty when there is
    extra: dict[str, Any] = field(default_factory=dict)


@light
class SkipStart:
    """The keeper does not want this planned start now; an event of the core."""

    time: Ms
    start: str  # id of the planned start
