"""What the API answers about rooms, as models; a summary is what each room keeps at the broker. See ``monitor.web.answers``."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from monitor.core.summary import MOST_ALARMS, MOST_STORES, MOST_VESSELS
from monitor.web.answer_words import Count, Time
from monitor.web.bench_answers import (
    AirWord,
    Instants,
    PriorityWord,
    QualityWord,
    Seconds,
    StageWord,
    Unit,
)


class RoomMeasurement(BaseModel):
    """A measured value as its room last told it; ``fresh`` as it was then."""

    value: float | AirWord
    unit: Unit
    time: Time
    quality: QualityWord
    fresh: bool


class RoomAlarm(BaseModel):
    id: str
    priority: PriorityWord
    state: Literal["unacknowledged", "acknowledged", "returned-unacknowledged"]
    since: Time
    title: str


class RoomBatch(BaseModel):
    id: str
    stage: StageWord
    ready: Instants


class RoomVessel(BaseModel):
    id: str
    water: RoomMeasurement | None
    air: RoomMeasurement | None
    batch: RoomBatch | None


class RoomContent(BaseModel):
    nauplii: Annotated[float, Field(ge=0, description="How many.")]
    good_until: Instants


class RoomStore(BaseModel):
    id: str
    temperature: RoomMeasurement | None
    content: RoomContent | None


class RoomSummary(BaseModel):
    """What a room tells of itself, the gravest alarm first."""

    version: Literal[1]
    site: str
    simulated: bool
    linked: Annotated[bool, Field(description="Whether its monitor is linked to its probes.")]
    waiting: Annotated[Count, Field(description="Alarms that nobody has acknowledged.")]
    alarms: Annotated[list[RoomAlarm], Field(max_length=MOST_ALARMS)]
    vessels: Annotated[list[RoomVessel], Field(max_length=MOST_VESSELS)]
    stores: Annotated[list[RoomStore], Field(max_length=MOST_STORES)]


class Room(BaseModel):
    """A room, and whether it is heard. ``told`` is its newest summary, also when that is old."""

    site: str
    state: Annotated[
        Literal["here", "heard", "silent", "stopped", "lost", "never", "unreadable"],
        Field(
            description="here: our own. silent: no news for three periods and a minute. stopped: on purpose. lost: its broker "
            "has lost it. never: awaited, nothing heard yet. unreadable: see `reason`."
        ),
    ]
    page: Annotated[str | None, Field(description="Where its page is, as it says itself.")]
    heard: Annotated[Time | None, Field(description="When its newest summary was heard, or written if it was kept.")]
    age_s: Seconds | None
    reason: str
    told: RoomSummary | None


class Rooms(BaseModel):
    """Our own room first, then the others by name; times are real, also where the bench runs in simulated time."""

    now: Time
    timezone: Annotated[str, Field(description="IANA name, of our own room.")]
    shown: Annotated[bool, Field(description="Whether other rooms are listened to.")]
    problem: Annotated[str, Field(description="Why other rooms cannot be heard just now; empty when they can.")]
    doubled: Annotated[bool, Field(description="Another monitor publishes under our own name.")]
    beyond: Annotated[Count, Field(description="Rooms that were heard and for which there was no place, up to 50.")]
    rooms: list[Room]
