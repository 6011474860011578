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

    ``time`` is when the letter was written; ``kind`` is trouble, repeat, over, digest or test. ``alarm`` is the most pressing of
    those it tells of. Only where there are: ``todo``; ``deadline``, when harm may begin, and ``minutes_left``, whole minutes from
    ``time`` until then; ``link``, where a person can act on it without logging in; ``reason``, why it rang and why the letter
    goes now; ``alarms``, all their ids where there are several; ``contains``, the ids of letters that this one tells instead, by
    which one that came all the same is recognised.
    """
    said: dict[str, Any] = {
        "id": letter.token,
        "time": rfc3339(letter.created),
        "site": site,
        "kind": letter.kind.value,
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
    if letter.link:
        said["link"] = letter.link
    if letter.reason:
        said["reason"] = letter.reason
    if len(letter.alarms) > 1:
        said["alarms"] = list(letter.alarms)
    contains = [token for part in letter.parts for token in part.tokens]
    if contains:
        said["contains"] = list(dict.fromkeys(contains))
    return said


def payload(letter: Letter, site: str) -> bytes:
    """The document as JSON in UTF-8."""
    return json.dumps(document(letter, site), ensure_ascii=False).encode("utf-8", "replace")
