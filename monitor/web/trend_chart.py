"""What a chart is, for the script and for the drawing that stands without one. Pure.

A chart holds lines with a range around them, bands that mark a stretch of its x axis or its y axis, and ticks. x is an
instant (Ms) or hours since a begin; the drawing has places in thousandths of its width and height.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.web.trend_ticks import Tick

Place = tuple[float, float, float, float]
"""x, low, middle, high."""
COLOURS: Final = 8
DRAWN: Final = 160
"""Points of a line that are drawn without a script; more than a screen's worth would only be weight."""
_SIDE: Final = 1000.0


@light
class Line:
    """``places`` in order of x; None where there is a gap. ``look`` tells its colour and its dashes."""

    name: str
    look: int
    places: tuple[Place | None, ...]

    def document(self) -> dict[str, Any]:
        rows = [None if one is None else [_short(one[0]), *(_short(end) for end in one[1:])] for one in self.places]
        return {"name": self.name, "look": self.look, "rows": rows}


@light
class Band:
    """A stretch of an axis that means something, such as when a batch may be ready. ``mid`` is its likeliest place."""

    axis: str  # "x" or "y"
    begin: float
    end: float
    mid: float | None
    look: int
    label: str

    def document(self) -> dict[str, Any]:
        return {
            "axis": self.axis,
            "begin": self.begin,
            "end": self.end,
            "mid": self.mid,
            "look": self.look,
            "label": self.label,
        }


@light
class Drawing:
    """One line as it is drawn: where its middle runs and what its range fills; empty where there is none."""

    name: str
    look: int
    path: str
    area: str


@light
class Chart:
    id: str
    title: str
    unit: str  # of y: "Cel", "share" or "instant"
    x: str  # "instant" or "hours"
    lines: tuple[Line, ...]
    window: tuple[float, float]
    reach: tuple[float, float]
    x_ticks: tuple[Tick, ...] = ()
    y_ticks: tuple[Tick, ...] = ()
    bands: tuple[Band, ...] = ()
    text: str = ""  # what is to be seen in it, in words
    linked: bool = False  # moves together with the others

    @property
    def empty(self) -> bool:
        return not any(one is not None for line in self.lines for one in line.places)

    def document(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "unit": self.unit,
            "x": self.x,
            "linked": self.linked,
            "window": list(self.window),
            "reach": list(self.reach),
            "lines": [line.document() for line in self.lines],
            "bands": [band.document() for band in self.bands],
        }

    # --- the drawing

    def across(self, x: float) -> float:
        """Per cent of the width."""
        begin, end = self.window
        return round(100 * min(1.0, max(0.0, (x - begin) / (end - begin))), 2)

    def up(self, y: float) -> float:
        """Per cent of the height, from above."""
        low, high = self.reach
        return round(100 * (1 - min(1.0, max(0.0, (y - low) / (high - low)))), 2)

    def drawings(self) -> tuple[Drawing, ...]:
        return tuple(self._drawing(line) for line in self.lines)

    def _drawing(self, line: Line) -> Drawing:
        path, area = [], []
        for run in runs(thinned(line.places)):
            shown = [one for one in run if self.window[0] <= one[0] <= self.window[1]]
            if not shown:
                continue
            places = [f"{self._x(x)} {self._y(mid)}" for x, _, mid, _ in shown]
            # A lone point is a short stroke, or it could not be seen.
            path.append(f"M{places[0]}h4" if len(places) == 1 else f"M{'L'.join(places)}")
            if len(shown) > 1 and any(low < high for _, low, _, high in shown):
                upper = [f"{self._x(x)} {self._y(high)}" for x, _, _, high in shown]
                lower = [f"{self._x(x)} {self._y(low)}" for x, low, _, _ in reversed(shown)]
                area.append(f"M{'L'.join(upper + lower)}Z")
        return Drawing(line.name, line.look, "".join(path), "".join(area))

    def _x(self, x: float) -> str:
        return f"{self.across(x) * _SIDE / 100:.0f}"

    def _y(self, y: float) -> str:
        return f"{self.up(y) * _SIDE / 100:.0f}"


def runs(places: Sequence[Place | None]) -> list[list[Place]]:
    """The stretches between gaps."""
    found: list[list[Place]] = [[]]
    for one in places:
        if one is not None:
            found[-1].append(one)
        elif found[-1]:
            found.append([])
    return [run for run in found if run]


def thinned(places: Sequence[Place | None], most: int = DRAWN) -> list[Place | None]:
    """No more than about ``most`` places: neighbours become one with their whole range and their mean middle."""
    step = max(1, math.ceil(len(places) / most))
    if step == 1:
        return list(places)
    thin: list[Place | None] = []
    for begin in range(0, len(places), step):
        group = places[begin : begin + step]
        there = [one for one in group if one is not None]
        if there:
            thin.append(merged(there))
        if len(there) < len(group):
            thin.append(None)
    return thin


def merged(places: Sequence[Place]) -> Place:
    """One place for several: the first one's x, the widest range, the mean of the middles."""
    return (
        places[0][0],
        min(low for _, low, _, _ in places),
        sum(mid for _, _, mid, _ in places) / len(places),
        max(high for _, _, _, high in places),
    )


def extent(lines: Sequence[Line]) -> tuple[float, float] | None:
    """From the lowest low to the highest high; None when there is nothing."""
    there = [one for line in lines for one in line.places if one is not None]
    if not there:
        return None
    return min(one[1] for one in there), max(one[3] for one in there)


def _short(value: float) -> float:
    """An instant whole, a value to a thousandth: what a probe tells is no finer."""
    return round(value) if abs(value) > 1e6 else round(value, 3)
