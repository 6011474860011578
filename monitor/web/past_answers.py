"""What the API answers about the past, as models; see ``monitor.web.answers``."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field

from monitor.web.answer_words import Count, Share, Time
from monitor.web.bench_answers import (
    AirWord,
    Alarm,
    Batch,
    Instants,
    Kind,
    Measurement,
    QualityWord,
    Seconds,
    Shares,
    StageWord,
    StateWord,
    Unit,
)

Next = Annotated[str | None, Field(description="Cursor of the next page; null when this is the last.")]


class KnownProbe(BaseModel):
    """A probe that is configured or was ever heard. What is only on record has no kind and no unit any more."""

    id: str
    configured: bool
    measures: Kind | None
    vessel: str | None
    store: str | None
    unit: Unit
    every_s: Seconds | None
    first: Annotated[Time | None, Field(description="On record since, to the quarter of an hour.")]
    last: Time | None
    newest: Measurement | None


class KnownProbes(BaseModel):
    now: Time
    probes: list[KnownProbe]


class TrendPoint(BaseModel):
    """What was read in an interval that begins at ``time``; low, mean and high are of the ``count`` usable readings."""

    time: Time
    count: Count
    low: float | None
    mean: float | None
    high: float | None
    suspect: Count


class AirPoint(BaseModel):
    """How many readings said what in an interval that begins at ``time``."""

    time: Time
    count: Count
    running: Count
    weak: Count
    stopped: Count
    suspect: Count


class Trend(BaseModel):
    """The course of a probe. ``step`` tells from what it was made, ``width_s`` how long an interval is; 0 is single readings."""

    probe: str
    unit: Unit
    since: Time
    until: Time
    step: Literal["raw", "minute", "quarter", "day"]
    width_s: Seconds
    points: list[TrendPoint] | list[AirPoint]


class PastReading(BaseModel):
    """One reading as it was judged. ``own_time``: the probe told its time itself."""

    probe: str
    time: Time
    value: float | AirWord
    unit: Unit
    quality: QualityWord
    reason: str
    own_time: bool
    arrived: Time | None
    seq: int | None


class Readings(BaseModel):
    items: list[PastReading]
    next: Next


class Ending(BaseModel):
    """How a batch ended; ``lapse``: nobody wrote it down, and the monitor closed it."""

    how: Literal["harvest", "discard", "lapse"]
    time: Time
    hatched_fraction: Share | None
    nauplii: float | None
    reason: str


class PastBatch(BaseModel):
    """A batch, open or ended; ``units`` are UCUM codes."""

    id: str
    vessel: str
    lot: str
    start: Time
    logged: Time
    cysts_g: float
    litres: float
    salinity_g_l: float
    ended: Ending | None
    units: dict[str, str]


class PastBatches(BaseModel):
    items: list[PastBatch]
    next: Next


class Noted(BaseModel):
    """An entry of the log: when it happened, when it was written down, and what its kind tells.

    ``undone``: it was taken back.
    """

    id: int
    kind: str
    time: Time
    logged: Time
    undone: bool
    subject: str
    fields: dict[str, Any]


class Log(BaseModel):
    items: list[Noted]
    next: Next


class Told(BaseModel):
    """An estimate as it was told at ``time``."""

    id: int
    batch: str
    time: Time
    stage: StageWord
    hatched: Shares
    t10: Instants
    t50: Instants
    t90: Instants
    ready: Instants
    water_c: float | None
    air: AirWord


class Tolds(BaseModel):
    items: list[Told]
    next: Next


class PastTransition(BaseModel):
    """What an alarm went through, and whether a person was told; ``alarm`` is as it stands after."""

    id: int
    time: Time
    before: StateWord
    after: StateWord
    notify: bool
    reason: str
    alarm: Alarm


class Transitions(BaseModel):
    items: list[PastTransition]
    next: Next


class Sentence(BaseModel):
    """One sentence of a batch's story; times of day in ``text`` are the site's, the weekday with them when it is another."""

    time: Time
    kind: Literal[
        "start",
        "told",
        "water",
        "silence",
        "air",
        "alarm",
        "seen",
        "settle",
        "work",
        "chill",
        "undone",
        "harvest",
        "discard",
        "lapse",
        "taught",
        "verdict",
    ]
    text: str


class BatchRecord(PastBatch):
    """A batch with all that is known of it: as it stands while it is open, its log, and the estimate that was told last.

    ``story`` is what the record tells of it in sentences, ``summary`` the same in three.
    """

    now: Batch | None
    log: list[Noted]
    told_last: Told | None
    summary: str
    story: list[Sentence]
