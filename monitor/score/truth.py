"""What became of recorded batches: ``truth.jsonl``, one line a batch."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Final, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from monitor.score.problem import ScoreProblem

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from monitor.core.model import Ms

SHELTERED_SHARE: Final = 0.5
"""A room that passes on more of the outdoor swing than this counts as an unheated shed."""
KNOWN_FROM: Final = 6
"""A tin is known once five of its batches have been learned."""
FAILURE_SEEN_H: Final = 1.0
"""A heater failure can be told from the readings about an hour after its onset."""

Group = Literal["new", "learning", "known"]
Room = Literal["sheltered", "shed"]
Season = Literal["cold", "mild", "warm"]

Quantiles = Annotated[list[float | None], Field(min_length=99, max_length=99)]


def _ms(there: datetime) -> Ms:
    return round(there.timestamp() * 1000)


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore")  # a record may tell more than is scored


class Floor(_Part):
    """Quantiles 1..99 % of T90, hours since the start; ``None`` where it never comes."""

    start: Quantiles
    after_failure: Quantiles | None = None


class Floors(_Part):
    """The forecaster that knows everything but the luck of the batch, for a tin it has never met and for one it knows."""

    new: Floor | None = None
    known: Floor | None = None


class AirStop(_Part):
    """The air was off; ``minutes_to_2mg_l`` counts from then, had it stayed off; ``None`` where that is not within a day."""

    begin: AwareDatetime = Field(alias="from")
    end: AwareDatetime = Field(alias="to")
    minutes_to_2mg_l: float | None
    hatched: float

    @property
    def begin_ms(self) -> Ms:
        return _ms(self.begin)

    @property
    def end_ms(self) -> Ms:
        return _ms(self.end)


class Truth(_Part):
    """One batch."""

    batch: str
    tin: str
    k: Annotated[int, Field(ge=1)]
    share: Annotated[float, Field(ge=0)]
    season: Season
    start: AwareDatetime
    t90: AwareDatetime | None
    lost: bool = False
    heater_failure: AwareDatetime | None = None
    air_stops: list[AirStop] = []
    floor: Floors | None = None

    @property
    def start_ms(self) -> Ms:
        return _ms(self.start)

    @property
    def hours(self) -> float | None:
        """T90 in hours since the start, or ``None`` for a batch that is lost."""
        if self.lost or self.t90 is None:
            return None
        return (self.t90 - self.start).total_seconds() / 3600

    @property
    def group(self) -> Group:
        if self.k == 1:
            return "new"
        return "known" if self.k >= KNOWN_FROM else "learning"

    @property
    def room(self) -> Room:
        return "sheltered" if self.share <= SHELTERED_SHARE else "shed"

    @property
    def failure_h(self) -> float | None:
        """Hours from the start to a heater failure that mattered: one after T90 did not."""
        if self.heater_failure is None:
            return None
        hours = (self.heater_failure - self.start).total_seconds() / 3600
        return None if self.hours is not None and hours >= self.hours else hours

    def foreseeable(self, age_h: float) -> bool:
        """Whether no heater failure lies ahead or has just begun, which nobody could know of."""
        return self.failure_h is None or age_h >= self.failure_h + FAILURE_SEEN_H

    def water_foreseeable(self, age_h: float, until_h: float) -> bool:
        """Whether a heater that fails before ``until_h`` has failed long enough to be told from the readings at ``age_h``."""
        if self.heater_failure is None:
            return True
        fails_h = (self.heater_failure - self.start).total_seconds() / 3600
        return age_h >= fails_h + FAILURE_SEEN_H or until_h <= fails_h

    def floor_at(self, age_h: float) -> list[float] | None:
        """Quantiles of the floor for a batch of this age, hours since the start; ``inf`` where it never comes."""
        if self.floor is None:
            return None
        floor = self.floor.known if self.group == "known" else self.floor.new
        if floor is None:
            return None
        failed = self.failure_h is not None and age_h >= self.failure_h + FAILURE_SEEN_H
        found = floor.after_failure if failed and floor.after_failure is not None else floor.start
        return [math.inf if hours is None else hours for hours in found]


def truths(path: Path) -> list[Truth]:
    """The lines of ``truth.jsonl``. Raises ScoreProblem at the first bad one."""
    found = []
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except OSError as error:
        allowed = "a file with one line of JSON a batch: what became of it"
        raise ScoreProblem(f"{path}: cannot be read: {error.strerror}; needed is {allowed}") from None
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            found.append(Truth.model_validate_json(line))
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            where = "/".join(str(step) for step in first["loc"]) or "the line"
            needed = ", ".join(name for name, part in Truth.model_fields.items() if part.is_required())
            raise ScoreProblem(f"{path}, line {number}: {where}: {first['msg']}; needed are {needed}") from None
    return found
