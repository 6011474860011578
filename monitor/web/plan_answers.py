"""What the API answers about food, as models; see ``monitor.web.answers``."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from monitor.web.answer_words import Count, Share, Time
from monitor.web.bench_answers import Instants


class Numbers(BaseModel):
    """A central 80 % range with its median, of numbers of nauplii."""

    lo: float | None
    mid: float | None
    hi: float | None


class FoodMeal(BaseModel):
    """One brood's or eater's meal at one feeding time."""

    time: Time
    eater: str
    fish: Annotated[str, Field(description="Its kind; empty for eaters that are no brood.")]
    need: Numbers
    got: Numbers
    short: Annotated[Share, Field(description="Chance that it gets less than 90 % of its need.")]
    why: Annotated[str, Field(description="What a shortfall is due to; empty when there is none to speak of.")]
    largest_um: Annotated[float | None, Field(description="The longest nauplius it takes, micrometres; null: any.")]


class FoodInHand(BaseModel):
    """What can be fed at a feeding time, before it."""

    time: Time
    fresh: Numbers
    chilled: Numbers


class FoodStore(BaseModel):
    id: str
    nauplii: float
    until: Instants | None
    cause: Annotated[Literal["age", "energy", "oxygen", ""], Field(description="What ends it.")]
    why: str


class FoodTin(BaseModel):
    id: str
    strain: str
    length_um: float | None
    left_g: Annotated[float | None, Field(description="g; null when nobody told what was in it.")]
    lasts: Annotated[str, Field(description="How long at the present pace, as a keeper says it; empty when not known.")]
    price_per_g: float | None
    hatch_share: Share
    per_million: Annotated[float | None, Field(description="Cost of the cysts of a million swimming nauplii.")]
    opened: Time | None
    kept: Literal["room", "cool", "frozen"]
    falling: bool


class FoodBrood(BaseModel):
    id: str
    fish: str
    fish_name: str
    larvae: float
    spawned: Time
    swim_up: Instants
    swam_up: Time | None
    needs_per_day_now: float
    needs_per_day_peak: float
    weaned: Time | None
    fits: Annotated[list[str], Field(description="Tins whose nauplii fit its mouth now, or when it begins to eat.")]


class FoodEater(BaseModel):
    id: str
    nauplii_per_day: float


class FoodStart(BaseModel):
    """A batch to start. ``start_by``: later than that a meal would be short."""

    id: Annotated[str, Field(description="The same from plan to plan while it is the same start.")]
    vessel: str
    lot: str
    strain: str
    grams: float
    litres: float
    salinity_g_l: float
    salt_g: float
    start: Time
    start_by: Time
    harvest: Instants
    nauplii: Numbers
    store: Annotated[str, Field(description="Where the surplus is chilled; empty when none is.")]
    cost: Annotated[float | None, Field(description="Null where no price of any cysts is known.")]
    feeds_from: Time
    feeds_until: Time
    backup: Annotated[bool, Field(description="It is only there in case another fails.")]
    reason: str
    due: Literal["now", "today", "later"]


class FoodUnmet(BaseModel):
    """A meal for which nothing that can be started is enough, and what would be."""

    time: Time
    eater: str
    chance: Share
    why: str
    help: str


class FoodPlan(BaseModel):
    made: Time | None
    until: Time | None
    cost: Annotated[float | None, Field(description="Of all starts; null where no price of any cysts is known.")]
    currency: Annotated[str, Field(description="Empty where it is not told, or nothing has a price.")]
    gap: Annotated[
        float, Field(ge=0, description="Share by which a better plan may be cheaper; 0 is the best there is.")
    ]
    seconds: float
    starts: list[FoodStart]
    changed: Annotated[list[str], Field(description="What is other than in the plan before, and why.")]
    unmet: list[FoodUnmet]


class Food(BaseModel):
    """Demand, supply and plan of the coming days. ``meals``: with the plan followed; ``bare``: with what is under way alone."""

    time: Time
    now_ms: Count
    timezone: str
    planned_at: Time | None
    on: Annotated[bool, Field(description="Whether anything is planned here.")]
    trouble: Annotated[str, Field(description="Why there is no newer plan; empty when there is none.")]
    chance: Annotated[Share, Field(description="With which every meal is to be full.")]
    until: Time | None
    meals: list[FoodMeal]
    bare: list[FoodMeal]
    in_hand: list[FoodInHand]
    stores: list[FoodStore]
    tins: list[FoodTin]
    broods: list[FoodBrood]
    eaters: list[FoodEater]
    plan: FoodPlan


class CalendarAddress(BaseModel):
    """Whoever knows it can look at the calendar."""

    path: str
    url: Annotated[str, Field(description="With the page's address; empty where that is not configured.")]
