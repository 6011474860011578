"""What the API takes about tins, feedings and corrections, and how it becomes entries of the log."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field

from monitor.core.log_food import Correct, Drawn, Fed, Storage, Tin, Weighed
from monitor.core.model import SECOND
from monitor.settings import strains
from monitor.web.bodies import Body, Instant, Name
from monitor.web.problems import INVALID, Trouble, field_trouble
from monitor.web.when import SKEW, NotAnInstant, as_rfc3339, rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.core.model import Ms

Nauplii = Annotated[float, Field(gt=0, le=1e9)]

CorrectableKind = Literal[
    "start",
    "harvest",
    "chill",
    "emptied",
    "fed",
    "drawn",
    "tin",
    "weighed",
    "brood",
    "counted",
    "broodended",
    "eater",
]
INSTANTS: Final = ("time", "opened", "swam_up")
"""Fields of entries that hold an instant, or none."""
TOLD: Final = tuple(field.name for field in fields(Tin) if field.name not in ("time", "logged", "lot"))
"""What can be told of a tin besides when it was bought."""


class TinBody(BaseModel):
    """A tin as it was bought. What is not said stays as it was told; null takes it back."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    bought: Annotated[
        Instant | None, Field(description="When; without it as told before, or when it was first used.")
    ] = None
    strain: Annotated[str, Field(max_length=80)] | None = None
    label_hatch_percent: Annotated[float, Field(ge=1, le=100)] | None = None
    grams: Annotated[float, Field(gt=0, le=100_000, description="What was in it when it was bought.")] | None = None
    price: Annotated[float, Field(ge=0, le=1e6, description="Of all of it, in the site's currency.")] | None = None
    cysts_per_g: Annotated[float, Field(ge=20_000, le=2_000_000)] | None = None
    length_um: Annotated[float, Field(ge=200, le=1500, description="Of a newly hatched nauplius, measured.")] | None = (
        None
    )
    opened: Instant | None = None
    kept: Storage | None = None

    def command(self, lot: str, known: Mapping[str, Any] | None, now: Ms) -> Tin:
        """``known``: the tin's document, None for a new one. Raises NotAnInstant for a time that is ahead."""
        changes = {name: getattr(self, name) for name in TOLD if name in self.model_fields_set}
        if self.bought is not None:
            changes["time"] = self.bought
        return tin_entry(lot, known, changes, now)


def tin_entry(lot: str, known: Mapping[str, Any] | None, changes: Mapping[str, Any], now: Ms) -> Tin:
    """A tin as it was told before, with ``changes``. Raises NotAnInstant for a time that is ahead."""
    told: Mapping[str, Any] = (known or {}).get("told") or {}
    values: dict[str, Any] = {name: told.get(name) for name in TOLD}
    values["opened"] = rfc3339(values["opened"]) if values["opened"] else None
    values |= {"time": bought_when(known, now), **changes}
    for name in ("time", "opened"):
        not_ahead(values[name], now)
    known_strain = strains.find(values["strain"] or "")
    values["strain"] = (values["strain"] or "") if known_strain is None else known_strain.id
    values["kept"] = values["kept"] or "room"
    return Tin(logged=now, lot=lot, **values)


def bought_when(known: Mapping[str, Any] | None, now: Ms) -> Ms:
    """As told before; else not later than it was used first, so that what was started from it counts."""
    if known is None:
        return now
    if known.get("told"):
        return rfc3339(known["told"]["bought"])
    return min(now, rfc3339(known["first_used"])) if known.get("first_used") else now


def not_ahead(instant: Ms | None, now: Ms) -> None:
    """Raises NotAnInstant for one that has not come yet, or that can't be meant."""
    if instant is not None and instant < 0:
        raise NotAnInstant(f"{as_rfc3339(instant // SECOND * SECOND)} is before 1970.")
    if instant is not None and instant > now + SKEW:
        raise NotAnInstant(f"{as_rfc3339(instant // SECOND * SECOND)} is in the future; it is {as_rfc3339(now)}.")


class WeighedBody(Body):
    """So much is left, whatever the record says."""

    grams: Annotated[float, Field(ge=0, le=100_000)]

    def command(self, lot: str, now: Ms) -> Weighed:
        return Weighed(time=self.when(now), logged=now, lot=lot, grams=self.grams)


class FedBody(BaseModel):
    """Who got how many. Without ``store`` and ``batch`` nobody knows where they came from."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    nauplii: Nauplii
    brood: Annotated[Name | None, Field(description="Brood or eater; without it nobody in particular.")] = None
    store: Annotated[Name | None, Field(description="The cold store they were taken from.")] = None
    batch: Annotated[Name | None, Field(description="The batch they were harvested from, where no store is named.")] = (
        None
    )


class FeedingsBody(Body):
    """One meal, of one brood or of several at once."""

    fed: Annotated[list[FedBody], Field(min_length=1, max_length=40)]

    def commands(self, now: Ms) -> list[Fed]:
        """Raises Trouble where nothing at all is said of one."""
        for n, one in enumerate(self.fed):
            if not (one.brood or one.store or one.batch):
                raise field_trouble(f"fed/{n}", "say who was fed (brood), or where they came from (store or batch)")
            if one.store and one.batch:
                raise field_trouble(f"fed/{n}", "name the store or the batch, not both: what a store holds is known")
        time = self.when(now)
        return [
            # Each a millisecond later: an entry is named by what it is about and when it was logged.
            Fed(
                time=time,
                logged=now + n,
                brood=one.brood or "",
                nauplii=one.nauplii,
                store=one.store or "",
                batch=one.batch or "",
            )
            for n, one in enumerate(self.fed)
        ]


class DrawnBody(Body):
    """Taken out of a cold store and not fed."""

    nauplii: Nauplii
    why: Annotated[str, Field(max_length=200)] = ""

    def command(self, store: str, now: Ms) -> Drawn:
        return Drawn(time=self.when(now), logged=now, store=store, nauplii=self.nauplii, why=self.why)


class CorrectBody(BaseModel):
    """``kind``, ``subject`` and ``at`` as the ledger has them; ``values`` by the names of its ``fields``, or ``gone``."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    kind: CorrectableKind
    subject: Annotated[str, Field(max_length=64)]
    at: Instant
    values: Annotated[dict[str, Any], Field(description="What is to be otherwise; instants as RFC 3339.")] = {}
    gone: Annotated[bool, Field(description="It is to be as if it had never been made.")] = False

    def command(self, now: Ms) -> Correct:
        """Raises Trouble when nothing is to change, or both is said."""
        if self.gone == bool(self.values):
            told = "Say what is to be otherwise (values), or that it is to be as if never made (gone)"
            raise Trouble(422, f"{told}{', not both' if self.gone else ''}.", INVALID)
        values = {name: _value(name, value) for name, value in self.values.items()}
        return Correct(
            time=now, logged=now, kind=self.kind, subject=self.subject, at=self.at, values=values, gone=self.gone
        )


def _value(name: str, value: Any) -> Any:
    if name not in INSTANTS or value is None:
        return value
    try:
        return rfc3339(value) if isinstance(value, str) else _no_instant(value)
    except NotAnInstant as problem:
        raise field_trouble(f"values/{name}", str(problem)) from None


def _no_instant(value: Any) -> Ms:
    raise NotAnInstant(f'{str(value)[:40]} is not a time; write it as text, like "2026-03-02T06:40:00+01:00".')
