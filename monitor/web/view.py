"""What the page says: the bench as the service publishes it, turned into words and places. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.core.model import MINUTE, SECOND, Ms
from monitor.web import words
from monitor.web.band import Band, make_band
from monitor.web.store_view import StoreView, store_view
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

Bench = dict[str, Any]

AGE_SHOWN_FROM: Final[Ms] = 2 * MINUTE
"""A fresh number older than this says its age too (a probe may report every ten minutes)."""

_TO_DO: Final = ("unacknowledged", "returned-unacknowledged")
STATES: Final = {
    "unacknowledged": "",
    "acknowledged": "acknowledged",
    "returned-unacknowledged": "over by itself",
    "shelved": "shelved",
    "suppressed-by-design": "held back on purpose",
    "out-of-service": "out of service",
}
URGENCY: Final = {"high": "Act now", "medium": "Act soon", "low": "When you can"}


@dataclass(frozen=True, slots=True)
class Measured:
    text: str
    word: str  # "running", "weak", "stopped", "unknown" for air; "" for temperatures
    fresh: bool
    time: Ms | None
    age: str  # "" while it is young and fresh
    doubt: str  # what is wrong with it, in words
    probe: str


@dataclass(frozen=True, slots=True)
class AlarmView:
    id: str
    anchor: str
    urgency: str
    priority: str
    title: str
    text: str
    todo: str
    since: str
    state: str
    to_acknowledge: bool
    guide: str  # where the guide explains it: it has an entry for every rule


@dataclass(frozen=True, slots=True)
class Row:
    name: str
    low: str
    mid: str
    high: str


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class VesselView:
    id: str
    key: str
    litres: str
    water: Measured
    air: Measured
    batch: BatchView | None
    settling: str
    settles_for: str  # minutes, as the site has set them
    working: str  # until when somebody works on it; "" when nobody does
    mark: str  # priority of its gravest open alarm, "" for none


@dataclass(frozen=True, slots=True)
class UndoView:
    """The entry that can be taken back; ``kind``, ``subject`` and ``at`` name it."""

    kind: str
    subject: str
    at: str
    text: str
    left: str


@dataclass(frozen=True, slots=True)
class BenchView:
    site: str
    zone: str
    now: Ms
    clock: str
    day: str
    speed: float  # 1 in real time
    simulated: str
    broker: str  # what is wrong with the link; "" when it is up
    headline: str
    next_up: str
    grave: str  # priority of the gravest alarm to acknowledge
    open_count: int
    alarms: tuple[AlarmView, ...]
    vessels: tuple[VesselView, ...]
    room: tuple[Measured, ...]
    stores: tuple[StoreView, ...]
    undo: UndoView | None  # the newest


def _instant(text: str | None) -> Ms | None:
    return rfc3339(text) if text else None


def make_view(bench: Bench) -> BenchView:
    """Everything the page shows of ``bench``, for the instant it was published."""
    zone, now = ZoneInfo(bench["timezone"]), int(bench["now_ms"])
    alarms = _alarms(bench["alarms"], now, zone)
    meals = [rfc3339(meal) for meal in bench["meals"]]
    vessels = tuple(
        _vessel(index, vessel, bench["alarms"], meals, now, zone) for index, vessel in enumerate(bench["vessels"])
    )
    simulated = bench.get("simulated")
    speed = float(simulated["speed"]) if simulated else 1.0
    waiting = [alarm for alarm in alarms if alarm.to_acknowledge]
    return BenchView(
        site=bench["site"],
        zone=bench["timezone"],
        now=now,
        clock=words.clock(now, zone),
        day=f"{words.local(now, zone):%A} {words.local(now, zone).day} {words.local(now, zone):%B}",
        speed=speed,
        simulated=f"Simulated time, {speed:g} times as fast" if simulated else "",
        broker=_broker(bench["broker"], now, zone),
        headline=_headline(alarms, linked=bool(bench["broker"]["connected"])),
        next_up=_next_up(bench["vessels"], now, zone),
        grave=waiting[0].priority if waiting else "" if bench["broker"]["connected"] else "medium",
        open_count=len(waiting),
        alarms=alarms,
        vessels=vessels,
        room=tuple(_measured(item, now) for item in bench.get("room", [])),
        stores=tuple(
            _store(index, store, bench["alarms"], now, zone) for index, store in enumerate(bench.get("stores", []))
        ),
        undo=_undo(bench.get("undoable", []), now),
    )


def _undo(undoable: Sequence[Mapping[str, Any]], now: Ms) -> UndoView | None:
    if not undoable:
        return None
    newest = undoable[0]
    left = max(rfc3339(newest["until"]) - now, 0) // MINUTE
    told = f"{left} min left" if left else "less than a minute left"
    return UndoView(newest["kind"], newest["subject"], newest["at"], newest["text"], told)


def _broker(link: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> str:
    if link["connected"]:
        return ""
    since = _instant(link.get("since"))
    told = f" since {words.moment(since, now, zone)}" if since is not None else ""
    return f"No link to the probes{told}. The numbers below are the last ones known."


def _headline(alarms: Sequence[AlarmView], *, linked: bool) -> str:
    waiting = [alarm for alarm in alarms if alarm.to_acknowledge]
    if waiting:
        return f"{waiting[0].urgency}: {len(waiting)} alarm{'' if len(waiting) == 1 else 's'}"
    if not linked:
        return "Not watching: no link"
    if any(alarm.state == "acknowledged" for alarm in alarms):
        return "Nothing new needs you"
    return "Nothing needs you"


def _next_up(vessels: Sequence[Mapping[str, Any]], now: Ms, zone: ZoneInfo) -> str:
    ready, ahead = [], []
    for vessel in vessels:
        batch = vessel.get("batch")
        if batch and batch["stage"] not in ("ended", "lost"):
            mid = _instant(batch["ready"]["mid"])
            if batch["stage"] in ("ready", "past") or (mid is not None and mid <= now):
                ready.append(vessel["id"])
            elif mid is not None:
                ahead.append((mid, vessel["id"]))
    if ready:
        return f"Ready to harvest: {', '.join(ready)}"
    if ahead:
        mid, name = min(ahead)
        return f"Next: {name}, about {words.moment(words.about(mid), now, zone)}"
    return "No batch is under way"


def _alarms(alarms: Sequence[Mapping[str, Any]], now: Ms, zone: ZoneInfo) -> tuple[AlarmView, ...]:
    def order(alarm: Mapping[str, Any]) -> tuple[bool, int, str, str]:
        return (
            alarm["state"] not in _TO_DO,
            words.RANKS.get(alarm["priority"], 9),
            alarm["since"],
            alarm["id"],
        )

    standing = sorted((alarm for alarm in alarms if alarm["state"] != "normal"), key=order)
    return tuple(
        AlarmView(
            id=alarm["id"],
            anchor=f"alarm-{index}",
            urgency=URGENCY.get(alarm["priority"], "Act"),
            priority=alarm["priority"],
            title=alarm["title"],
            text=alarm["text"],
            todo=alarm["todo"],
            since=words.moment(rfc3339(alarm["since"]), now, zone),
            state=STATES.get(alarm["state"], alarm["state"]),
            to_acknowledge=alarm["state"] in _TO_DO,
            guide=f"/guide#{alarm['rule']}",
        )
        for index, alarm in enumerate(standing)
    )


def _measured(item: Mapping[str, Any] | None, now: Ms, *, air: bool = False) -> Measured:
    if item is None or item["value"] is None:
        nothing = "not known" if air else "no reading"
        probe = item["probe"] if item else ""
        return Measured(nothing, "unknown" if air else "", fresh=False, time=None, age="", doubt="", probe=probe)
    instant = _instant(item["time"])
    age_ms = round(item["age_s"] * SECOND) if item.get("age_s") is not None else 0
    if instant is None:
        instant = now - age_ms
    fresh = bool(item["fresh"])
    if air:
        word = item["value"] if item["value"] in ("running", "weak", "stopped") else "unknown"
        text = "not known" if word == "unknown" else word
    else:
        word, text = "", f"{words.number(float(item['value']))}{words.DEGREE}"
    age = words.duration(age_ms) if not fresh or age_ms >= AGE_SHOWN_FROM else ""
    return Measured(
        text, word, fresh, instant, age, words.QUALITIES.get(item["quality"], item["quality"]), item["probe"]
    )


def _vessel(
    index: int,
    vessel: Mapping[str, Any],
    alarms: Sequence[Mapping[str, Any]],
    meals: Sequence[Ms],
    now: Ms,
    zone: ZoneInfo,
) -> VesselView:
    water = _measured(vessel.get("water"), now)
    batch = vessel.get("batch")
    names = {vessel["id"], batch["id"] if batch else vessel["id"]}
    return VesselView(
        id=vessel["id"],
        key=f"vessel-{index}",
        litres=f"{words.number(float(vessel['litres']), 2)} L",
        water=water,
        air=_measured(vessel.get("air"), now, air=True),
        batch=_batch(batch, water, meals, now, zone) if batch else None,
        settling=_ahead(vessel.get("settling_until"), now, zone),
        settles_for=f"{vessel['settling_minutes']:g}",
        working=_ahead(vessel.get("work_until"), now, zone),
        mark=_mark(alarms, names),
    )


def _ahead(text: str | None, now: Ms, zone: ZoneInfo) -> str:
    until = _instant(text)
    return words.clock(until, zone) if until is not None and until > now else ""


def _mark(alarms: Sequence[Mapping[str, Any]], subjects: set[str]) -> str:
    ranks = sorted(
        (words.RANKS.get(alarm["priority"], 9), alarm["priority"])
        for alarm in alarms
        if alarm["subject"] in subjects and alarm["state"] in (*_TO_DO, "acknowledged")
    )
    return ranks[0][1] if ranks else ""


def _store(
    index: int, store: Mapping[str, Any], alarms: Sequence[Mapping[str, Any]], now: Ms, zone: ZoneInfo
) -> StoreView:
    temperature, air = _measured(store["temperature"], now), _measured(store["air"], now, air=True)
    return store_view(store, f"store-{index}", temperature, air, _mark(alarms, {store["id"]}), now, zone)


def _batch(batch: Mapping[str, Any], water: Measured, meals: Sequence[Ms], now: Ms, zone: ZoneInfo) -> BatchView:
    hatched, ready, stage = batch["hatched"], batch["ready"], batch["stage"]
    low, mid, high = (_instant(ready[end]) for end in ("lo", "mid", "hi"))
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
    )


_ROWS: Final = (
    ("First tenth out", "t10"),
    ("Half out", "t50"),
    ("Nine tenths out", "t90"),
    ("Ready to harvest", "ready"),
)


def _row(name: str, span: Mapping[str, Any], now: Ms, zone: ZoneInfo) -> Row:
    def cell(end: str, how: int) -> str:
        instant = _instant(span[end])
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
    until = _instant(batch.get("best_until"))
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
