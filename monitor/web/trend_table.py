"""The tables that stand beside the charts: what is drawn, in numbers a screen reader can say. Pure."""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.model import DAY, Ms
from monitor.web import words
from monitor.web.trend_chart import Place, merged
from monitor.web.trend_ticks import time_ticks

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from zoneinfo import ZoneInfo

    from monitor.web.trend_chart import Line

ROWS: Final = 24
NOTHING: Final = "\N{EN DASH}"
_YEAR_SHOWN_BEYOND: Final[Ms] = 300 * DAY


@light
class Table:
    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]  # the first cell of each names its row


def stamp(instant: Ms, now: Ms, zone: ZoneInfo) -> str:
    """``today 06:40``; with the year where it might be another one."""
    if abs(instant - now) <= _YEAR_SHOWN_BEYOND:
        return words.moment(instant, now, zone)
    there = words.local(instant, zone)
    return f"{there.day} {there:%b %Y} {words.clock(instant, zone)}"


def degrees(place: Place) -> str:
    _, low, mid, high = place
    told = words.number(mid)
    ends = words.number(low), words.number(high)
    return told if ends == (told, told) else f"{told} ({ends[0]} to {ends[1]})"


def shares(place: Place) -> str:
    return f"{words.percent(place[2])} ({words.shares(place[1], place[3])})"


def newest(places: Sequence[Place]) -> Place:
    return places[-1]


def over_time(
    caption: str,
    lines: Sequence[Line],
    window: tuple[Ms, Ms],
    now: Ms,
    zone: ZoneInfo,
    told: Callable[[Place], str],
    one_of: Callable[[Sequence[Place]], Place] = merged,
) -> Table:
    """A row for each stretch of time in which anything is known; ``one_of`` makes one place of a stretch's many."""
    begins = [window[0], *(round(x) for x, _ in time_ticks(*window, zone, ROWS) if x > window[0])]
    labels = [stamp(begin, now, zone) for begin in begins]
    return _table(caption, ("From", *(line.name for line in lines)), lines, begins, labels, told, one_of)


def over_hours(
    caption: str,
    lines: Sequence[Line],
    begins: Sequence[float],
    told: Callable[[Place], str],
    one_of: Callable[[Sequence[Place]], Place] = merged,
) -> Table:
    """The same over hours since a begin."""
    labels = [f"{begin:g} h" for begin in begins]
    return _table(caption, ("After", *(line.name for line in lines)), lines, begins, labels, told, one_of)


def _table(
    caption: str,
    heads: tuple[str, ...],
    lines: Sequence[Line],
    begins: Sequence[float],
    labels: Sequence[str],
    told: Callable[[Place], str],
    one_of: Callable[[Sequence[Place]], Place],
) -> Table:
    columns = []
    for line in lines:
        cells: list[list[Place]] = [[] for _ in begins]
        for place in line.places:
            if place is not None and (row := bisect_right(begins, place[0]) - 1) >= 0:
                cells[row].append(place)
        columns.append([told(one_of(cell)) if cell else NOTHING for cell in cells])
    rows = [(label, *cells) for label, *cells in zip(labels, *columns, strict=True)]
    return Table(caption, heads, tuple(row for row in rows if any(cell != NOTHING for cell in row[1:])))
