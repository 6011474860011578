"""What the API answers about counted drops, as models; see ``monitor.web.answers``."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from monitor.web.answer_words import Count, Share


class Amount(BaseModel):
    """A central 80 % range with its middle. Where none were counted, 0, 0 and the most there may be (9 chances in 10)."""

    lo: Annotated[float, Field(ge=0)]
    mid: Annotated[float, Field(ge=0)]
    hi: Annotated[float, Field(ge=0)]
    unit: Annotated[Literal["/mL", "/g", "1"], Field(description="UCUM code.")]


class CystsPerGram(Amount):
    """``basis``: given by whoever asked, of the tin, of its strain, or of any cysts."""

    basis: Literal["given", "tin", "strain", "general"]
    source: str


class Scatter(BaseModel):
    """How the drops differ."""

    index: Annotated[float, Field(ge=0, description="Variance over mean of the drops: about 1 when well mixed.")]
    chance: Annotated[Share, Field(description="That well mixed water gives drops that differ as much.")]
    uneven: Annotated[bool, Field(description="More than chance: stir and take more.")]


class Counted(BaseModel):
    """What counted drops tell. Null is what could not be reckoned from what was given."""

    text: Annotated[str, Field(description="In a sentence.")]
    notes: Annotated[list[str], Field(description="What to know and to do, the gravest first.")]
    counted: Count
    drops: Count
    drop_ml: Annotated[float, Field(description="mL")]
    dilution: float
    litres: Annotated[float | None, Field(description="L")]
    cysts_g: float | None
    per_ml: Annotated[Amount, Field(description="In the vessel.")]
    in_all: Amount | None
    per_g: Annotated[Amount | None, Field(description="From a gram of cysts.")]
    hatched: Annotated[
        Amount | None,
        Field(description="Share of all cysts; above 1 something is not as it was given, which `notes` say."),
    ]
    cysts_per_g: CystsPerGram
    scatter: Annotated[Scatter | None, Field(description="Null without the count of each drop, or when none swam.")]
    more_drops: Annotated[
        Count | None,
        Field(description="So many more would bring the range to within 20 %; null when none were counted."),
    ]
