"""What the API answers about broods and the table of fish, as models."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field

from monitor.web.answer_words import Time

Days = Annotated[float | None, Field(description="Days after swim-up; null: not before they are weaned.")]
Nauplii = Annotated[int, Field(ge=0)]


class Ends(BaseModel):
    """A central 80 % range with its median; null where it never comes."""

    lo: Time | None
    mid: Time | None
    hi: Time | None


class Figures(BaseModel):
    """What is reckoned with: the keeper's own figures over those of the table."""

    ration: Annotated[float, Field(description="Nauplii per larva and day when they begin with them.")]
    growth_per_day: float
    meals: int | None
    largest_um: float | None
    swim_up_days: float
    wean_days: float
    swim_up_c: float
    finer_days: float
    largest_growth_um: float


class BroodCount(BaseModel):
    time: Time
    larvae: float


class ToldBrood(BaseModel):
    """As the keeper told it; null is as the table has it."""

    time: Time
    larvae: float
    counts: list[BroodCount]
    needed: list[str]
    ration: float | None
    growth_per_day: float | None
    meals: int | None
    largest_um: float | None
    swim_up_days: float | None
    wean_days: float | None


class Brood(BaseModel):
    """One brood that has not ended."""

    id: str
    fish: str
    fish_name: str
    in_table: bool
    larvae: Nauplii
    counted: Time | None
    loss_per_day: Annotated[float, Field(description="Log rate at which they become fewer.")]
    spawned: Time
    tank: str
    tank_c: float | None
    swim_up: Ends
    swam_up: Time | None
    day: Annotated[float | None, Field(description="Days since swim-up.")]
    eats_from: Time | None
    weaned_from: Time | None
    meals_a_day: int
    needs_per_day_now: Nauplii
    needs_per_day_in_7_days: Nauplii
    needs: Annotated[list[Nauplii], Field(description="A day, from today on.")]
    mouth_um: int | None
    strains: dict[str, Days]
    tins: dict[str, Days]
    figures: Figures
    told: ToldBrood


class PastBrood(BaseModel):
    id: str
    fish_name: str
    time: Time | None
    how: Literal["weaned", "lost", "moved"] | None


class Eater(BaseModel):
    id: str
    nauplii_per_day: float
    meals: int | None
    largest_um: float | None


class Broods(BaseModel):
    broods: list[Brood]
    ended: list[PastBrood]
    eaters: list[Eater]
    tanks: list[str]


class FishTable(BaseModel):
    """The table of fish: each figure with ``value``, ``basis`` and ``source``."""

    fish: list[dict[str, Any]]
