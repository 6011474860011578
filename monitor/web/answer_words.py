"""Words that many answers of the API use."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, WithJsonSchema

Time = Annotated[
    str, WithJsonSchema({"type": "string", "format": "date-time", "description": "RFC 3339 in UTC, ends in Z."})
]
Share = Annotated[float, Field(ge=0, le=1)]
Count = Annotated[int, Field(ge=0)]
