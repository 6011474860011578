"""Looking back at a batch: how good what was told of it was, and how it went beside another. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.lives import ReadyTold, off_by, verdict
from monitor.core.log import Discard, Harvest
from monitor.core.model import HOUR, MINUTE, Ms
from monitor.core.wording import how_often
from monitor.web import words
from monitor.web.told_ready import ready_told
from monitor.web.trend_chart import Band, Chart, Line, Place, extent
from monitor.web.trend_courses import SHARE_TICKS, hatched_places, trend_places
from monitor.web.trend_section import Section
from monitor.web.trend_table import Table, degrees, newest, over_hours, shares, stamp
from monitor.web.trend_ticks import hour_ticks, number_range, number_ticks, time_ticks

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

    from monitor.core.lives import Life
    from monitor.web.trend_gather import Told

TITLE: Final = "How good was it?"
_ROWS: Final = 14


def looked_back(told: Told, now: Ms, zone: ZoneInfo) -> Section:
    """When a batch would be ready, as it was told hour by hour, against what came."""
    life, ready = told.life, ready_told(told.documents)
    title = f"{TITLE} {life.id}"
    if not ready:
        return Section("told", title, None, None, "Nothing that was told of this batch is on record.")
    chart, table = _told_chart(life, ready, now, zone), _told_table(life, ready, now, zone)
    return Section("told", title, chart, table, _came(life, ready, now, zone), note=_NOTE)


_NOTE: Final = (
    "Across: when it was told. Up: when it said the batch would be ready, likeliest and 8 chances in 10. "
    "Level band: what came."
)


def _came(life: Life, ready: Sequence[ReadyTold], now: Ms, zone: ZoneInfo) -> str:
    after, by = life.came()
    if by is None:
        if isinstance(life.end, Discard):
            return (
                "It was thrown away before anybody saw most of them swim, so nothing can be held against what was told."
            )
        return "Nobody has seen most of them swim yet, so nothing can be held against what was told."
    what = (
        "Harvested" if life.end is not None and by == life.end.time and isinstance(life.end, Harvest) else "Most swam"
    )
    looked = "" if after is None else f"; {stamp(after, now, zone)} most did not swim yet"
    found = verdict(ready, after, by)
    if not found.judged:
        return f"{what} by {stamp(by, now, zone)}{looked}. Nothing was told before that."
    return (
        f"{what} by {stamp(by, now, zone)}{looked}. It was told {how_often(found.judged)} before that, and "
        f"the range held it {how_often(found.agreed)}; 8 in 10 is what the range promises."
    )


def _told_chart(life: Life, ready: Sequence[ReadyTold], now: Ms, zone: ZoneInfo) -> Chart:
    after, by = life.came()
    known = [end for one in ready for end in (one.lo, one.mid, one.hi) if end is not None]
    known += [instant for instant in (after, by) if instant is not None]
    reach = (min(known, default=life.start.time), max(known, default=now))
    reach = (reach[0] - 30 * MINUTE, reach[1] + 30 * MINUTE)
    places: list[Place | None] = [
        None
        if one.lo is None or one.mid is None
        else (one.time, one.lo, one.mid, reach[1] if one.hi is None else one.hi)
        for one in ready
    ]
    window = (ready[0].time, max(ready[-1].time, by or 0, ready[0].time + HOUR))
    bands = () if by is None else (Band("y", after if after is not None else by - 5 * MINUTE, by, by, 1, "What came"),)
    return Chart(
        id="told",
        title=TITLE,
        unit="instant",
        x="instant",
        lines=(Line("Ready, as it was told", 0, tuple(places)),),
        window=window,
        reach=reach,
        x_ticks=tuple(time_ticks(*window, zone)),
        y_ticks=tuple(time_ticks(reach[0], reach[1], zone, 5)),
        bands=bands,
    )


def _told_table(life: Life, ready: Sequence[ReadyTold], now: Ms, zone: ZoneInfo) -> Table:
    after, by = life.came()
    if by is not None:
        rows = [(f"{hours} h before", one) for hours, one in verdict(ready, after, by).rows]
    else:
        rows = [(stamp(one.time, now, zone), one) for one in ready[:: max(1, len(ready) // _ROWS)]]
    return Table(
        "When it would be ready, as it was told",
        ("Told", "Ready about", "8 chances in 10", "Against what came"),
        tuple((label, *_told_row(one, after, by, now, zone)) for label, one in rows),
    )


def _told_row(one: ReadyTold, after: Ms | None, by: Ms | None, now: Ms, zone: ZoneInfo) -> tuple[str, str, str]:
    about = "not in sight" if one.mid is None else stamp(words.about(one.mid), now, zone)
    low, high = (None if end is None else words.about(end, way) for end, way in ((one.lo, -1), (one.hi, 1)))
    if by is None:
        return about, words.between(low, high, now, zone), "not known yet"
    miss = off_by(one, after, by)
    told = (
        "was not in sight"
        if miss is None
        else "held it"
        if miss == 0
        else f"{words.duration(abs(miss))} too {'late' if miss > 0 else 'early'}"
    )
    return about, words.between(low, high, now, zone), told


def compared(one: Told, other: Told, now: Ms) -> list[Section]:
    """Two batches side by side, both from their start on."""
    pair = (one, other)
    water = tuple(
        Line(f"{told.life.id}: {trend.probe}", look, trend_places(trend, told.life.start.time, HOUR))
        for look, told in enumerate(pair)
        for trend in told.water
        if trend.points
    )
    hatched = tuple(
        Line(told.life.id, look, hatched_places(list(told.documents), told.life.start.time, HOUR))
        for look, told in enumerate(pair)
    )
    length = max(1.0, *((told.life.until(now) - told.life.start.time) / HOUR for told in pair))
    ticks = tuple(hour_ticks(0, length))
    begins = [x for x, _ in hour_ticks(0, length, _ROWS)]
    reach = number_range(*(extent(water) or (20.0, 26.0)), 2.0)
    text = " ".join(_course(told.life) for told in pair)
    heading = f"{one.life.id} beside {other.life.id}"
    charts = (
        Chart("beside-water", "Water", "Cel", "hours", water, (0.0, length), reach, ticks, tuple(number_ticks(*reach))),
        Chart("beside-hatched", "Hatched", "share", "hours", hatched, (0.0, length), (0.0, 1.0), ticks, SHARE_TICKS),
    )
    tables = (
        over_hours("Water by hours since the start, °C: mean, and from lowest to highest", water, begins, degrees),
        over_hours("Hatched by hours since the start: likeliest, and 8 chances in 10", hatched, begins, shares, newest),
    )
    return [
        Section("beside-water", f"Water: {heading}", charts[0], tables[0], text, unit="°C", note=_BESIDE),
        Section("beside-hatched", f"Hatched: {heading}", charts[1], tables[1], "", unit="of all cysts", note=_BESIDE),
    ]


_BESIDE: Final = "Both from their start on, in hours."


def _course(life: Life) -> str:
    """How a batch went: ``ash-2026-03-01: swimming seen after 18 h, most by 23 h, harvested after 24 h``."""
    _, by = life.came()
    parts = []
    if (first := life.first_seen()) is not None:
        parts.append(f"swimming seen after {words.duration(first - life.start.time)}")
    if by is not None:
        parts.append(f"most by {words.duration(by - life.start.time)}")
    if isinstance(life.end, Harvest | Discard):
        ended = "harvested" if isinstance(life.end, Harvest) else "thrown away"
        parts.append(f"{ended} after {words.duration(life.end.time - life.start.time)}")
    return f"{life.id}: {', '.join(parts) or 'nothing noted yet'}."
