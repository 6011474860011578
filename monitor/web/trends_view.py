"""What the page of trends shows, from what was gathered of the record. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.core.model import HOUR, MINUTE, Ms
from monitor.core.wording import how_often
from monitor.web import words
from monitor.web.trend_asked import KINDS, Move, moves, spans
from monitor.web.trend_back import compared, looked_back
from monitor.web.trend_chart import COLOURS, Band, Chart, Line, extent
from monitor.web.trend_courses import SHARE_TICKS, hatched_places, trend_places
from monitor.web.trend_gather import ALARMS_WITHIN, MOST_ALARMS, MOST_BATCHES, Gathered
from monitor.web.trend_section import Lane, Section, Spot
from monitor.web.trend_table import Table, degrees, newest, over_time, shares, stamp
from monitor.web.trend_ticks import number_range, number_ticks, time_ticks
from monitor.web.trend_words import Mark, alarm_marks, apart, log_marks, stretches
from monitor.web.when import as_rfc3339, rfc3339

if TYPE_CHECKING:
    from monitor.store.record import Trend
    from monitor.web.trend_words import Stretch

KIND_WORDS: Final = {"water": "Water", "room": "Room", "store": "Cold stores", "tank": "Tanks", "air": "Air"}
_LEAST_DEGREES: Final = 2.0
_MOST_ROWS: Final = 100
_STEPS: Final = {"raw": "single readings", "minute": "minutes", "quarter": "quarter-hours", "day": "days"}
_SHAPES: Final = {"high": "alarm, act now", "medium": "alarm", "low": "alarm, when you can"}


@light
class TrendsView:
    span: str
    since: str
    until: str
    now: Ms
    zone: str
    live: bool
    grain: str  # what a point is
    moves: tuple[Move, ...]
    spans: tuple[tuple[str, str, bool], ...]
    kinds: tuple[tuple[str, str, bool], ...]
    batches: tuple[str, ...]  # the newest first
    batch: str
    against: str
    sections: tuple[Section, ...]
    query: str
    nothing: bool  # no probe has told anything in this span


def make_trends_view(found: Gathered) -> TrendsView:
    asked, now, zone = found.asked, found.now, found.zone
    sections = [
        _temperatures(found, "water", "Water and room", ("water", "room")),
        _air(found),
        _hatched(found),
        _temperatures(found, "store", "Cold stores", ("store",)),
        _temperatures(found, "tank", "Tanks", ("tank",)),
        _events(found),
    ]
    if found.batch is not None:
        sections.append(looked_back(found.batch, now, zone))
    if found.batch is not None and found.against is not None:
        sections += compared(found.batch, found.against, now)
    return TrendsView(
        span=f"{stamp(asked.since, now, zone)} to {stamp(asked.until, now, zone)}",
        since=as_rfc3339(asked.since),
        until=as_rfc3339(asked.until),
        now=now,
        zone=found.timezone,
        live=asked.live,
        grain=_grain([probe.trend for probe in found.probes if probe.trend.points]),
        moves=moves(asked, now),
        spans=spans(asked, now),
        kinds=tuple((kind, KIND_WORDS[kind], kind in asked.show) for kind in KINDS),
        batches=tuple(life.id for life in reversed(found.lives)),
        batch=asked.batch,
        against=asked.against,
        sections=tuple(section for section in sections if section is not None),
        query=asked.query(),
        nothing=not any(probe.trend.points for probe in found.probes),
    )


def _grain(trends: list[Trend]) -> str:
    """What one point stands for, of the coarsest of them."""
    if not trends:
        return ""
    coarsest = max(trends, key=lambda trend: trend.width)
    if coarsest.width == 0:
        return "Each point is a reading."
    return f"A point is {words.duration(coarsest.width)} long, made of {_STEPS[str(coarsest.step)]}."


def document(view: TrendsView, tables: dict[str, str]) -> dict[str, Any]:
    """For the script: charts, lanes, and the tables as they are written on the page."""
    return {
        "now": view.now,
        "since": rfc3339(view.since),
        "until": rfc3339(view.until),
        "span": view.span,
        "grain": view.grain,
        "charts": [section.chart.document() for section in view.sections if section.chart is not None],
        "lanes": {section.id: [lane.document() for lane in section.lanes] for section in view.sections},
        "texts": {section.id: section.text for section in view.sections},
        "tables": tables,
    }


# --- temperatures


def _temperatures(found: Gathered, name: str, title: str, kinds: tuple[str, ...]) -> Section | None:
    # A probe keeps its look whatever else is shown.
    probes = [one for one in found.bench.get("probes", []) if one["measures"] != "air"]
    looks = {one["id"]: n % COLOURS for n, one in enumerate(probes)}
    shown = [probe for probe in found.probes if probe.measures in kinds]
    if not shown:
        return None
    lines = tuple(Line(probe.id, looks[probe.id], trend_places(probe.trend)) for probe in shown)
    asked = found.asked
    reach = number_range(*(extent(lines) or (20.0, 26.0)), _LEAST_DEGREES)
    chart = Chart(
        id=name,
        title=title,
        unit="Cel",
        x="instant",
        lines=lines,
        window=(asked.since, asked.until),
        reach=reach,
        x_ticks=tuple(time_ticks(asked.since, asked.until, found.zone)),
        y_ticks=tuple(number_ticks(*reach)),
        text=_told_temperatures(lines),
        linked=True,
    )
    table = over_time(
        f"{title}, °C: mean, and from lowest to highest",
        lines,
        (asked.since, asked.until),
        found.now,
        found.zone,
        degrees,
    )
    return Section(name, title, chart, table, chart.text, unit="°C")


def _told_temperatures(lines: tuple[Line, ...]) -> str:
    told = []
    for line in lines:
        ends = extent([line])
        if ends is None:
            told.append(f"{line.name}: no reading.")
        else:
            told.append(f"{line.name}: {words.number(ends[0])} to {words.number(ends[1])}{words.DEGREE}.")
    return " ".join(told)


# --- air


def _air(found: Gathered) -> Section | None:
    shown = [probe for probe in found.probes if probe.measures == "air"]
    if not shown:
        return None
    known = [(probe.id, stretches(probe.trend)) for probe in shown]
    lanes = tuple(Lane(name, tuple(_spot(found, one) for one in states)) for name, states in known)
    rows = [
        (stamp(one.begin, found.now, found.zone), name, _state(one), words.duration(one.end - one.begin))
        for name, states in known
        for one in states
    ]
    troubles = [row for row in rows if not row[2].startswith("running")]
    text = (
        "Air ran all the time it was heard of."
        if rows and not troubles
        else f"Weak or stopped {how_often(len(troubles))}."
        if rows
        else "No reading of air."
    )
    table = Table("Air, the newest last", ("From", "Probe", "State", "For"), tuple(rows[-_MOST_ROWS:]))
    return Section("air", "Air", None, table, text, lanes=lanes)


def _state(one: Stretch) -> str:
    return one.state if one.share >= 1 else f"{one.state} ({words.percent(one.share)} of its readings)"


def _spot(found: Gathered, one: Stretch) -> Spot:
    asked = found.asked
    begin, end = max(one.begin, asked.since), min(one.end, asked.until)
    return Spot(
        time=one.begin,
        end=one.end,
        shape=one.state,
        text=f"{_state(one)} from {stamp(one.begin, found.now, found.zone)} to {stamp(one.end, found.now, found.zone)}",
        x=round(100 * (begin - asked.since) / asked.span, 2),
        width=round(max(100 * (end - begin) / asked.span, 0.15), 2),
    )


# --- hatched


def _hatched(found: Gathered) -> Section:
    asked, now, zone = found.asked, found.now, found.zone
    lines, bands = [], []
    open_ones = {batch["id"]: batch for vessel in found.bench["vessels"] if (batch := vessel.get("batch"))}
    for n, told in enumerate(found.here):
        batch = open_ones.get(told.life.id)
        last = (now, batch) if batch is not None else None
        lines.append(Line(told.life.id, n % COLOURS, hatched_places([*told.documents, *([last] if last else [])])))
        if batch is not None and (band := _ready_band(batch, n % COLOURS, asked.until)) is not None:
            bands.append(band)
    chart = Chart(
        id="hatched",
        title="Hatched",
        unit="share",
        x="instant",
        lines=tuple(lines),
        window=(asked.since, asked.until),
        reach=(0.0, 1.0),
        x_ticks=tuple(time_ticks(asked.since, asked.until, zone)),
        y_ticks=SHARE_TICKS,
        bands=tuple(bands),
        linked=True,
    )
    ready = [f"{band.label}: {_span_of(band, now, found)}." for band in bands]
    text = " ".join(ready)
    if found.crowded:
        text = (
            f"{found.crowded} batches lived in this span; more than {MOST_BATCHES} can't be told apart in one chart. "
            "Come closer, or choose a batch below."
        )
    elif not lines:
        text = "No batch lived in this span."
    caption = "Hatched, of all cysts: likeliest, and 8 chances in 10"
    table = over_time(caption, lines, (asked.since, asked.until), now, zone, shares, newest)
    return Section("hatched", "Hatched", chart, table, text, unit="of all cysts", note=_HATCHED_NOTE if lines else "")


_HATCHED_NOTE: Final = (
    "As it was told at each moment, with what came in 8 of 10 chances. Upright bands: when a batch may be ready."
)


def _ready_band(batch: dict[str, Any], look: int, until: Ms) -> Band | None:
    low, mid, high = (rfc3339(text) if (text := batch["ready"][end]) else None for end in ("lo", "mid", "hi"))
    if low is None or batch["stage"] in ("ended", "lost"):
        return None
    end = high if high is not None else max(until, low + HOUR)
    return Band("x", low, max(end, low + MINUTE), mid, look, f"{batch['id']} ready")


def _span_of(band: Band, now: Ms, found: Gathered) -> str:
    low, high = words.about(round(band.begin), -1), words.about(round(band.end), 1)
    return words.between(low, high, now, found.zone)


# --- what happened


def _events(found: Gathered) -> Section:
    log, rang = log_marks(found.entries), alarm_marks(found.alarms or ())
    meals = [Mark(meal, "meal", "feeding time") for meal in found.meals or ()]
    lanes = tuple(_lane(found, name, marks) for name, marks in (("Feeding", meals), ("Alarms", rang), ("Log", log)))
    told = sorted([*log, *rang], key=lambda mark: mark.time)
    rows = tuple(
        (stamp(mark.time, found.now, found.zone), _SHAPES.get(mark.shape, "log"), mark.text)
        for mark in told[-_MOST_ROWS:]
    )
    text = f"{words.whole(len(rang))} alarms rang, {words.whole(len(log))} entries in the log."
    if found.alarms is None:
        text = f"{words.whole(len(log))} entries in the log. Alarms are marked in spans up to {words.duration(ALARMS_WITHIN)}."
    elif len(found.alarms) >= MOST_ALARMS:
        text += f" Only the first {MOST_ALARMS} changes of alarms are marked: come closer."
    if len(told) > _MOST_ROWS:
        text += f" The table has the newest {_MOST_ROWS}."
    return Section(
        "events", "What happened", None, Table("What happened", ("When", "Kind", "What"), rows), text, lanes=lanes
    )


def _lane(found: Gathered, name: str, marks: list[Mark]) -> Lane:
    asked = found.asked
    spots = tuple(
        Spot(
            time=mark.time,
            end=mark.time,
            shape=mark.shape,
            text=f"{stamp(mark.time, found.now, found.zone)}: {mark.text}"
            + (f" and {mark.count - 5} more" if mark.count > 5 else ""),
            x=round(100 * (mark.time - asked.since) / asked.span, 2),
            count=mark.count,
        )
        for mark in apart(marks, asked.since, asked.until)
    )
    return Lane(name, spots)
