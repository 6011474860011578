"""The page of a batch as words and places, and the lines of the list of all. Pure."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from monitor.core.chronicle import chronicle, told_at_start
from monitor.core.light import light
from monitor.core.lives import off_middle
from monitor.core.log import Discard, Harvest, Lapse
from monitor.core.model import HOUR, MINUTE
from monitor.core.tale_courses import stops, summed
from monitor.core.wording import day_and_clock, day_of, duration, zone
from monitor.web import words
from monitor.web.batch_gather import strain_of
from monitor.web.batch_strip import Strip, make_strip
from monitor.web.bodies import open_batches
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from monitor.core.chronicle import Known, Sentence
    from monitor.core.lives import Life, ReadyTold
    from monitor.core.model import Ms
    from monitor.web.batch_gather import Beside


@light
class Said:
    clock: str
    kind: str
    text: str


@light
class Day:
    name: str
    said: tuple[Said, ...]


@light
class Link:
    to: str
    text: str


@light
class StoryView:
    state: str
    summary: tuple[str, ...]
    strip: Strip
    days: tuple[Day, ...]
    facts: tuple[tuple[str, str], ...]
    links: tuple[Link, ...]


@light
class Listed:
    """One batch in the list of all; "" where nothing is known."""

    id: str
    lot: str
    strain: str
    vessel: str
    start: str
    ended: str
    hours: str
    told: str
    against: str
    number: str
    open: bool


def make_story_view(known: Known, bench: Mapping[str, Any], before: str) -> StoryView:
    """``before`` is the batch of the same tin that was started before; "" for none."""
    life, now, timezone = known.life, int(bench["now_ms"]), known.timezone
    told = chronicle(known)
    first = told_at_start(known)
    last = known.told[-1] if known.told else None
    held = _on_bench(bench, life.id)
    opening = told.summary
    if held is not None and life.came()[1] is None:
        opening = (opening[0], opening[-1])  # the state says what is expected just now
    return StoryView(
        state=_state(life, held, now, timezone),
        summary=opening,
        strip=make_strip(life, first, last, now, zone(timezone)),
        days=_days(told.sentences, timezone),
        facts=tuple(_facts(known, first)),
        links=tuple(_links(life, before)),
    )


def _on_bench(bench: Mapping[str, Any], name: str) -> Mapping[str, Any] | None:
    return next((batch for batch in open_batches(bench) if batch["id"] == name), None)


def state_of_open(batch: Mapping[str, Any], now: Ms, timezone: str) -> str:
    """``Hatching. Ready about today 06:45; 8 chances in 10: today 05:15 to 09:05.``: as the bench has it just now."""
    stage = words.STAGES.get(batch["stage"], batch["stage"])
    low, mid, high = (None if batch["ready"][end] is None else rfc3339(batch["ready"][end]) for end in _ENDS)
    said = f"{stage[0].upper()}{stage[1:]}"
    if mid is None or batch["stage"] in ("past", "lost", "ended"):
        return f"{said}."
    there = zone(timezone)
    range_ = words.between(
        None if low is None else words.about(low, -1), None if high is None else words.about(high, 1), now, there
    )
    return f"{said}. Ready about {words.moment(words.about(mid), now, there)}; 8 chances in 10: {range_}."


_ENDS = ("lo", "mid", "hi")


def _state(life: Life, batch: Mapping[str, Any] | None, now: Ms, timezone: str) -> str:
    if life.end is None:
        if batch is not None:
            return state_of_open(batch, now, timezone)
        return "Under way, but in no vessel of the bench just now."
    when = day_and_clock(life.end.time, timezone)
    after = duration(life.end.time - life.start.time)
    match life.end:
        case Harvest():
            return f"Harvested {when}, {after} after its start."
        case Discard():
            return f"Thrown away {when}, {after} after its start."
        case Lapse():
            return f"Nobody wrote down how it ended; the monitor closed it {when}. You can still say it, below."


def _days(sentences: Sequence[Sentence], timezone: str) -> tuple[Day, ...]:
    there = zone(timezone)
    return tuple(
        Day(name, tuple(Said(words.clock(one.time, there), one.kind, one.text) for one in some))
        for name, some in groupby(sentences, key=lambda one: day_of(one.time, timezone))
    )


def _facts(known: Known, first: ReadyTold | None) -> list[tuple[str, str]]:
    life, start = known.life, known.life.start
    water, halts = summed(known.water), stops(known.air or (), "stopped")
    found = [
        ("Vessel", start.vessel),
        ("Tin", f"{start.lot}, {known.strain}" if known.strain else start.lot),
        ("Cysts", f"{words.number(start.cysts_g, 2)} g"),
        ("Water", f"{words.number(start.litres, 2)} L at {words.number(start.salinity_g_l, 2)} g/L salt"),
        ("Started", day_and_clock(start.time, known.timezone)),
    ]
    if water is not None:
        low, mean, high = (words.number(value) for value in water)
        found.append(("Water temperature", f"{low} to {high} °C, {mean} °C on average"))
    if known.air:
        found.append(("Air stopped", words.duration(sum(one.length for one in halts)) if halts else "never"))
    if (seen := life.first_seen()) is not None:
        found.append(("First seen swimming", f"after {_h(seen - start.time)} h"))
    found.append(("Ready after", _hours(life) or "not known"))
    if first is not None and first.mid is not None:
        found.append(("Ready, as told first", f"after {_h(first.mid - start.time)} h"))
    if isinstance(life.end, Harvest):
        found += _harvest_facts(life.end, start.cysts_g)
    return found


def _harvest_facts(end: Harvest, cysts_g: float) -> list[tuple[str, str]]:
    found = []
    if end.nauplii is not None:
        found.append(("Young brine shrimp", f"about {words.whole(end.nauplii)}"))
        found.append(("For each gram of cysts", f"about {words.whole(round(end.nauplii / cysts_g, -3))}"))
    if end.hatched_fraction is not None:
        found.append(("Hatched", f"{words.percent(end.hatched_fraction)} of the cysts"))
    return found


def _hours(life: Life) -> str:
    """``22 to 24.5 h``: when it was ready, counted from the start, as far as looks tell."""
    after, by = life.came()
    if by is None:
        return ""
    late = _h(by - life.start.time)
    return f"by {late} h" if after is None else f"{_h(after - life.start.time)} to {late} h"


def _h(span: Ms) -> str:
    return f"{round(2 * span / HOUR) / 2:g}"


def _links(life: Life, before: str) -> list[Link]:
    found = [Link(f"/trends?{urlencode({'batch': life.id})}", "Its trends")]
    if before:
        query = urlencode({"batch": life.id, "against": before})
        found.append(Link(f"/trends?{query}", f"Beside {before}, the one before of this tin"))
    found.append(Link(f"/batches?{urlencode({'lot': life.start.lot})}", f"All batches of {life.start.lot}"))
    return found


def make_listed(one: Beside, bench: Mapping[str, Any]) -> Listed:
    life, first, now = one.life, one.first, int(bench["now_ms"])
    timezone = bench["timezone"]
    start = life.start
    batch = _on_bench(bench, life.id)
    mid = None if first is None else first.mid
    return Listed(
        id=life.id,
        lot=start.lot,
        strain=strain_of(bench, start.lot),
        vessel=start.vessel,
        start=day_and_clock(start.time, timezone) + _year(start.time, now, timezone),
        ended=_ended(life, batch),
        hours=_hours(life),
        told="" if mid is None else f"{_h(mid - start.time)} h",
        against=_against(life, first),
        number=words.whole(life.end.nauplii) if isinstance(life.end, Harvest) and life.end.nauplii is not None else "",
        open=life.end is None,
    )


def _year(time: Ms, now: Ms, timezone: str) -> str:
    there, here = (words.local(one, zone(timezone)).year for one in (time, now))
    return "" if there == here else f" {there}"


def _ended(life: Life, batch: Mapping[str, Any] | None) -> str:
    match life.end:
        case None:
            return words.STAGES.get(batch["stage"], "under way") if batch is not None else "under way"
        case Harvest():
            return "harvested"
        case Discard(reason=reason):
            return f"thrown away: {reason}" if reason else "thrown away"
        case Lapse():
            return "not written down"


def _against(life: Life, first: ReadyTold | None) -> str:
    """How what came differs from the middle of what was told at the start."""
    after, by = life.came()
    gap = None if by is None or first is None else off_middle(first, after, by)
    if gap is None:
        return ""
    if abs(gap) < 5 * MINUTE:
        return "as told"
    return f"{words.duration(words.about(abs(gap)))} {'later' if gap > 0 else 'earlier'}"
