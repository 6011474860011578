"""What other rooms keep at the broker, read with suspicion: anybody who may publish there could have written it.

``swimup/<site>/status`` and ``swimup/<site>/summary``; what comes out is bounded, of known shape, and free of control characters.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any, Final

from pydantic import ValidationError

from monitor.core.model import SECOND, Ms
from monitor.core.rooms import News
from monitor.core.summary import LARGEST, VERSION
from monitor.core.wording import rfc3339
from monitor.intake.instants import instant
from monitor.intake.unreadable import Unreadable

if TYPE_CHECKING:
    from monitor.core.rooms import Status

_TOPIC: Final = re.compile(r"swimup/([a-z0-9-]{1,40})/(status|summary)", re.ASCII)


def place_of(topic: str) -> tuple[str, str] | None:
    """The site and ``status`` or ``summary``; None for a topic that no room would use."""
    match = _TOPIC.fullmatch(topic)
    return None if match is None else (match[1], match[2])


def read_status(payload: bytes) -> Status:
    """Raises Unreadable. Empty where the topic was cleared."""
    from monitor.intake.room_shapes import Word  # noqa: PLC0415

    if not payload:
        return ""
    if len(payload) > LARGEST:
        raise Unreadable(f"it has {len(payload)} bytes; at most {LARGEST} are read", "oversize")
    try:
        return Word.model_validate_json(payload).state
    except ValidationError as fault:
        raise Unreadable(_told(fault), "type") from None


def read_summary(site: str, payload: bytes) -> News:
    """What the room ``site`` tells of itself. Raises Unreadable; its reason quotes nothing of the payload."""
    from monitor.intake.room_shapes import Envelope, Summary  # noqa: PLC0415

    if len(payload) > LARGEST:
        raise Unreadable(f"it has {len(payload)} bytes; at most {LARGEST} are read", "oversize")
    try:
        outside = Envelope.model_validate_json(payload)
        if outside.version > VERSION:
            raise Unreadable(
                f"it speaks version {outside.version} and this monitor reads {VERSION}: update this one", "version"
            )
        inside = Summary.model_validate_json(payload)
    except ValidationError as fault:
        raise Unreadable(_told(fault), "type") from None
    if outside.site != site:
        raise Unreadable("it is that of another room", "word")
    every = outside.every_s * SECOND
    return News(site, outside.run, instant(outside.time), every, outside.page or "", inside.model_dump(mode="json"))


def write_summary(told: dict[str, Any], run: str, time: Ms, every: Ms, page: str) -> str:
    """What is published; ``read_summary`` gives it back."""
    about = {"run": run, "time": rfc3339(time), "every_s": every // SECOND, "page": page or None}
    return json.dumps(about | told, ensure_ascii=False)


def _told(fault: ValidationError) -> str:
    """Where and what is wrong; the keys of ours only, since others are whatever somebody wrote."""
    first = fault.errors(include_url=False, include_input=False, include_context=False)[0]
    if first["type"] == "json_invalid":
        return "it is no JSON"
    place = "/".join(str(step) for step in first["loc"])
    return f"{place or 'it'}: not as expected"[:120]
