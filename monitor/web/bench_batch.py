"""What the bench says of a batch: how far it is, when it will be ready, and for which feeding. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.web import words
from monitor.web.band import Band, make_band
from monitor.web.bench_measured import Measured, instant_of
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from zoneinfo import ZoneInfo

    from monitor.core.model import Ms


@light
class Row:
    name: str
    low: str
    mid: str
    high: str


@light
class BatchView:
    id: str
    about: str  # lot, strain, amount and start in one line
    stage: str
    stage_word: str
    hatched: str
    hatched_range: str
    level_low: float
    level_mid: float
    level_high: float
    lead: str  # "Ready about"
    main: str  # "today 06:40"
    spread: str  # "8 in 10: 05:10 to 08:30"
    feeding: str
    best: str  # "At their best until today 18:00", once it is ready
    tin: str  # what its batches have taught of the tin
    caution: str
    note: str
    band: Band | None
    rows: tuple[Row, ...]
    harvestable: bool
    first_next: bool  # the first ones are what a look would find next


def batch_view(batch: Mapping[str, Any], water: Measured, meals: Sequence[Ms], now: Ms, zone: ZoneInfo) -> BatchView:
    hatched, ready, stage = batch["hatched"], batch["ready"], batch["stage"]
    low, mid, high = (instant_of(ready[end]) for end in ("lo", "mid", "hi"))
    lead, main, spread = _ready(stage, low, mid, high, now, zone)
    return BatchView(
        id=batch["id"],
        about=_about(batch, now, zone),
        stage=stage,
        stage_word=words.STAGES.get(stage, stage),
        hatched=words.percent(hatched["mid"]) if hatched["mid"] is not None else "?",
        hatched_range=words.shares(hatched["lo"], hatched["hi"]),
        level_low=hatched["lo"] or 0.0,
        level_mid=hatched["mid"] or 0.0,
        level_high=hatched["hi"] or 0.0,
        lead=lead,
        main=main,
        spread=spread,
        feeding=_feeding(low, mid, high, meals, now, zone),
        best=_best(batch, now, zone),
        tin=batch.get("lot_story") or "",
        caution="" if water.fresh else _lean(water),
        note=batch.get("note") or "",
        band=None if mid is not None and mid <= now else make_band(low, mid, high, meals, now, zone),
        rows=tuple(_row(name, batch[key], now, zone) for name, key in _ROWS),
        harvestable=stage in ("ready", "past"),
        first_next=none_seen(batch) and (stage != "soaking" or may_swim(batch, now)),
    )


def none_seen(batch: Mapping[str, Any]) -> bool:
    """Whether it still develops and nobody has written of any that swim."""
    return batch["stage"] in ("soaking", "developing", "hatching") and not batch.get("first_seen")


def may_swim(batch: Mapping[str, Any], now: Ms) -> bool:
    """Whether the first ones may swim by now, and nobody has seen any."""
    early = instant_of(batch["t10"]["lo"])
    return none_seen(batch) and early is not None and early <= now


_ROWS: Final = (
    ("First tenth out", "t10"),
    ("Half out", "t50"),
    ("Nine tenths out", "t90"),
    ("Ready to harvest", "ready"),
)


def _row(name: str, span: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> Row:
    def cell(end: str, how: int) -> str:
        instant = instant_of(span[end])
        return words.moment(words.about(instant, how), now, zone) if instant is not None else "not in sight"

    return Row(name, cell("lo", -1), cell("mid", 0), cell("hi", 1))


def _about(batch: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> str:
    parts = [batch["lot"]]
    if batch.get("strain"):
        parts.append(batch["strain"])
    parts.append(f"{words.number(float(batch['cysts_g']), 2)} g in {words.number(float(batch['litres']), 2)} L")
    parts.append(f"{words.number(float(batch['salinity_g_l']), 2)} g/L salt")
    parts.append(f"since {words.moment(rfc3339(batch['start']), now, zone)}")
    return ", ".join(parts)


def _best(batch: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> str:
    until = instant_of(batch.get("best_until"))
    if until is None or batch["stage"] not in ("ready", "past"):
        return ""
    over = "Were at their best" if batch["stage"] == "past" else "At their best"
    return f"{over} until {words.moment(words.about(until), now, zone)}"


def _lean(water: Measured) -> str:
    if water.time is None:
        return "No water temperature: this is a guess from the room and the tin alone."
    return "The water reading is old, so this estimate is too."


def _ready(
    stage: str, low: Ms | None, mid: Ms | None, high: Ms | None, now: Ms, zone: ZoneInfo
) -> tuple[str, str, str]:
    """Lead, main and spread: "Ready about", "today 06:40", "8 in 10 chance: 05:10 to 08:30"."""
    if stage == "lost":
        return "This batch is", "lost", "Start a new one when you can."
    if mid is None and low is None:
        return "Ready", "not in sight", "As things are, it does not get there."
    early = words.about(low, -1) if low is not None else None
    late = words.about(high, 1) if high is not None else None
    if mid is None and early is not None:
        return "Ready", f"{words.moment(early, now, zone)} or later", "Perhaps never, as things are."
    spread = f"8 chances in 10: {words.between(early, late, now, zone)}"
    if mid is not None and mid <= now:
        return "Ready since", words.moment(words.about(mid), now, zone), spread
    return "Ready about", words.moment(words.about(mid or now), now, zone), spread


def _feeding(low: Ms | None, mid: Ms | None, high: Ms | None, meals: Sequence[Ms], now: Ms, zone: ZoneInfo) -> str:
    """For which feeding time it is likely (9 chances in 10) in time, and which earlier one it may just make."""
    ahead = [meal for meal in meals if meal > now]
    if low is None or not ahead:
        return ""
    if mid is not None and mid <= now:
        return f"Next feeding: {words.moment(ahead[0], now, zone)}"
    likely = next((meal for meal in ahead if high is not None and meal >= high), None)
    perhaps = next((meal for meal in ahead if meal >= low), None)
    parts = []
    if perhaps is not None and perhaps != likely:
        parts.append(f"perhaps for {words.moment(perhaps, now, zone)}")
    if likely is not None:
        parts.append(f"very likely for {words.moment(likely, now, zone)}")
    return f"In time: {', '.join(parts)}" if parts else "Not in time for any feeding of the next three days"
