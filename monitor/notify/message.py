"""A letter as a document for programs: the same for every channel that speaks JSON."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from monitor.core.model import MINUTE
from monitor.core.wording import rfc3339

if TYPE_CHECKING:
    from monitor.store import Letter


def document(letter: Letter, site: str) -> dict[str, Any]:
    """``id`` is the same for every try with a letter, by which a duplicate is recognised. Times are RFC 3339.

    ``time`` is when the letter was written. Only where there are: ``todo``; ``deadline``, when harm may begin, and
    ``minutes_left``, whole minutes from ``time`` until then.
    """
    said: dict[str, Any] = {
        "id": letter.token,
        "time": rfc3339(letter.created),
        "site": site,
        "alarm": letter.alarm,
        "priority": letter.priority.value,
        "title": letter.title,
        "text": letter.body.removesuffix(letter.todo).rstrip("\n"),
    }
    if letter.todo:
        said["todo"] = letter.todo
    if letter.deadline is not None:
        said["deadline"] = rfc3339(letter.deadline)
        said["minutes_left"] = max(letter.deadline - letter.created, 0) // MINUTE
    return said


def payload(letter: Letter, site: str) -> bytes:
    """The document as JSON in UTF-8."""
    return json.dumps(document(letter, site), ensure_ascii=False).encode("utf-8", "replace")
