"""A letter as a document for programs: the same for every channel that speaks JSON."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from monitor.core.wording import rfc3339

if TYPE_CHECKING:
    from monitor.store import Letter


def document(letter: Letter, site: str) -> dict[str, str]:
    """``id`` is the same for every try with a letter, by which a duplicate is recognised; ``todo`` only where there is one.

    ``time`` is when the letter was written, RFC 3339.
    """
    said = {
        "id": letter.token,
        "time": rfc3339(letter.created),
        "site": site,
        "alarm": letter.alarm,
        "priority": letter.priority.value,
        "title": letter.title,
        "text": letter.body.removesuffix(letter.todo).rstrip("\n"),
    }
    return said | ({"todo": letter.todo} if letter.todo else {})


def payload(letter: Letter, site: str) -> bytes:
    """The document as JSON in UTF-8."""
    return json.dumps(document(letter, site), ensure_ascii=False).encode("utf-8", "replace")
