"""What all events of a recorded log share."""

from __future__ import annotations

from datetime import datetime  # noqa: TC003  (pydantic looks at it)
from typing import TYPE_CHECKING, Annotated

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

if TYPE_CHECKING:
    from monitor.core.model import Ms


def ms(there: datetime) -> Ms:
    return round(there.timestamp() * 1000)


class Line(BaseModel):
    model_config = ConfigDict(extra="forbid")

    time: AwareDatetime
    logged: AwareDatetime | None = None

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
