"""What the API answers about how machine and service fare, as models; see ``monitor.web.answers``."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from monitor.web.answer_words import Time

LevelWord = Annotated[
    Literal["fine", "look", "act"],
    Field(description="look: see to it within days; act: something does not work, or will not for long."),
]


class Finding(BaseModel):
    """``found``: the fact; ``means``: what follows from it; ``advice``: what to do, empty when nothing need be done."""

    about: str
    level: LevelWord
    found: str
    means: str
    advice: str


class Fact(BaseModel):
    """One fact, for programs and in words."""

    about: str
    name: str
    value: Annotated[float | str | bool | None, Field(description="null: it can't be told here.")]
    unit: Annotated[str | None, Field(description="UCUM code: By bytes, By/d bytes a day, s, Cel, 1; null for words.")]
    text: str


class Checkup(BaseModel):
    """How machine and service fare just now. ``level`` is the worst of the findings, which come worst first."""

    now: Time
    level: LevelWord
    findings: list[Finding]
    facts: list[Fact]
