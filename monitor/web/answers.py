"""What the API answers, as models. Only its description is made from them: the daemon itself never imports this.

Names that end in ``_s``, ``_c``, ``_g`` or ``_g_l`` carry their unit: seconds, degrees Celsius, grams, grams per litre.
What is told of a subject stands in a file of its own (``*_answers``); here is what is about the service or shared by all.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field

from monitor.web.answer_words import Count, Share, Time
from monitor.web.bench_answers import Alarm, Decision, Phone


class Health(BaseModel):
    status: Literal["ok", "degraded"]
    broker: bool
    now: Time


class Alarms(BaseModel):
    alarms: list[Alarm]


class GuideDefault(BaseModel):
    what: str
    value: str
    why: str
    change: str


class GuideEntry(BaseModel):
    """What the guide says of a rule."""

    rule: str
    of: str
    title: str
    priority: str
    meaning: str
    todo: list[str]
    then: str
    defaults: list[GuideDefault]
    quieter: str


class AlarmStory(BaseModel):
    """An alarm as it stands, or null while it is quiet, what was decided about it, oldest first, and the guide's entry."""

    id: str
    rule: str
    subject: str
    alarm: Alarm | None
    decisions: list[Decision]
    guide: GuideEntry | None


class Done(BaseModel):
    """What a keeper said was taken, and is on the disk."""

    done: str
    subject: str


class DoneUntil(Done):
    until: Time | None


class Undone(Done):
    text: Annotated[str, Field(description="What was undone, in words.")]


class ChannelResult(BaseModel):
    id: str
    ok: bool
    error: str
    todo: str


class ChannelResults(BaseModel):
    channels: list[ChannelResult]


class PushKey(BaseModel):
    key: Annotated[str, Field(description="Public key on P-256, base64url, as a browser's push service wants it.")]


class Phones(BaseModel):
    phones: list[Phone]


class Subscribed(BaseModel):
    id: str
    name: str


class Fault(BaseModel):
    """One thing that is wrong: where in the body (a JSON pointer, RFC 6901, as a fragment) or in which parameter."""

    pointer: str = ""
    parameter: str = ""
    detail: str


class Problem(BaseModel):
    """RFC 9457. ``detail`` says what was found and what is allowed."""

    type: str
    title: str
    status: int
    detail: str
    errors: list[Fault] = []


class Report(BaseModel):
    """How much the alarms asked of a person; lengths in seconds, shares between 0 and 1."""

    days_asked: int
    timezone: str
    begin: Time
    end: Time
    channel: str | None
    alarms: Count
    pushes: Count
    repeats: Count
    ready: Count
    returns: Count
    priorities: dict[str, Count]
    high_share: Share | None
    targets: list[dict[str, Any]]
    days: list[dict[str, Any]]
    rules: list[dict[str, Any]]
    worst: list[dict[str, Any]]
    floods: list[dict[str, Any]]
    findings: list[dict[str, Any]]


class Description(BaseModel):
    """An OpenAPI 3.1 document."""

    openapi: str
    info: dict[str, Any]
    servers: list[dict[str, Any]]
    security: list[dict[str, Any]]
    components: dict[str, Any]
    paths: dict[str, Any]
