"""The shape of what other rooms tell, and the bounds of each part; loaded when the first of them is heard."""

from __future__ import annotations

import re
from typing import Annotated, Final, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from monitor.core.summary import LONGEST, LONGEST_NAME, MOST_ALARMS, MOST_STORES, MOST_VESSELS
from monitor.core.wording import rfc3339
from monitor.intake.instants import YEAR_2100, instant

_ADDRESS: Final = re.compile(r"https?://[A-Za-z0-9.:\[\]-]{1,260}", re.ASCII)


def _line(text: str) -> str:
    """On one line, without what commands a terminal or turns the direction of writing."""
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text)


def _time(text: str) -> str:
    try:
        time = instant(text)
    except OverflowError:
        raise ValueError("no time that can be") from None
    if not 0 <= time <= YEAR_2100:
        raise ValueError("no time of ours")
    return rfc3339(time)


def _page(text: str | None) -> str | None:
    """An address a browser may be sent to; anything else is as good as none. A script or a password is no address."""
    if not text or _ADDRESS.fullmatch(text) is None:
        return None
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError:
        return None
    return text if parts.hostname and port != 0 else None


Line = Annotated[str, Field(max_length=LONGEST), AfterValidator(_line)]
Name = Annotated[str, Field(max_length=LONGEST_NAME), AfterValidator(_line)]
Time = Annotated[str, Field(max_length=40), AfterValidator(_time)]
Id = Annotated[str, Field(pattern=r"^[a-z0-9-]{1,40}$")]


class _Part(BaseModel):
    """New members may come: what is not known is passed over."""

    model_config = ConfigDict(extra="ignore", frozen=True, allow_inf_nan=False)


class _Range(_Part):
    lo: Time | None
    mid: Time | None
    hi: Time | None


class _Measured(_Part):
    value: Annotated[float, Field(ge=-100, le=200)] | Literal["running", "weak", "stopped", "unknown"]
    unit: Literal["Cel"] | None
    time: Time
    quality: Literal["ok", "suspect", "last-known", "queued", "clamped"]
    fresh: bool


class _Alarm(_Part):
    id: Name
    priority: Literal["high", "medium", "low"]
    state: Literal["unacknowledged", "acknowledged", "returned-unacknowledged"]
    since: Time
    title: Line


class _Batch(_Part):
    id: Name
    stage: Literal["soaking", "developing", "hatching", "ready", "past", "ended", "lost"]
    ready: _Range


class _Vessel(_Part):
    id: Id
    water: _Measured | None
    air: _Measured | None
    batch: _Batch | None


class _Content(_Part):
    nauplii: Annotated[float, Field(ge=0, le=1e12)]
    good_until: _Range


class _Store(_Part):
    id: Id
    temperature: _Measured | None
    content: _Content | None


class Summary(_Part):
    version: Literal[1]
    site: Id
    simulated: bool
    linked: bool
    waiting: Annotated[int, Field(ge=0, le=10_000)]
    alarms: Annotated[tuple[_Alarm, ...], Field(max_length=MOST_ALARMS)]
    vessels: Annotated[tuple[_Vessel, ...], Field(max_length=MOST_VESSELS)]
    stores: Annotated[tuple[_Store, ...], Field(max_length=MOST_STORES)]


class Envelope(_Part):
    version: Annotated[int, Field(ge=1)]
    site: Id
    run: Annotated[str, Field(pattern=r"^[0-9a-f]{8}$")]
    time: Time
    every_s: Annotated[int, Field(ge=5, le=3600)]
    page: Annotated[str | None, Field(max_length=300), AfterValidator(_page)]


class Word(_Part):
    state: Literal["up", "stopped", "lost"]
