"""What the page of the check-up says. Pure."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.core.light import light
from monitor.web import words
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

LEVELS: Final = {"act": "Act", "look": "Look into it", "fine": "Fine"}
SHAPES: Final = {"act": "medium", "look": "low", "fine": ""}
"""As alarms of these priorities are drawn: nothing here is about life within minutes."""


@light
class FoundView:
    about: str
    word: str
    shape: str  # empty when it is fine
    found: str
    means: str
    advice: str


@light
class Group:
    """Facts about one thing: name and text of each."""

    about: str
    rows: tuple[tuple[str, str], ...]


@light
class CheckupView:
    headline: str
    at: str
    wants: tuple[FoundView, ...]  # somebody should see to these, the worst first
    fine: tuple[FoundView, ...]
    facts: tuple[Group, ...]


def make_checkup_view(found: Mapping[str, Any], timezone: str) -> CheckupView:
    """From the check-up's document."""
    findings = [_finding(one) for one in found["findings"]]
    now = rfc3339(found["now"])
    return CheckupView(
        headline=headline(found["findings"]),
        at=words.moment(now, now, ZoneInfo(timezone)),
        wants=tuple(one for one in findings if one.shape),
        fine=tuple(one for one in findings if not one.shape),
        facts=tuple(
            Group(_title(about), tuple((_title(row["name"]), row["text"]) for row in rows))
            for about, rows in groupby(found["facts"], key=lambda row: str(row["about"]))
        ),
    )


def headline(findings: Sequence[Mapping[str, Any]]) -> str:
    """How many of each level, in words."""
    act = sum(one["level"] == "act" for one in findings)
    look = sum(one["level"] == "look" for one in findings)
    if not act and not look:
        return "All is well."
    parts = [f"{act} to act on" if act else "", f"{look} to look into" if look else ""]
    return f"{', '.join(part for part in parts if part)}; the rest is fine."


def _finding(one: Mapping[str, Any]) -> FoundView:
    level = one["level"]
    return FoundView(_title(one["about"]), LEVELS[level], SHAPES[level], one["found"], one["means"], one["advice"])


def _title(text: str) -> str:
    """With a capital where it begins like a sentence; names of programs and things stay as they are."""
    return text if text == "swimup" or "-" in text.partition(" ")[0] else text[:1].upper() + text[1:]
