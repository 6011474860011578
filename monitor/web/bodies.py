"""What the API takes, and how it becomes a command. Defaults a keeper need not type are filled in here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, WithJsonSchema

from monitor.core.log import Discard, Harvest, Seen, Settle, Sight, Start
from monitor.core.model import MINUTE, Acknowledge, Ms, PutBackInService, Shelve, TakeOutOfService, Unshelve
from monitor.web.problems import INVALID, Trouble
from monitor.web.when import NotAnInstant, rfc3339
from monitor.web.when import checked as checked_instant

if TYPE_CHECKING:
    from collections.abc import Mapping

USUAL_SALINITY: Final = 25.0  # g/L; common practice, no source

_CONFIG: Final = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def _as_instant(value: object) -> Ms:
    if not isinstance(value, str):
        raise ValueError('write the time as text, like "2026-03-02T06:40:00+01:00"')  # noqa: TRY004  (pydantic wants it)
    return rfc3339(value)


Instant = Annotated[
    int, BeforeValidator(_as_instant), WithJsonSchema({"type": "string", "format": "date-time"}, mode="validation")
]
Share = Annotated[float, Field(ge=0, le=1)]
Name = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[^\x00-\x1f\x7f/]+$")]


class Body(BaseModel):
    """Common to all: ``time`` is when it happened, if that was not just now; RFC 3339 with a zone."""

    model_config = _CONFIG
    time: Instant | None = None

    def when(self, now: Ms) -> Ms:
        """Raises NotAnInstant for a time ahead or long past."""
        return now if self.time is None else checked_instant(self.time, now)


class StartBody(Body):
    vessel: Name
    cysts_g: Annotated[float, Field(gt=0, le=1000)]
    lot: Name | None = None
    litres: Annotated[float, Field(gt=0, le=1000)] | None = None
    salinity_g_l: Annotated[float, Field(ge=0, le=200)] | None = None
    batch: Name | None = None

    def command(self, bench: Mapping[str, Any]) -> Start:
        """Raises Trouble for a vessel that is not there, or when no tin can be guessed."""
        vessel = find_vessel(bench, self.vessel)
        lot = self.lot or usual_lot(bench)
        if lot is None:
            raise Trouble(
                422, "Say which tin the cysts come from (lot).", INVALID, [{"pointer": "#/lot", "detail": "is missing"}]
            )
        now = bench["now_ms"]
        return Start(
            time=self.when(now),
            logged=now,
            batch=self.batch or "",
            vessel=self.vessel,
            lot=lot,
            cysts_g=self.cysts_g,
            litres=self.litres if self.litres is not None else float(vessel["litres"]),
            salinity_g_l=self.salinity_g_l if self.salinity_g_l is not None else USUAL_SALINITY,
        )


class SeenBody(Body):
    what: Sight
    fraction: Share | None = None

    def command(self, batch: str, now: Ms) -> Seen:
        return Seen(self.when(now), now, batch, self.what, self.fraction)


class HarvestBody(Body):
    hatched_fraction: Share | None = None
    nauplii: Annotated[float, Field(ge=0, le=1e9)] | None = None

    def command(self, batch: str, now: Ms) -> Harvest:
        return Harvest(self.when(now), now, batch, self.hatched_fraction, self.nauplii)


class DiscardBody(Body):
    reason: Annotated[str, Field(max_length=200)] = ""

    def command(self, batch: str, now: Ms) -> Discard:
        return Discard(self.when(now), now, batch, self.reason)


class SettlingBody(Body):
    minutes: Annotated[float, Field(gt=0, le=60)] | None = None

    def command(self, vessel: str, now: Ms, usual: float) -> Settle:
        """``usual``: minutes, as the site has set them."""
        start = self.when(now)
        minutes = usual if self.minutes is None else self.minutes
        return Settle(start, now, vessel, start + round(minutes * MINUTE))


class AlarmBody(BaseModel):
    model_config = _CONFIG
    by: Annotated[str, Field(max_length=64)] = ""

    def acknowledge(self, alarm: str, now: Ms) -> Acknowledge:
        return Acknowledge(now, alarm, self.by)

    def unshelve(self, alarm: str, now: Ms) -> Unshelve:
        return Unshelve(now, alarm, self.by)

    def back(self, alarm: str, now: Ms) -> PutBackInService:
        return PutBackInService(now, alarm, self.by)


class ShelveBody(AlarmBody):
    """How long is too long depends on the alarm and is for the core to say."""

    minutes: Annotated[float, Field(gt=0, le=7 * 24 * 60)]

    def shelve(self, alarm: str, now: Ms) -> Shelve:
        return Shelve(now, alarm, now + round(self.minutes * MINUTE), self.by)


class ServiceBody(AlarmBody):
    why: Annotated[str, Field(max_length=200)] = ""

    def out(self, alarm: str, now: Ms) -> TakeOutOfService:
        return TakeOutOfService(now, alarm, self.by, self.why)


AnyBody = TypeVar("AnyBody", bound=BaseModel)


def read_body(kind: type[AnyBody], raw: bytes) -> AnyBody:
    """A JSON object of the given kind; an empty body is an empty object. Raises Trouble with every fault at once."""
    try:
        return kind.model_validate_json(raw.strip() or b"{}")
    except ValidationError as invalid:
        faults = [
            _fault(error["loc"], error["msg"]) for error in invalid.errors(include_url=False, include_input=False)
        ]
        told = "; ".join(f"{fault['pointer'].removeprefix('#/') or 'the body'}: {fault['detail']}" for fault in faults)
        status = 400 if any(error["type"] == "json_invalid" for error in invalid.errors(include_input=False)) else 422
        raise Trouble(status, told[:2000], INVALID, faults) from None


def _fault(place: tuple[int | str, ...], message: str) -> dict[str, str]:
    pointer = "".join("/" + str(step).replace("~", "~0").replace("/", "~1")[:64] for step in place)
    return {"pointer": f"#{pointer}", "detail": message.removeprefix("Value error, ")}


def find_vessel(bench: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    """Raises Trouble naming the vessels there are."""
    for vessel in bench["vessels"]:
        if vessel["id"] == name:
            found: Mapping[str, Any] = vessel
            return found
    known = ", ".join(vessel["id"] for vessel in bench["vessels"]) or "none"
    raise Trouble(404, f'There is no vessel "{name[:64]}"; there are: {known}.')


def open_batches(bench: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Those under way, in the order of their vessels."""
    return [vessel["batch"] for vessel in bench["vessels"] if vessel.get("batch")]


def usual_lot(bench: Mapping[str, Any]) -> str | None:
    """The tin used last: the first of ``lots`` where the service tells them, else that of the youngest batch."""
    for lot in bench.get("lots") or ():
        return str(lot["id"])
    batches = open_batches(bench)
    return str(max(batches, key=lambda batch: batch["start"])["lot"]) if batches else None


def instant_trouble(problem: NotAnInstant) -> Trouble:
    return Trouble(422, str(problem), INVALID, [{"pointer": "#/time", "detail": str(problem)}])
