"""What the API answers about salt, as models; see ``monitor.web.answers``."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from monitor.web.answer_words import Share


class SaltRow(BaseModel):
    name: str
    text: str


class SaltTarget(BaseModel):
    g_l: Annotated[float, Field(description="Grams of salt in a litre.")]
    g_kg: Annotated[float, Field(description="Grams in a kg of salt water, what people call ppt.")]


class SaltRange(BaseModel):
    """What an instrument tells when it is read with care, and how far it may be off."""

    lo: Annotated[float, Field(ge=0)]
    mid: Annotated[float, Field(ge=0)]
    hi: Annotated[float, Field(ge=0)]


class SaltFound(BaseModel):
    g_l: SaltRange
    g_kg: SaltRange


class Recipe(BaseModel):
    """In this order: take out, fill up with plain water, put in salt."""

    out_l: Annotated[float, Field(ge=0, description="L")]
    tap_l: Annotated[float, Field(ge=0, description="L of plain water")]
    grams: Annotated[float, Field(ge=0, description="g, as weighed")]
    spoons: Annotated[float, Field(ge=0)]
    spoon_g: Annotated[float, Field(gt=0, description="g, a level spoon")]
    share: Annotated[Share, Field(description="Salt in what is weighed.")]


class Salted(BaseModel):
    """How much salt, and what was found. Null is what was not asked for."""

    text: Annotated[str, Field(description="In a sentence.")]
    rows: list[SaltRow]
    notes: Annotated[list[str], Field(description="What to know and to do, the gravest first.")]
    kind: Literal["plain", "sea"]
    water_c: float
    target: SaltTarget | None
    found: SaltFound | None
    recipe: Recipe | None
    slower: Annotated[
        float, Field(description="How much longer the hatch takes than at 25 g/L, as a share; below 0 it is quicker.")
    ]
