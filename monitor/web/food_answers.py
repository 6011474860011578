"""What the API answers about the ledger and feedings, as models; see ``monitor.web.answers``."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field

from monitor.web.answer_words import Time
from monitor.web.answers import Done
from monitor.web.food_bodies import CorrectableKind

LedgerKind = CorrectableKind | Literal["discard"]
Values = Annotated[dict[str, Any], Field(description="By the names of the entry's fields; instants as RFC 3339.")]


class FedDone(BaseModel):
    """What became of each, in the order given."""

    done: list[Done]


class Correction(BaseModel):
    """A correction that stands. ``gone``: it took the entry away."""

    at: Time
    values: Values
    gone: bool


class WrittenFirst(BaseModel):
    time: Time
    fields: Values


class LedgerItem(BaseModel):
    """An entry as it stands. ``kind``, ``subject`` and ``at`` name it for ever, whatever of it is corrected."""

    id: int
    kind: LedgerKind
    subject: str
    at: Annotated[Time, Field(description="When it was logged.")]
    time: Annotated[Time, Field(description="When it happened.")]
    fields: Values
    text: str
    standing: Annotated[bool, Field(description="It counts: neither undone nor taken away.")]
    undone: bool
    was: Annotated[WrittenFirst | None, Field(description="As it was first written, where corrections changed it.")]
    corrected: list[Correction]


class Ledger(BaseModel):
    items: list[LedgerItem]
    page: Annotated[int, Field(ge=1)]
    more: Annotated[bool, Field(description="There is another page.")]
