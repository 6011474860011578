"""A probe held against a true temperature at one point or two: what it told there, and the line that puts it right."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.intake.binding import Line
from monitor.settings import units
from monitor.settings.errors import Unfit, quoted
from monitor.settings.forms import Form, toml
from monitor.settings.units import Kind

if TYPE_CHECKING:
    from pydantic import ValidationInfo

    from monitor.core.model import Ms

LEAST_GAIN: Final = 0.8
MOST_GAIN: Final = 1.2
FURTHEST_C: Final = 5.0  # from the truth; a probe that is further off is broken, or its unit is wrong
LEAST_APART_C: Final = 10.0  # two points: nearer ones would turn a tenth's mistake into a degree's elsewhere
"""All four are common practice, no source."""


@light
class Calibration:
    """``points`` are (true, told) in C, one or two, the coldest first."""

    at: dt.date
    points: tuple[tuple[float, float], ...]

    @property
    def line(self) -> Line:
        """One point shifts; two also turn."""
        (true, told), *more = self.points
        if not more:
            return Line(1.0, true - told)
        gain = (more[0][0] - true) / (more[0][1] - told)
        return Line(gain, true - gain * told)

    @property
    def at_ms(self) -> Ms:
        """The beginning of that day, UTC."""
        return (self.at - dt.date(1970, 1, 1)).days * 86_400_000


class CalibrationForm(Form):
    """Needs ``measures`` and ``unit`` to be read before it: a bare number is in C, and would mislead where the probe is not."""

    allowed = (
        'a day and one point or two, { at = "2026-03-01", points = [[0.0, 0.4], [37.0, 37.3]] }: true, then told; in C, '
        'or with a unit such as "32.7 F"'
    )

    def read(self, value: object, info: ValidationInfo) -> Calibration:
        if isinstance(value, Calibration):
            return value
        if not isinstance(value, dict) or set(value) != {"at", "points"}:
            raise Unfit(self.allowed, 'Write { at = "…", points = [[true, told], [true, told]] }.')
        points = value["points"]
        if not isinstance(points, list) or not 1 <= len(points) <= 2:
            raise Unfit("one point or two", found="points of another number")
        read = sorted(self._point(point, info.data.get("unit") or "C") for point in points)
        _judge(read)
        return Calibration(_day(value["at"]), tuple(read))

    def _point(self, point: object, unit: str) -> tuple[float, float]:
        if not isinstance(point, list) or len(point) != 2:
            raise Unfit("points of two temperatures each, [true, told]", found="a point that is not")
        if unit != "C" and not all(isinstance(one, str) and units.split(one)[1] for one in point):
            raise Unfit(
                f'temperatures with their unit, such as "32.7 {unit}"', "This probe does not tell C.", "a bare number"
            )
        true, told = (units.read(one, Kind.TEMPERATURE) for one in point)
        if abs(true - told) > FURTHEST_C:
            found = f"{units.told(told, Kind.TEMPERATURE)} told at {units.told(true, Kind.TEMPERATURE)}"
            hint = "A probe that is so far off is broken, or its unit is another."
            raise Unfit(f"at most {FURTHEST_C:g} C apart: true, then told", hint, found)
        return true, told

    def write(self, value: Calibration) -> str:
        points = [[units.write(one, Kind.TEMPERATURE) for one in point] for point in value.points]
        return toml({"at": value.at.isoformat(), "points": points})


def _judge(points: list[tuple[float, float]]) -> None:
    """Two points must be far apart, and the line through them near to what it should be."""
    if len(points) < 2:
        return
    (true, told), (higher, told_higher) = points
    if higher - true < LEAST_APART_C:
        raise Unfit(
            f"points at least {LEAST_APART_C:g} C apart", "Or give one point.", f"points {higher - true:.3g} C apart"
        )
    gain = (higher - true) / (told_higher - told) if told_higher > told else 0.0
    if not LEAST_GAIN <= gain <= MOST_GAIN:
        found = f"a probe that told {told_higher - told:.3g} C more for {higher - true:.3g} C"
        raise Unfit(f"a slope from {LEAST_GAIN:g} to {MOST_GAIN:g}", "It is broken, or a point is mistaken.", found)


def _day(value: Any) -> dt.date:
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return value
    try:
        return dt.date.fromisoformat(value)
    except (TypeError, ValueError):
        found = quoted(value) if isinstance(value, str) else "something else"
        raise Unfit('at as a day, such as "2026-03-01"', found=f"at = {found}") from None
