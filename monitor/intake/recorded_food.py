"""Events of a recorded log about tins, feedings and broods, and corrections."""

from __future__ import annotations

from datetime import datetime
from math import isfinite
from typing import TYPE_CHECKING, Any, Final, Literal

from pydantic import Field, FiniteFloat, field_validator

from monitor.core.corrections import FIELDS
from monitor.core.log_food import (
    Brood,
    BroodEnded,
    Correct,
    Counted,
    Drawn,
    Eater,
    Ending,
    Fed,
    Storage,
    Tin,
    Weighed,
)
from monitor.intake.instants import ms
from monitor.intake.recorded_line import Amount, Instant, Line, Some, meant

if TYPE_CHECKING:
    from monitor.core.log import LogEntry

_TIMES: Final = ("time", "opened", "swam_up")


def _entry(line: Line, kind: type[LogEntry], *times: str) -> LogEntry:
    """The entry of that kind with the line's own fields; those named ``times`` in ms."""
    values = {name: getattr(line, name) for name in type(line).model_fields if name not in ("event", "time", "logged")}
    for name in times:
        values[name] = None if values[name] is None else ms(values[name])
    return kind(time=line.when, logged=line.known, **values)


class _Tin(Line):
    event: Literal["tin"]
    lot: str
    strain: str = ""
    label_hatch_percent: Amount | None = None
    grams: Amount | None = None
    price: Some | None = None
    cysts_per_g: Amount | None = None
    length_um: Amount | None = None
    opened: Instant | None = None
    kept: Storage = "room"

    def entry(self) -> LogEntry:
        return _entry(self, Tin, "opened")


class _Weighed(Line):
    event: Literal["weighed"]
    lot: str
    grams: Some

    def entry(self) -> LogEntry:
        return _entry(self, Weighed)


class _Fed(Line):
    event: Literal["fed"]
    brood: str = ""
    nauplii: Amount
    store: str = ""
    batch: str = ""

    def entry(self) -> LogEntry:
        return _entry(self, Fed)


class _Drawn(Line):
    event: Literal["drawn"]
    store: str
    nauplii: Amount
    why: str = ""

    def entry(self) -> LogEntry:
        return _entry(self, Drawn)


class _Brood(Line):
    event: Literal["brood"]
    brood: str
    fish: str
    larvae: Some
    tank: str = ""
    swam_up: Instant | None = None
    ration: Amount | None = None
    growth_per_day: FiniteFloat | None = None
    meals: int | None = None
    largest_um: Amount | None = None
    swim_up_days: Some | None = None
    wean_days: Some | None = None

    def entry(self) -> LogEntry:
        return _entry(self, Brood, "swam_up")


class _Counted(Line):
    event: Literal["counted"]
    brood: str
    larvae: Some

    def entry(self) -> LogEntry:
        return _entry(self, Counted)


class _BroodEnded(Line):
    event: Literal["broodended"]
    brood: str
    how: Ending = "weaned"

    def entry(self) -> LogEntry:
        return _entry(self, BroodEnded)


class _Eater(Line):
    event: Literal["eater"]
    eater: str
    nauplii_per_day: Some
    meals: int | None = None
    largest_um: Amount | None = None

    def entry(self) -> LogEntry:
        return _entry(self, Eater)


class _Correct(Line):
    """``values`` are names and values as the entry has them, times in RFC 3339."""

    event: Literal["correct"]
    kind: str
    subject: str
    at: Instant  # when what is corrected was logged
    values: dict[str, Any] = Field(default_factory=dict)
    gone: bool = False

    @field_validator("kind")
    @classmethod
    def _can_be_corrected(cls, kind: str) -> str:
        if kind not in FIELDS:
            raise ValueError(f"only these are corrected: {', '.join(FIELDS)}")
        return kind

    @field_validator("values")
    @classmethod
    def _in_ms(cls, values: dict[str, Any]) -> dict[str, Any]:
        if any(isinstance(value, float) and not isfinite(value) for value in values.values()):
            raise ValueError("a number that is not endless is expected")
        return {name: _instant(value) if name in _TIMES else value for name, value in values.items()}

    def entry(self) -> LogEntry:
        return _entry(self, Correct, "at")


def _instant(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    there = datetime.fromisoformat(value)
    if there.tzinfo is None:
        raise ValueError("a time has no time zone")
    return ms(meant(there))


FoodLine = _Tin | _Weighed | _Fed | _Drawn | _Brood | _Counted | _BroodEnded | _Eater | _Correct
FOOD_LINES: Final[dict[str, type[Line]]] = {
    "tin": _Tin,
    "weighed": _Weighed,
    "fed": _Fed,
    "drawn": _Drawn,
    "brood": _Brood,
    "counted": _Counted,
    "broodended": _BroodEnded,
    "eater": _Eater,
    "correct": _Correct,
}
"""By the word of the event."""
