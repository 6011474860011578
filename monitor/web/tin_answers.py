"""What the API answers about tins and harvests in hand, as models; see ``monitor.web.answers``."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from monitor.web.answer_words import Share, Time

Grams = Annotated[float | None, Field(ge=0, description="g; null when nobody told.")]
Kept = Literal["room", "cool", "frozen"]


class ShareRange(BaseModel):
    """A central 80 % range with its median, of shares between 0 and 1."""

    lo: Share
    mid: Share
    hi: Share


class WeighedTin(BaseModel):
    time: Time
    grams: float


class TinConfigured(BaseModel):
    """What the configuration says of a tin."""

    strain: str
    label_hatch_percent: float | None
    grams: Grams
    cysts_per_g: float | None


class TinTold(TinConfigured):
    """What the log says of a tin; where it says nothing the configuration counts."""

    bought: Time
    price: float | None
    length_um: float | None
    opened: Time | None
    kept: Kept


class Tin(BaseModel):
    """A tin that is configured, was told of, or was used. Prices are in ``currency``."""

    id: str
    strain: str
    label_hatch_percent: float | None
    grams: Annotated[Grams, Field(description="What was in it when it was bought, g.")]
    price: float | None
    price_per_g: float | None
    cysts_per_g: Annotated[float, Field(description="Of the tin, else of its strain, else the usual.")]
    length_um: Annotated[float | None, Field(description="Of a newly hatched nauplius.")]
    opened: Annotated[Time | None, Field(description="As told, else when it was used first.")]
    kept: Kept
    left_g: Annotated[Grams, Field(description="Left by the record, g; null when nobody told what was in it.")]
    disagrees: Annotated[bool, Field(description="More was started from it than it held.")]
    lasts: Annotated[str, Field(description="At the pace of its last batches, in words; empty when they are too few.")]
    usual_g: Annotated[float | None, Field(description="Of its usual batch, g.")]
    weighed: Annotated[WeighedTin | None, Field(description="The newest weighing.")]
    hatch_share: Annotated[ShareRange, Field(description="Of all cysts that hatch, expected of its next batch.")]
    slow_percent: Annotated[float, Field(description="How many per cent more hours than a usual tin it takes.")]
    batches: Annotated[int, Field(ge=0, description="That have taught it.")]
    falling: Annotated[bool, Field(description="Its newest batches hatched clearly worse than those before.")]
    story: str
    per_million: Annotated[float | None, Field(description="What the cysts for a million nauplii cost.")]
    currency: str
    first_used: Time | None
    last_used: Time | None
    configured: TinConfigured | None
    told: TinTold | None


class Tins(BaseModel):
    now: Time
    tins: list[Tin]


class HarvestInHand(BaseModel):
    """A harvest of which something is left that is in no cold store."""

    batch: str
    lot: str
    harvested: Time
    nauplii: Annotated[int, Field(ge=0)]
    best_until: Time
