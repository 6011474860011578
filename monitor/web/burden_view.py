"""What the page of the burden report says, and where its bars stand. Pure."""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.core.burden import BAD_DAY
from monitor.core.light import light
from monitor.guide import ENTRIES
from monitor.web import words
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

HEIGHT: Final = 110
"""Of the picture, px; the bars stand on its floor at ``FLOOR``."""
FLOOR: Final = 88.0
TOP: Final = 16.0
CHOICES: Final = (7, 14, 30)
KINDS: Final = {
    "chattering": "Chattering",
    "frequent": "Often",
    "stale": "Stale",
    "unanswered": "Unanswered",
    "held": "Put away for long",
}
VERDICTS: Final = {True: "kept", False: "not kept", None: "too early to say"}


@light
class Bar:
    """One day: pushes on the floor, what was told apart from them on top. x and width in per cent, the rest in px."""

    x: float
    width: float
    middle: float
    y: float
    height: float
    apart_y: float
    apart_height: float
    label: str  # the date, where there is room for it
    anchor: str


@light
class DayRow:
    day: str
    alarms: int
    pushes: int
    repeats: int
    ready: int


@light
class Target:
    name: str
    target: str
    found: str
    verdict: str
    kept: bool | None


@light
class RuleRow:
    rule: str
    title: str
    known: bool  # whether the guide has it
    alarms: int
    share: str
    told: int
    answered: str
    lasted: str


@light
class Found:
    """A finding; ``pieces`` are its text, with True where a piece is the id of an alarm."""

    kind: str
    pieces: tuple[tuple[str, bool], ...]
    advice: str


@light
class BurdenView:
    span: str
    headline: str
    apart: str
    channel: str
    days_asked: int
    choices: tuple[int, ...]
    targets: tuple[Target, ...]
    bars: tuple[Bar, ...]
    limit_y: float  # where a bad day is
    description: str
    rows: tuple[DayRow, ...]
    rules: tuple[RuleRow, ...]
    priorities: str
    worst: tuple[Mapping[str, Any], ...]
    floods: tuple[tuple[str, int, tuple[str, ...]], ...]
    findings: tuple[Found, ...]


def make_burden_view(found: Mapping[str, Any]) -> BurdenView:
    """From the report's document."""
    days: Sequence[Mapping[str, Any]] = found["days"]
    zone, now = ZoneInfo(found["timezone"]), rfc3339(found["end"])
    most = max(BAD_DAY + 1, *(_all(day) for day in days))
    return BurdenView(
        span=_span(days),
        headline=f"{_count(found['alarms'], 'alarm')}, {_count(found['pushes'], 'push', 'pushes')}",
        apart=f"Told again {_count(found['repeats'], 'time')} and ready {_count(found['ready'], 'time')}, counted apart.",
        channel=found["channel"],
        days_asked=found["days_asked"],
        choices=CHOICES,
        targets=tuple(
            Target(one["name"], one["target"], one["found"], VERDICTS[one["kept"]], one["kept"])
            for one in found["targets"]
        ),
        bars=tuple(_bar(n, day, len(days), most) for n, day in enumerate(days)),
        limit_y=_y(BAD_DAY, most),
        description=_description(days),
        rows=tuple(
            DayRow(_day(one["date"]), one["alarms"], one["pushes"], one["repeats"], one["ready"])
            for one in reversed(days)
        ),
        rules=tuple(_rule(one) for one in found["rules"]),
        priorities=", ".join(f"{count} {name}" for name, count in found["priorities"].items()),
        worst=tuple(found["worst"]),
        floods=tuple(
            (
                words.between(rfc3339(one["begin"]), rfc3339(one["end"]), now, zone),
                one["pushes"],
                tuple(one["alarms"]),
            )
            for one in found["floods"]
        ),
        findings=tuple(Found(KINDS[one["kind"]], _pieces(one), one["advice"]) for one in found["findings"]),
    )


def _pieces(one: Mapping[str, Any]) -> tuple[tuple[str, bool], ...]:
    """The text cut where it names an alarm; the longest id first, since one may begin like another."""
    ids = sorted(one["alarms"], key=len, reverse=True)
    cut = re.split("(" + "|".join(map(re.escape, ids)) + ")", one["text"])
    return tuple((piece, n % 2 == 1) for n, piece in enumerate(cut) if piece)


def _count(count: int, one: str, many: str = "") -> str:
    return f"{count} {one if count == 1 else many or f'{one}s'}"


def _all(day: Mapping[str, Any]) -> int:
    return int(day["pushes"]) + int(day["repeats"]) + int(day["ready"])


def _day(text: str) -> str:
    there = date.fromisoformat(text)
    return f"{there:%a} {there.day} {there:%b}"


def _span(days: Sequence[Mapping[str, Any]]) -> str:
    if len(days) == 1:
        return _day(days[0]["date"])
    return f"{_day(days[0]['date'])} to {_day(days[-1]['date'])}, {len(days)} days"


def _y(count: float, most: int) -> float:
    return round(FLOOR - (FLOOR - TOP) * count / most, 1)


def _bar(n: int, day: Mapping[str, Any], count: int, most: int) -> Bar:
    step = 100 / count
    y, top = _y(day["pushes"], most), _y(_all(day), most)
    last = count - 1
    labelled = n in (0, last) or (count > 2 and n == last // 2)
    return Bar(
        x=round(n * step + step * 0.15, 2),
        width=round(min(step * 0.7, 12), 2),
        middle=round(n * step + step / 2, 2),
        y=y,
        height=round(FLOOR - y, 1),
        apart_y=top,
        apart_height=round(y - top, 1),
        label=_day(day["date"]) if labelled else "",
        anchor="start" if n == 0 else "end" if n == last else "middle",
    )


def _description(days: Sequence[Mapping[str, Any]]) -> str:
    busy = [day for day in days if day["pushes"]]
    if not busy:
        return "No day had a push."
    worst = max(busy, key=lambda day: int(day["pushes"]))
    return f"{len(busy)} of {len(days)} days had pushes; the worst was {_day(worst['date'])} with {worst['pushes']}."


def _rule(one: Mapping[str, Any]) -> RuleRow:
    entry = ENTRIES.get(one["rule"])
    return RuleRow(
        one["rule"],
        one["rule"] if entry is None else entry.title,
        entry is not None,
        one["alarms"],
        words.percent(one["share"]) if one["alarms"] else "",
        one["told"],
        _length(one["acknowledged_after_s"], "nobody did" if one["alarms"] else ""),
        _length(one["length_s"], ""),
    )


def _length(seconds: int | None, nothing: str) -> str:
    return nothing if seconds is None else words.duration(seconds * 1000)
