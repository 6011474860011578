"""Parts of the page of trends: a section with its chart or its lanes, and its table. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.core.light import light

if TYPE_CHECKING:
    from monitor.core.model import Ms
    from monitor.web.trend_chart import Chart
    from monitor.web.trend_table import Table


@light
class Spot:
    """A mark in a lane, or a stretch of it when ``width`` is above 0; x and width in per cent."""

    time: Ms
    end: Ms
    shape: str
    text: str
    x: float
    width: float = 0.0
    count: int = 1

    def document(self) -> list[Any]:
        return [self.time, self.end, self.shape, self.text, self.count]


@light
class Lane:
    """A strip along the time axis."""

    name: str
    spots: tuple[Spot, ...]

    def document(self) -> dict[str, Any]:
        return {"name": self.name, "spots": [spot.document() for spot in self.spots]}


@light
class Section:
    id: str
    title: str
    chart: Chart | None
    table: Table | None
    text: str = ""  # what is to be seen, in a sentence
    lanes: tuple[Lane, ...] = ()
    unit: str = ""
    note: str = ""
