"""What all events of a recorded log share."""

from __future__ import annotations

from datetime import datetime  # noqa: TC003  (pydantic looks at it)
from typing import TYPE_CHECKING, Annotated

from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, Field

from monitor.intake.instants import YEAR_2100, ms

if TYPE_CHECKING:
    from monitor.core.model import Ms


def meant(there: datetime) -> datetime:
    """Raises ValueError for a time that nothing was recorded at; one of the year 1 or 9999 may not even be one in UTC."""
    if not 0 <= ms(there) < YEAR_2100:
        raise ValueError("allowed are the years 1970 to 2099")
    return there


Instant = Annotated[AwareDatetime, AfterValidator(meant)]


class Line(BaseModel):
    model_config = ConfigDict(extra="forbid")

    time: Instant
    logged: Instant | None = None

    @property
    def when(self) -> Ms:
        return ms(self.time)

    @property
    def known(self) -> Ms:
        return self.when if self.logged is None else ms(self.logged)


Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
Amount = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Some = Annotated[float, Field(ge=0, allow_inf_nan=False)]
"""An amount that may be nothing."""
