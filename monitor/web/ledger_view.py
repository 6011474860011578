"""The ledger as the page shows it: by day, each entry in words. Pure."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING
from urllib.parse import quote

from monitor.core.light import light
from monitor.core.wording import day_and_clock, day_of, rfc3339_ms
from monitor.web import words
from monitor.web.ledger_words import sentence, was

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.web.food_typed import Place
    from monitor.web.ledger_lines import Line


@light
class LineView:
    clock: str
    text: str
    kind: str
    was: str  # what it said before it was corrected
    gone: str  # when it was taken away
    to: str  # of the form that corrects it; empty where nothing can be


@light
class DayView:
    name: str
    lines: tuple[LineView, ...]


def days_of(lines: Iterable[Line], place: Place, timezone: str) -> list[DayView]:
    """``lines`` in their order; the year is said where it is another than now."""
    year = words.local(place.now, place.zone).year

    def day(line: Line) -> str:
        there = words.local(line.now.time, place.zone)
        return f"{day_of(line.now.time, timezone)}{'' if there.year == year else f' {there.year}'}"

    return [
        DayView(name, tuple(line_view(line, place, timezone) for line in some)) for name, some in groupby(lines, day)
    ]


def line_view(line: Line, place: Place, timezone: str) -> LineView:
    kind = line.key[0]
    taken = line.told.corrections[-1].logged if line.gone else None
    return LineView(
        clock=words.clock(line.now.time, place.zone),
        text=sentence(line.now, timezone),
        kind=kind,
        was=was(kind, line.original, line.now, place),
        gone="" if taken is None else day_and_clock(taken, timezone),
        to=address_of(line) if line.correctable else "",
    )


def address_of(line: Line) -> str:
    """Of the form that corrects an entry."""
    kind, subject, at = line.key
    return f"/ledger/{kind}/{quote(subject, safe='')}/{rfc3339_ms(at)}"
