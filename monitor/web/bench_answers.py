"""What the API answers about the bench, as models; see ``monitor.web.answers``."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field

from monitor.web.answer_words import Share, Time
from monitor.web.brood_answers import Brood, Eater, PastBrood
from monitor.web.tin_answers import HarvestInHand, Tin

Seconds = Annotated[float, Field(ge=0, description="s")]
AirWord = Literal["running", "weak", "stopped", "unknown"]
QualityWord = Literal["ok", "suspect", "last-known", "queued", "clamped"]
Kind = Literal["water", "room", "store", "tank", "air"]
Unit = Annotated[Literal["Cel"] | None, Field(description="UCUM code; null for air, which is told as a word.")]
PriorityWord = Literal["high", "medium", "low"]
StateWord = Literal[
    "normal",
    "unacknowledged",
    "acknowledged",
    "returned-unacknowledged",
    "shelved",
    "suppressed-by-design",
    "out-of-service",
]
StageWord = Literal["soaking", "developing", "hatching", "ready", "past", "ended", "lost"]


class Instants(BaseModel):
    """A central 80 % range with its median, of instants; null where it never comes or is not in sight."""

    lo: Time | None
    mid: Time | None
    hi: Time | None


class Shares(BaseModel):
    """A central 80 % range with its median, of shares between 0 and 1."""

    lo: Share | None
    mid: Share | None
    hi: Share | None


class Measurement(BaseModel):
    """The newest usable value of a probe: its value and unit, its time and age, and how far it can be trusted."""

    value: float | AirWord
    unit: Unit
    time: Time
    age_s: Seconds
    quality: QualityWord
    fresh: Annotated[bool, Field(description="Not older than the probe's own period allows.")]
    probe: str


class Alarm(BaseModel):
    """An alarm as it stands; its states are those of ISA-18.2 / IEC 62682."""

    id: str
    rule: str
    subject: str
    priority: PriorityWord
    state: StateWord
    since: Time
    changed: Time
    title: str
    text: str
    todo: str
    reason: str
    deadline: Annotated[Time | None, Field(description="When harm may begin: the low end of what is known.")]
    until: Annotated[Time | None, Field(description="When a shelf ends.")]


class Decision(BaseModel):
    """Why a person was told, or was not."""

    time: Time
    notify: bool
    reason: str


class Look(BaseModel):
    """What a keeper saw when looking into a batch."""

    what: Literal["none", "first", "some", "most"]
    time: Time


class Batch(BaseModel):
    """An open batch. ``time``, ``age_s``, ``quality`` and ``fresh`` are those of its numbers; ``units`` are UCUM codes."""

    id: str
    lot: str
    strain: str
    lot_story: str
    start: Time
    cysts_g: float
    litres: float
    salinity_g_l: float
    stage: StageWord
    hatched: Annotated[Shares, Field(description="Of all cysts.")]
    t10: Annotated[Instants, Field(description="When 10 % of those that will hatch have.")]
    t50: Instants
    t90: Instants
    ready: Instants
    best_until: Time | None
    best_reason: str
    first_stage: Annotated[Share | None, Field(description="Share of the swimmers still in the first stage.")]
    energy: Annotated[Share | None, Field(description="Share of its energy the middle one has left.")]
    note: str
    looked: Annotated[Look | None, Field(description="The newest look.")]
    first_seen: Annotated[Time | None, Field(description="The first look at which any swam.")]
    time: Time
    age_s: Seconds
    quality: QualityWord | None
    fresh: bool
    water_c: float | None
    water_time: Time | None
    air: AirWord
    units: dict[str, str]


class LastStart(BaseModel):
    """What the last batch of a vessel was begun with."""

    batch: str
    lot: str
    cysts_g: float
    litres: float
    salinity_g_l: float


class Vessel(BaseModel):
    id: str
    litres: float
    water: Measurement | None
    air: Measurement | None
    batch: Batch | None
    last_start: LastStart | None
    settling_until: Time | None
    work_until: Time | None
    settling_minutes: float


class Probe(BaseModel):
    """A probe of the configuration and the newest it told."""

    id: str
    measures: Kind
    vessel: str | None
    store: str | None
    tank: str | None
    unit: Unit
    every_s: Seconds
    newest: Measurement | None


class Content(BaseModel):
    """What a cold store holds, and how long it will be good."""

    nauplii: float
    litres: float
    gas: Literal["open", "air", "oxygen"]
    gas_l: float
    aerated: bool
    since: Time
    age_s: Seconds
    batches: list[str]
    good_until: Instants
    ends_by: str
    why: str
    oxygen_until: Instants


class Store(BaseModel):
    id: str
    warm_above: Annotated[float, Field(description="Cel")]
    cold_below: Annotated[float, Field(description="Cel")]
    temperature: Measurement | None
    air: Measurement | None
    air_probe: bool
    content: Content | None


class Broker(BaseModel):
    connected: bool
    since: Time


class Simulated(BaseModel):
    speed: float


class Lot(BaseModel):
    id: str
    strain: str
    cysts_per_g: Annotated[float | None, Field(description="Cysts in a gram, where the configuration tells.")] = None


class Phone(BaseModel):
    id: str
    name: str
    since: Time
    gone: Time | None


class Heartbeat(BaseModel):
    state: str
    reason: str
    last: Time | None


class SeriesServer(BaseModel):
    """A time-series server that gets a copy of the record."""

    id: str
    state: str
    reason: str
    todo: str
    last: Annotated[Time | None, Field(description="When it last took something.")]
    lag_s: Annotated[int, Field(description="Age of the oldest reading that waits, in s; 0 when none does.")]
    sent: int
    refused: int


class Undoable(BaseModel):
    """What can still be undone, and until when; ``kind``, ``subject`` and ``at`` name it."""

    kind: str
    subject: str
    vessel: str | None
    at: Time
    until: Time
    text: str


class Bench(BaseModel):
    """The whole bench at one instant."""

    site: str
    timezone: Annotated[str, Field(description="IANA name")]
    now: Time
    now_ms: Annotated[int, Field(description="ms since 1970 in UTC")]
    simulated: Annotated[Simulated | None, Field(description="Set while time is simulated, as in the demo.")]
    clock_set: Annotated[
        bool, Field(description="False: times are from when the service started, until the clock is set.")
    ]
    broker: Broker
    vessels: list[Vessel]
    room: list[Measurement]
    probes: list[Probe]
    stores: list[Store]
    tins: Annotated[list[Tin], Field(description="The one used last first.")]
    harvests: Annotated[list[HarvestInHand], Field(description="Of which something is left that is in no cold store.")]
    broods: list[Brood]
    ended: Annotated[list[PastBrood], Field(description="Broods that need no more, the newest first.")]
    eaters: list[Eater]
    tanks: list[str]
    undoable: Annotated[list[Undoable], Field(description="The newest first.")]
    alarms: list[Alarm]
    phones: list[Phone]
    decisions: dict[str, list[Decision]]
    meals: list[Time]
    lots: list[Lot]
    heartbeat: Heartbeat
    series_servers: list[SeriesServer]


class BenchEvent(BaseModel):
    """``changed`` has what is new: of lists whose members have an id those that changed, else the whole value.

    ``gone`` has the ids of those that are there no more.
    """

    version: int
    now: Time
    whole: Annotated[bool, Field(description="Forget what you had: this is all there is.")]
    changed: dict[str, Any]
    gone: dict[str, list[str]]
