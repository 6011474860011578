"""What the page says: the bench as the service publishes it, turned into words and places. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.core.light import light
from monitor.core.model import MINUTE, Ms
from monitor.web import words
from monitor.web.bench_alarms import AlarmView, alarm_views, mark_of
from monitor.web.bench_measured import Measured, instant_of, measured
from monitor.web.bench_vessel import VesselView, vessel_view
from monitor.web.needs import Need, make_needs
from monitor.web.store_view import StoreView, store_view
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

Bench = dict[str, Any]

CLOCK_UNSET: Final = (
    "The clock is not set yet: times are from when the monitor started. They are put right once it is set."
)
_DONE: Final = ("ready", "past", "ended", "lost")


@light
class UndoView:
    """The entry that can be taken back; ``kind``, ``subject`` and ``at`` name it."""

    kind: str
    subject: str
    at: str
    text: str
    left: str


@light
class BenchView:
    site: str
    zone: str
    now: Ms
    clock: str
    day: str
    speed: float  # 1 in real time
    simulated: str
    broker: str  # what is wrong with the link; "" when it is up
    clock_unset: str  # that times are not right yet; "" when the clock is set
    headline: str
    next_up: str  # what comes by itself; "" when all that is under way waits for the keeper
    grave: str  # priority of the gravest alarm to acknowledge
    open_count: int
    alarms: tuple[AlarmView, ...]
    needs: tuple[Need, ...]  # what is to be done and is no alarm
    vessels: tuple[VesselView, ...]
    room: tuple[Measured, ...]
    stores: tuple[StoreView, ...]
    undo: UndoView | None  # the newest
    food: str = ""  # what is to be started for food, or which meal may be short; "" when neither is so


def make_view(bench: Bench, food: str = "") -> BenchView:
    """Everything the page shows of ``bench``, for the instant it was published, with a line about food."""
    zone, now = ZoneInfo(bench["timezone"]), int(bench["now_ms"])
    alarms = alarm_views(bench, now, zone)
    meals = [rfc3339(meal) for meal in bench["meals"]]
    vessels = tuple(
        vessel_view(index, vessel, bench["alarms"], meals, now, zone) for index, vessel in enumerate(bench["vessels"])
    )
    needs = make_needs(zip(bench["vessels"], vessels, strict=True), alarms, now, zone)
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
        clock_unset="" if bench.get("clock_set", True) else CLOCK_UNSET,
        headline=_headline(alarms, needs, linked=bool(bench["broker"]["connected"])),
        next_up=_next_up(bench["vessels"], now, zone),
        grave=waiting[0].priority if waiting else "" if bench["broker"]["connected"] else "medium",
        open_count=len(waiting),
        alarms=alarms,
        needs=needs,
        vessels=vessels,
        room=tuple(measured(item, now) for item in bench.get("room", [])),
        stores=tuple(
            _store(index, store, bench["alarms"], now, zone) for index, store in enumerate(bench.get("stores", []))
        ),
        undo=_undo(bench.get("undoable", []), now),
        food=food,
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
    since = instant_of(link.get("since"))
    told = f" since {words.moment(since, now, zone)}" if since is not None else ""
    return f"No link to the probes{told}. The numbers below are the last ones known."


def _headline(alarms: Sequence[AlarmView], needs: Sequence[Need], *, linked: bool) -> str:
    waiting = [alarm for alarm in alarms if alarm.to_acknowledge]
    if waiting:
        return f"{waiting[0].urgency}: {len(waiting)} alarm{'' if len(waiting) == 1 else 's'}"
    if not linked:
        return "Not watching: no link"
    if needs:
        return f"{len(needs)} thing{'' if len(needs) == 1 else 's'} to do"
    if any(alarm.state == "acknowledged" for alarm in alarms):
        return "Nothing new needs you"
    return "Nothing needs you"


def _next_up(vessels: Sequence[Mapping[str, Any]], now: Ms, zone: ZoneInfo) -> str:
    batches = [(vessel["id"], vessel["batch"]) for vessel in vessels if vessel.get("batch")]
    mids = [(instant_of(batch["ready"]["mid"]), name) for name, batch in batches if batch["stage"] not in _DONE]
    ahead = [(mid, name) for mid, name in mids if mid is not None and mid > now]
    if ahead:
        mid, name = min(ahead)
        return f"Next: {name}, about {words.moment(words.about(mid), now, zone)}"
    return "" if batches else "No batch is under way"


def _store(
    index: int, store: Mapping[str, Any], alarms: Sequence[Mapping[str, Any]], now: Ms, zone: ZoneInfo
) -> StoreView:
    temperature, air = measured(store["temperature"], now), measured(store["air"], now, air=True)
    return store_view(store, f"store-{index}", temperature, air, mark_of(alarms, {store["id"]}), now, zone)
