"""When a batch would be ready, out of the documents of its estimates. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.core.lives import ReadyTold
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.model import Ms


def ready_told(documents: Iterable[tuple[Ms, dict[str, Any]]]) -> list[ReadyTold]:
    return [_ready(time, document) for time, document in documents]


def _ready(time: Ms, document: dict[str, Any]) -> ReadyTold:
    low, mid, high = (_instant(document.get("ready", {}).get(end)) for end in ("lo", "mid", "hi"))
    return ReadyTold(time, low, mid, high, document.get("water_c"))


def _instant(text: str | None) -> Ms | None:
    return rfc3339(text) if text else None
