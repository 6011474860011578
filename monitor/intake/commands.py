"""What a keeper may do with an alarm over MQTT: ``swimup/<site>/do/<alarm id>``, and what is answered under ``done``.

The payload is the bare word ``acknowledge``, or JSON: ``{"do": "shelve", "minutes": 30, "by": "ann", "time": "…Z"}``.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from monitor.core.model import MINUTE, Acknowledge, Shelve, Unshelve
from monitor.core.wording import rfc3339
from monitor.intake.instants import instant
from monitor.intake.unreadable import Unreadable, shown

if TYPE_CHECKING:
    from monitor.core.model import AlarmCommand, Ms
    from monitor.intake.incoming import Incoming

LARGEST: Final = 1024  # bytes
LONGEST_ALARM: Final = 200  # letters; no alarm has an id nearly as long
LATEST: Final[Ms] = 10 * MINUTE
"""A command with a time of its own is carried out no later; who sent it sees the room as it was then."""
AHEAD: Final[Ms] = 2 * MINUTE  # clocks differ

REFUSED: Final = "urn:swimup:problem:refused"
INVALID: Final = "urn:swimup:problem:invalid"

Deed = Literal["acknowledge", "shelve", "unshelve"]


class Request(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    do: Deed
    minutes: Annotated[float, Field(gt=0, le=7 * 24 * 60)] | None = None
    by: Annotated[str, Field(max_length=64)] = ""
    time: str | None = None


def family(site: str) -> str:
    """Where commands come in: every topic directly below."""
    return f"swimup/{site}/do"


def answer_topic(site: str, alarm: str) -> str:
    return f"swimup/{site}/done/{alarm}"


def read_command(message: Incoming, now: Ms) -> AlarmCommand:
    """What is asked for the alarm at the end of the topic. Raises Unreadable; its reason is for whoever sent it.

    A command that waited at the broker is of unknown age, and may have meant an earlier trouble: it needs a ``time``.
    """
    request = _request(message.payload)
    alarm = message.topic.rpartition("/")[2]
    _in_time(request, message, now)
    by = f"MQTT: {request.by}" if request.by else "MQTT"
    if request.do == "shelve":
        if request.minutes is None:
            raise Unreadable('it says shelve without minutes; write {"do": "shelve", "minutes": 30}', "empty")
        return Shelve(now, alarm, now + round(request.minutes * MINUTE), by)
    if request.minutes is not None:
        raise Unreadable(f"it says {request.do} with minutes; only shelve has them", "type")
    return Acknowledge(now, alarm, by) if request.do == "acknowledge" else Unshelve(now, alarm, by)


def _request(payload: bytes) -> Request:
    if len(payload) > LARGEST:
        raise Unreadable(f"it has more than {LARGEST} bytes, which no command has", "oversize")
    try:
        text = payload.decode("utf-8").strip()
    except UnicodeDecodeError:
        raise Unreadable("it is not UTF-8", "encoding") from None
    if not text.startswith("{"):
        if text != "acknowledge":
            raise Unreadable(
                f'it says {shown(text)}; allowed is acknowledge, or JSON such as {{"do": "shelve", …}}', "word"
            )
        return Request(do="acknowledge")
    try:
        return Request.model_validate_json(text)
    except ValidationError as invalid:
        faults = invalid.errors(include_url=False, include_input=False)
        told = "; ".join(f"{'/'.join(map(str, fault['loc'])) or 'it'}: {fault['msg']}" for fault in faults)
        raise Unreadable(told[:300], "syntax" if faults[0]["type"] == "json_invalid" else "type") from None


def _in_time(request: Request, message: Incoming, now: Ms) -> None:
    if request.time is None:
        if message.queued:
            raise Unreadable(
                "it waited at the broker, nobody knows how long, and the trouble may be another by now; send it again, or "
                "with a time of its own",
                "time",
            )
        return
    try:
        sent = instant(request.time)
    except (ValueError, OverflowError):
        raise Unreadable(f"time: {shown(request.time)} is no RFC 3339 time with a zone", "time") from None
    if not now - LATEST <= sent <= now + AHEAD:
        raise Unreadable(
            f"it was sent at {rfc3339(sent)} and it is {rfc3339(now)}; a command is good for {LATEST // MINUTE} min",
            "time",
        )


def done(command: AlarmCommand, state: str, time: Ms) -> bytes:
    """The answer when it was carried out. ``state`` is that of the alarm after."""
    deed = type(command).__name__.lower()
    return _json({"alarm": command.alarm, "done": deed, "by": command.by, "state": state, "time": rfc3339(time)})


def problem(alarm: str, kind: str, detail: str, time: Ms) -> bytes:
    """The answer when it was not, as problem details (RFC 9457)."""
    title, status = ("The bench says no", 409) if kind == REFUSED else ("Not understood", 422)
    said = {"type": kind, "title": title, "status": status, "detail": detail, "alarm": alarm, "time": rfc3339(time)}
    return _json(said)


def _json(said: dict[str, Any]) -> bytes:
    return json.dumps(said, ensure_ascii=False).encode("utf-8", "replace")
