"""What the API answers about costs, as models; money is in the site's currency. See ``monitor.web.answers``."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from monitor.web.answer_words import Count, Time

Money = Annotated[float, Field(ge=0, description="In the currency of the answer.")]
PerMillion = Annotated[float | None, Field(description="Of a million harvested; null while nothing was.")]
Nauplii = Annotated[float, Field(ge=0, description="How many.")]


class CostParts(BaseModel):
    """By what for; what nobody told the price of is 0."""

    cysts: Money
    salt: Money
    power: Annotated[float, Field(ge=0, description="Air and heat while it stood.")]
    oxygen: Money
    total: Money


class CostStep(BaseModel):
    name: str
    adds: Annotated[float, Field(description="To the price of a million.")]


class TinOffer(BaseModel):
    """A million live nauplii of a tin, in cysts alone; the central 80 % of what its hatch leaves open."""

    lot: str
    strain: str
    lo: Money
    mid: Money
    hi: Money
    batches: Annotated[Count, Field(description="Batches that it was learned from.")]


class CostGroup(BaseModel):
    """Batches of a tin (``name`` is its id) or that began in a local month (``2026-03``)."""

    name: str
    batches: Count
    failed: Count
    cysts_g: Annotated[float, Field(ge=0)]
    cost: CostParts
    nauplii: Nauplii
    per_million: PerMillion


class CostOfBrood(BaseModel):
    """What was fed to a brood; an empty name is what was fed to nobody in particular."""

    brood: str
    meals: Count
    nauplii: Nauplii
    cost: Money
    unknown: Annotated[float, Field(ge=0, description="Nauplii that nobody knows the batch of; they count as free.")]


class CostOfBatch(BaseModel):
    id: str
    lot: str
    start: Time
    ended: Time | None
    how: Literal["harvest", "discard", "lapse"] | None
    cysts_g: Annotated[float, Field(ge=0)]
    cost: CostParts
    nauplii: Nauplii
    counted: Annotated[bool, Field(description="Somebody counted; otherwise it is reckoned from what its tin hatches.")]
    priced: Annotated[bool, Field(description="Whether the price of its cysts is known.")]
    per_million: PerMillion


class CostAccount(BaseModel):
    """What food has cost. ``steps`` add up from the cysts of what hatched to what a million cost."""

    text: str
    cheapest: str
    missing: str
    currency: str
    per_million: PerMillion
    per_million_fed: Annotated[float | None, Field(description="Of a million that was fed, with what was wasted.")]
    wasted: Annotated[float, Field(ge=0, description="What was kept cold and not fed has cost.")]
    steps: list[CostStep]
    offers: Annotated[list[TinOffer], Field(description="Tins with a price, the cheapest first.")]
    lots: list[CostGroup]
    months: list[CostGroup]
    broods: list[CostOfBrood]
    batches: Annotated[list[CostOfBatch], Field(description="The newest first.")]
